"""What a household is told by mail about its memberships."""

from collections.abc import Sequence
from datetime import date

from django.urls import reverse
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.fees.asking import IN_PARTS, asked, pay_by
from clubdesk.fees.letters import ACCOUNT
from clubdesk.fees.selectors import TakenBack, balance, open_amount
from clubdesk.fees.writing import write_to
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import Message
from clubdesk.membership.models import LeaveRequest, Membership
from clubdesk.membership.selectors import (
    HouseholdRenewal,
    Renewal,
    Renewing,
    plans_instead,
    working_in_words,
    wrong_age,
)
from clubdesk.money import nil, shown, total
from clubdesk.roll.models import Household


def _tell(household: Household, about: str, subject: str, paragraphs: Sequence[str], asks: bool = False) -> Message:
    return write_to(
        household,
        paragraphs,
        about=about,
        subject=subject,
        asks=asks,
        link_path=reverse("account:own"),
        leads=ACCOUNT,
    )


def _asked(household: Household, owed: Money, on: date) -> list[str]:
    """How what is owed is paid; nothing where nothing is."""
    if owed <= nil():
        return []
    return asked(household, owed, on, by=pay_by(on, book()), otherwise=IN_PARTS).in_letter()


def tell_joined(memberships: Sequence[Membership], renewed: bool = False) -> Message:
    """Who of a household is a member from when to when, what it costs, and what of it is still to pay."""
    household = memberships[0].person.household
    lines = [
        f"{row.person} is a member from {long_day(row.starts_on)} to {long_day(row.ends_on)} ({row.plan}): "
        f"{working_in_words(row)}."
        for row in memberships
    ]
    owed = total(open_amount(row.charge) for row in memberships if row.charge)
    paragraphs = [
        "Thank you for renewing." if renewed else "Welcome to the club.",
        "\n".join(lines),
        *(_asked(household, owed, clock.today()) or ["Nothing is left to pay."]),
    ]
    about = f"membership {' '.join(str(row.pk) for row in memberships)} taken out"[:120]
    return _tell(household, about, "Your memberships" if renewed else "Your membership", paragraphs, asks=owed > nil())


def tell_left(membership: Membership, taken: TakenBack) -> Message:
    """That a membership ends early, and what of its fee is given back."""
    household, person = membership.person.household, membership.person
    if membership.cancelled_on:
        said = f"The membership of {person}, which was to begin on {long_day(membership.starts_on)}, is cancelled."
    else:
        said = f"The membership of {person} ends on {long_day(membership.ends_on)}."
    money = [f"{shown(taken.credited)} of the fee is given back." if taken.credited > nil() else ""]
    if taken.to_credit > nil():
        money.append(
            f"{shown(taken.to_credit)} that you have paid stands to your credit: it pays what you owe next, or write "
            "to the club to have it paid back."
        )
    owed = balance(household)
    owes = f"Your family still owes {shown(owed)}." if owed > nil() else ""
    paragraphs = [said, " ".join(filter(None, money)), owes, *_asked(household, owed, clock.today())]
    return _tell(household, f"membership {membership.pk} left", "Your membership ends", paragraphs, asks=owed > nil())


def tell_leaving_answered(request: LeaveRequest) -> Message:
    """What became of what the family asked for."""
    words = f"You asked on {long_day(request.asked_on)} that {request.person} leaves the club. {request.answer}"
    home = request.person.household
    return _tell(home, f"leave request {request.pk} answered", "You asked to leave", [words])


def about(membership: Membership, state: Renewing) -> str:
    """What a letter is about: a household is told once before its memberships of one last day end, and once after."""
    return f"renewal {membership.person.household_id} {state} {membership.ends_on.isoformat()}"


def tell_renewal(renewal: HouseholdRenewal, on: date) -> Message:
    """Whose membership ends or has ended, what the next one costs, until when, and how that comes about."""
    household, ended = renewal.household, renewal.lines[0].state == Renewing.GRACE
    can, last_day = [line for line in renewal.lines if line.quote], max(line.last_day for line in renewal.lines)
    costs = (
        f"To renew {'all of them' if len(can) > 1 else 'it'} costs {shown(renewal.total)}. Tell us if you would like "
        "that, or who leaves. A sport voucher is set against the fee: send us its code."
    )
    when = "once you have told us"
    paragraphs = [
        "These memberships have ended and can still be renewed:" if ended else "These memberships end soon:",
        "\n".join(_renewal_in_words(line) for line in renewal.lines),
        costs if can else "",
        "" if ended else f"Until {long_day(max(line.membership.ends_on for line in renewal.lines))} nothing changes.",
        f"The last day to renew is {long_day(last_day)}." if can else "",
        *(asked(household, renewal.total, on, when=when).in_letter() if can else ()),
    ]
    subject = "Your memberships have ended" if ended else "Your memberships end soon"
    return _tell(household, about(*renewal.first), subject, paragraphs, asks=bool(can))


def _renewal_in_words(line: Renewal) -> str:
    who, plan = line.membership.person, line.membership.plan
    begins = f"{who}, {plan}, to {long_day(line.membership.ends_on)}"
    if line.quote is None:
        return f"{begins}: {_instead(line)}"
    alone = line.alone.price.fee if line.alone else line.quote.price.fee
    if alone == line.quote.price.fee:
        return f"{begins}: {line.quote.price.working}"
    return f"{begins}: {line.quote.price.working} if the others are renewed too, {shown(alone)} if not"


def _instead(line: Renewal) -> str:
    """Why the same plan cannot be renewed, and which plans are for that age."""
    who, plan = line.membership.person, line.membership.plan
    if not wrong_age(who, plan, line.starts_on):
        return line.problem
    age = f"{who.given_name} is {who.age_on(line.starts_on)} then, and {plan} is not for that age."
    plans = [f"{each} costs {shown(fee)}" for each, fee in plans_instead(who, line.starts_on)]
    return f"{age} {', '.join(plans)}: tell us if you would like that." if plans else f"{age} Please ask us what fits."
