"""What a family is told by mail about its account."""

from collections.abc import Iterable
from datetime import date
from hashlib import sha256
from uuid import UUID

from django.contrib.auth.models import User
from django.urls import reverse
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.fees import accounts, deadlines, writing
from clubdesk.fees.asking import IN_PARTS, asked, paid_into, pay_by
from clubdesk.fees.models import GiveBack, Voucher, VoucherState
from clubdesk.fees.selectors import open_amount
from clubdesk.fees.writing import write_letter
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.lettering import HOW_TO_PAY, Field, LetterKind, Linked, Wording, written
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import wording
from clubdesk.mail.services import untold, write_message
from clubdesk.money import nil, shown
from clubdesk.paying import PaidInto
from clubdesk.roll.models import Guardian, Household

ACCOUNT = "To see your account and your memberships, open your own page:"
CHILD = Field("child", "Whose voucher it is", "Ada")
WORTH = Field("amount", "What the voucher pays", "$100.00", must=True)
BALANCE = Field("balance", "How the account stands", "nothing to pay", must=True)
VOUCHER = LetterKind(
    "fees.voucher",
    "A sport voucher pays less than was hoped",
    "Goes out when a department refuses a voucher or pays a part of it.",
    subject="Your sport voucher",
    says=(
        "The sport voucher for {{ child }} ({{ fee }}) {{ answer }}.\n\n"
        "So {{ amount }} of the fee is no longer paid by it. {{ rest }}"
    ),
    fields=(
        Field("child", "Whose voucher it is", "Ada Mirabar"),
        Field("fee", "The fee that it was to pay", "Beginner course, October 2026"),
        Field("answer", "What the department said", "was refused by Department for Sport: no such child"),
        Field("amount", "What of the fee it no longer pays", "$100.00", must=True),
        Field("rest", "What of that is credited or paid already, if anything", "$40.00 of that your credit has paid."),
    ),
    linked=Linked(ACCOUNT),
    asks="$60.00",
)
VOUCHER_AGAIN = LetterKind(
    "fees.voucher_again",
    "A sport voucher is not given back after all",
    "Goes out when giving a voucher back is undone, to a family that was asked for what it had paid.",
    subject="Your sport voucher",
    says=(
        "The sport voucher for {{ child }} ({{ fee }}) was not given back after all: {{ reason }}.\n\n"
        "So it pays {{ amount }} of the fee again, and you no longer owe that. "
        "Your account with the club now: {{ balance }}."
    ),
    fields=(
        Field("child", "Whose voucher it is", "Ada Mirabar"),
        Field("fee", "The fee that it pays", "Beginner course, October 2026"),
        Field("reason", "Why it was not given back", "the department took its invoice back"),
        Field("amount", "What of the fee it pays again", "$40.00", must=True),
        BALANCE,
    ),
    linked=Linked(ACCOUNT),
    asks="$60.00",
)
VOUCHER_GOES = LetterKind(
    "fees.voucher_goes_along",
    "A sport voucher goes along with a child",
    "Goes to the family that a child belonged to until now, where a voucher waited for the child’s next fee.",
    subject="The sport voucher of {{ child }}",
    says=(
        "{{ child }} belongs to another family now, and the sport voucher of {{ amount }} goes along. It waited for "
        "the child’s next fee.\n\n"
        "Nobody asks you for what it had paid. Your account with the club now: {{ balance }}."
    ),
    fields=(CHILD, WORTH, BALANCE),
    linked=Linked(ACCOUNT),
    asks="$60.00",
)
VOUCHER_COMES = LetterKind(
    "fees.voucher_comes_along",
    "A sport voucher comes along with a child",
    "Goes to the family that a child belongs to now, where a voucher waited for the child’s next fee.",
    subject="The sport voucher of {{ child }}",
    says=(
        "{{ child }} belongs to your family now, and a sport voucher of {{ amount }} comes along. {{ pays }}\n\n"
        "Your account with the club now: {{ balance }}."
    ),
    fields=(
        CHILD,
        WORTH,
        Field("pays", "What it pays, and whether the department has paid it", "It waits for the next fee of Ada."),
        BALANCE,
    ),
    linked=Linked(ACCOUNT),
    asks="$26.00",
)
STATEMENT = LetterKind(
    "fees.account",
    "The account of a family",
    "Goes with a statement: what the family owes or has in credit, and how to pay it.",
    subject="Your account: {{ balance }}",
    says=(
        "{{ how_to_pay }}\n\nYour account with the club stands at {{ balance }} on {{ day }}.\n\n{{ ages }}\n\n"
        "Does something not look right? Please tell us."
    ),
    fields=(
        Field("balance", "How the account stands", "$126.00 to pay", must=True),
        Field("day", "On which day", "12 September 2026"),
        Field(
            "ages",
            "What is to pay, by how long ago it was charged",
            "Still to pay, by how long ago it was charged:\nup to 30 days: $126.00",
            whole=True,
        ),
    ),
    linked=Linked("To see the whole statement, also to print, open your own page:"),
    asks="$126.00",
)
TO_CLAIM = LetterKind(
    "fees.vouchers_to_claim",
    "Sport vouchers to claim",
    "Goes to each coordinator as the last day of a voucher comes near.",
    subject="Sport vouchers to claim",
    says=(
        "Please claim these sport vouchers from the department, each by its day, or nobody pays it:\n\n{{ vouchers }}"
        "\n\n{{ too_late }}\n\nWhich they are stands under “Vouchers to claim” in the book."
    ),
    fields=(
        Field("vouchers", "How many by which day", "2 by 13 September 2026\n1 by 22 September 2026", True, must=True),
        Field("too_late", "How many can no longer be claimed, if any", "", whole=True),
    ),
    to_family=False,
)
NEW_LINK = LetterKind(
    "fees.new_link",
    "A new link to a family’s page",
    "Goes to a guardian who asked for a new link.",
    subject="The link to your page",
    says="Somebody typed this e-mail address on our page and asked for a new link. If it was not you, do nothing.",
    linked=Linked(ACCOUNT),
)
LETTERS = (STATEMENT, VOUCHER, VOUCHER_AGAIN, VOUCHER_GOES, VOUCHER_COMES, TO_CLAIM, NEW_LINK)


def tell_voucher(voucher: Voucher, said: str, amount: Money, credited: Money, about: str = "answered") -> Message:
    """A voucher was refused or paid short of `amount`; of that `credited` is owed by nobody, since it was taken back.

    What of the rest the family's credit has paid, and what it is to pay, the book knows.
    """
    household, today = voucher.charge.household, clock.today()
    to_pay = min(open_amount(voucher.charge), amount - credited)
    by_credit = amount - credited - to_pay
    sentences = [
        f"{shown(credited)} of that was credited, so nobody owes it." if credited > nil() else "",
        f"{shown(by_credit)} of that your credit with the club has paid." if by_credit > nil() else "",
        "" if to_pay > nil() else "There is nothing for you to pay.",
    ]
    asks = asked(household, to_pay, today, by=pay_by(today, book()), otherwise=IN_PARTS) if to_pay > nil() else None
    values = {
        "child": str(voucher.person),
        "fee": str(voucher.charge),
        "answer": said,
        "amount": shown(amount),
        "rest": " ".join(filter(None, sentences)),
        HOW_TO_PAY.name: asks.as_told if asks else "",
    }
    return write_letter(
        household, VOUCHER, values, about=f"voucher {voucher.pk} {about}", link_path=reverse("account:own")
    )


def tell_not_given_back(back: GiveBack, amount: Money) -> Message:
    """It pays `amount` again, for which the family had been asked since it was given back."""
    voucher = back.voucher
    values = {
        "child": str(voucher.person),
        "fee": str(voucher.charge),
        "reason": back.undo_reason,
        "amount": shown(amount),
        **_standing(back.household),
    }
    about = f"voucher {voucher.pk} not given back {back.pk}"
    return write_letter(back.household, VOUCHER_AGAIN, values, about=about, link_path=reverse("account:own"))


def tell_along(voucher: Voucher) -> list[Message]:
    """A voucher that waited for its child's next fee went along to another family: to both, neither of the other."""
    before, fee, child = voucher.came_from, voucher.charge, voucher.person.given_name
    assert before is not None, "it came from a family"
    pays = f"It waits for the next fee of {child}." if fee.carried_on else f"It pays for {fee.description}."
    if voucher.state != VoucherState.PAID:
        pays += " The department has not paid it yet."
    whose, worth = {"child": child, "amount": shown(voucher.amount)}, f"voucher {voucher.pk} along"
    return [
        write_letter(household, kind, {**whose, **more, **_standing(household)}, about=f"{worth} {way}",
                     link_path=reverse("account:own"))
        for household, kind, more, way in (
            (before, VOUCHER_GOES, {}, "from"),
            (fee.household, VOUCHER_COMES, {"pays": pays}, "to"),
        )
    ]  # fmt: skip


def _standing(household: Household) -> dict[str, str]:
    """How its account stands today by the book, and how what is to pay is paid."""
    found = accounts.statement(household, clock.today())
    asks = found.asks(paid_into(), book())
    return {"balance": found.in_words, HOW_TO_PAY.name: asks.as_told if asks else ""}


def new_link(guardian: Guardian, key: UUID) -> Message:
    """The letter that a guardian asked for, with a link to their family's page; nothing is saved."""
    return writing.drafted(
        guardian.household, NEW_LINK, {}, book(), wording(NEW_LINK),
        about=f"link {guardian.pk} {key}", link_path=reverse("account:own"), guardian=guardian,
    )  # fmt: skip


def drafted(
    statement: accounts.Statement, on: date, of: Book, account: PaidInto | None, says: Wording | None = None
) -> Message:
    """The letter that goes with a statement: what is owed, by age, how to pay it, and the family's own link.

    Its `about` is the family, the day and what it says, so that none is written twice, nor an older one in its place.
    Who drafts many asks for the text that it `says` once.
    """
    household = statement.household
    ages = "\n".join(f"{name}: {shown(figure)}" for name, figure in statement.ages.items() if figure)
    asks = statement.asks(account, of)
    values = {
        "balance": statement.in_words,
        "day": long_day(on),
        "ages": f"Still to pay, by how long ago it was charged:\n{ages}" if ages else "",
        HOW_TO_PAY.name: asks.as_told if asks else "",
    }
    letter = writing.drafted(
        household, STATEMENT, values, of, says or wording(STATEMENT), about="", link_path=reverse("account:own")
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
    which = "it" if late == 1 else "each"
    values = {
        "guardian": user.first_name or user.username,
        "vouchers": "\n".join(f"{count} by {long_day(day)}" for day, count in deadlines.by_days(on, deadlines.SOON)),
        "too_late": f"{late} more can no longer be claimed: say of {which} that it is not." if late else "",
        "club": book().club_name,
    }
    subject, body = written(TO_CLAIM, wording(TO_CLAIM), values)
    return write_message(about=about, to=user.email, subject=subject, body=body)
