"""What a family is told by mail about its account."""

from collections.abc import Iterable
from datetime import date
from hashlib import sha256

from django.contrib.auth.models import User
from django.urls import reverse
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.fees import accounts, deadlines, writing
from clubdesk.fees.asking import IN_PARTS, asked, pay_by
from clubdesk.fees.models import Voucher
from clubdesk.fees.selectors import open_amount
from clubdesk.fees.writing import write_to
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import Message
from clubdesk.mail.services import untold, write_message
from clubdesk.money import nil, shown
from clubdesk.paying import PaidInto

ACCOUNT = "Your page:"


def tell_voucher(voucher: Voucher, said: str, amount: Money, credited: Money) -> Message:
    """A voucher was refused or paid short of `amount`; of that `credited` is owed by nobody, since it was taken back.

    What of the rest the family's credit has paid, and what it is to pay, the book knows.
    """
    household, today = voucher.charge.household, clock.today()
    to_pay = min(open_amount(voucher.charge), amount - credited)
    by_credit = amount - credited - to_pay
    sentences = [
        f"So {shown(amount)} of the fee is no longer paid by it.",
        f"{shown(credited)} of that was credited, so nobody owes it." if credited > nil() else "",
        f"{shown(by_credit)} of that your credit with the club has paid." if by_credit > nil() else "",
        "" if to_pay > nil() else "There is nothing for you to pay.",
    ]
    asks = asked(household, to_pay, today, by=pay_by(today, book()), otherwise=IN_PARTS) if to_pay > nil() else None
    paragraphs = [
        f"The sport voucher for {voucher.person} ({voucher.charge}) {said}.",
        " ".join(filter(None, sentences)),
        *(asks.in_letter() if asks else ()),
    ]
    return write_to(
        household,
        paragraphs,
        about=f"voucher {voucher.pk} answered",
        subject="Your sport voucher",
        asks=asks is not None,
        link_path=reverse("account:own"),
        leads=ACCOUNT,
    )


def drafted(statement: accounts.Statement, on: date, of: Book, account: PaidInto | None) -> Message:
    """The letter that goes with a statement: what is owed, by age, how to pay it, and the family's own link.

    Its `about` is the family, the day and what it says, so that none is written twice, nor an older one in its place.
    """
    household = statement.household
    ages = "\n".join(f"{name}: {shown(figure)}" for name, figure in statement.ages.items() if figure)
    asks = statement.asks(account, of)
    paragraphs = [
        f"Your account with the club stands at {statement.in_words} on {long_day(on)}.",
        f"Still to pay, by how long ago it was charged:\n{ages}" if ages else "",
        *(asks.in_letter() if asks else ()),
        "Does something not look right? Please tell us.",
    ]
    letter = writing.drafted(
        household,
        paragraphs,
        of,
        about="",
        subject=f"Your account: {statement.in_words}",
        link_path=reverse("account:own"),
        leads="The whole statement, also to print:",
    )
    letter.about = f"statement {household.pk} {on.isoformat()} {sha256(letter.body.encode()).hexdigest()[:12]}"
    return letter


def tell_deadlines(coordinators: Iterable[User], on: date) -> list[Message]:
    """By when the vouchers that were taken must be claimed, the least days first: as a day comes near, and at the last.

    It names no child, since a letter to no family is not erased with one.
    """
    if not (near := deadlines.nearest(on)):
        return []
    day, within = near
    abouts = {f"vouchers by {day.isoformat()} {within} to {user.pk}": user for user in coordinators}
    due = untold(abouts)
    return [_deadlines_for(user, about, on) for about, user in abouts.items() if about in due]


def _deadlines_for(user: User, about: str, on: date) -> Message:
    late = deadlines.too_late(on).count()
    paragraphs = [
        f"Hello {user.first_name or user.username},",
        "Please claim these sport vouchers from the department, each by its day, or nobody pays it:",
        "\n".join(f"{count} by {long_day(day)}" for day, count in deadlines.by_days(on, deadlines.SOON)),
        f"{late} more can no longer be claimed: say of {'it' if late == 1 else 'each'} that it is not." if late else "",
        "Which they are stands under “Vouchers to claim” in the book.",
        book().club_name,
    ]
    return write_message(
        about=about,
        to=user.email,
        subject="Sport vouchers to claim",
        body="\n\n".join(filter(None, paragraphs)) + "\n",
    )
