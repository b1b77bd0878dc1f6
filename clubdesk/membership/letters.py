"""What a household is told by mail about its memberships."""

from collections.abc import Mapping, Sequence
from datetime import date

from django.urls import reverse
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.fees.asking import IN_PARTS, ask, asked, paid_into, pay_by
from clubdesk.fees.letters import ACCOUNT
from clubdesk.fees.selectors import TakenBack, balance, open_amount
from clubdesk.fees.writing import write_letter
from clubdesk.ledger.selectors import book
from clubdesk.lettering import HOW_TO_PAY, Field, LetterKind, Linked
from clubdesk.mail.models import Message
from clubdesk.membership.models import LeaveRequest, Membership
from clubdesk.membership.selectors import (
    HouseholdRenewal,
    Renewal,
    Renewing,
    paying_id,
    plans_instead,
    working_in_words,
    wrong_age,
)
from clubdesk.money import nil, shown, total
from clubdesk.roll.models import Household

PAGE = Linked(ACCOUNT)
WHO = Field("child", "Who leaves", "Ada Mirabar")
MEMBERS = Field(
    "members",
    "Who is a member from when to when, and what it costs, a line each",
    "Ada Mirabar is a member from 12 September 2026 to 11 September 2027 (Junior): $228.00.",
    whole=True,
    must=True,
)
NOTHING_LEFT = Field("nothing_left", "That nothing is left to pay, where it is so", "", whole=True)
GIVEN_BACK = Field(
    "given_back",
    "What of the fee is given back, and what the family still owes",
    "$74.67 of the fee is given back.",
    whole=True,
    must=True,
)
JOINED = LetterKind(
    "membership.joined",
    "Somebody has become a member",
    "Goes out when a membership is taken out.",
    subject="Your membership",
    says="Welcome to the club.\n\n{{ members }}\n\n{{ how_to_pay }}\n\n{{ nothing_left }}",
    fields=(MEMBERS, NOTHING_LEFT),
    linked=PAGE,
    asks="$228.00",
)
RENEWED = LetterKind(
    "membership.renewed",
    "Memberships were renewed",
    "Goes out when a family’s memberships are renewed.",
    subject="Your memberships",
    says="Thank you for renewing.\n\n{{ members }}\n\n{{ how_to_pay }}\n\n{{ nothing_left }}",
    fields=(MEMBERS, NOTHING_LEFT),
    linked=PAGE,
    asks="$228.00",
)
LEFT = LetterKind(
    "membership.left",
    "A membership ends early",
    "Goes out when somebody leaves the club.",
    subject="Your membership ends",
    says="The membership of {{ child }} ends on {{ day }}.\n\n{{ given_back }}",
    fields=(WHO, Field("day", "The last day", "11 January 2027"), GIVEN_BACK),
    linked=PAGE,
    asks="$228.00",
)
NEVER_BEGAN = LetterKind(
    "membership.cancelled",
    "A membership is cancelled before it begins",
    "Goes out when a membership is given up before its first day.",
    subject="Your membership is cancelled",
    says="The membership of {{ child }}, which was to begin on {{ day }}, is cancelled.\n\n{{ given_back }}",
    fields=(WHO, Field("day", "When it was to begin", "4 October 2026"), GIVEN_BACK),
    linked=PAGE,
    asks="$228.00",
)
ANSWERED = LetterKind(
    "membership.leaving_answered",
    "A family that asked to leave has an answer",
    "Goes out when somebody answers it.",
    subject="You asked to leave",
    says="You asked on {{ day }} that {{ child }} leaves the club. {{ answer }}",
    fields=(
        WHO,
        Field("day", "When they asked", "12 September 2026"),
        Field("answer", "The answer", "The membership ends on 30 September 2026.", must=True),
    ),
    linked=PAGE,
)
OF_RENEWING = (
    Field(
        "memberships",
        "Whose end, when, and what the next one costs, a line each",
        "Ada Mirabar, Junior, to 11 September 2027: $228.00",
        whole=True,
        must=True,
    ),
    Field("costs", "What renewing costs; blank where nobody can", "To renew costs $228.00.", whole=True, must=True),
    Field("last_day", "The last day to renew; blank where nobody can", "11 October 2027"),
)
TELL_US = "{% if last_day %}Please tell us by {{ last_day }} whether you renew, or who leaves.{% endif %}\n\n"
VOUCHERS = "{% if last_day %}A sport voucher is set against the fee: send us its code.{% endif %}"
ENDS_SOON = LetterKind(
    "membership.ends_soon",
    "Memberships end soon",
    "Goes to a family once before its memberships end.",
    subject="Your memberships end soon",
    says=(
        f"{TELL_US}These memberships end soon:\n\n{{{{ memberships }}}}\n\n{{{{ costs }}}} {VOUCHERS}\n\n"
        "Until {{ until }} nothing changes."
    ),
    fields=(*OF_RENEWING, Field("until", "Their last day", "11 September 2027")),
    linked=PAGE,
    asks="$228.00",
)
ENDED = LetterKind(
    "membership.ended",
    "Memberships have ended",
    "Goes to a family once after its memberships ended, while they can still be renewed.",
    subject="Your memberships have ended",
    says=(
        f"{TELL_US}These memberships have ended and can still be renewed:\n\n{{{{ memberships }}}}\n\n"
        f"{{{{ costs }}}} {VOUCHERS}"
    ),
    fields=OF_RENEWING,
    linked=PAGE,
    asks="$228.00",
)
LETTERS = (JOINED, RENEWED, ENDS_SOON, ENDED, LEFT, NEVER_BEGAN, ANSWERED)


def _tell(household: Household, kind: LetterKind, values: Mapping[str, str], about: str) -> Message:
    return write_letter(household, kind, values, about=about, link_path=reverse("account:own"))


def _asked(household: Household, owed: Money, on: date) -> str:
    """How what is owed is paid; blank where nothing is."""
    if owed <= nil():
        return ""
    of = book()
    return ask(household, owed, on, paid_into(), of, by=pay_by(on, of), otherwise=IN_PARTS).as_told


def tell_joined(memberships: Sequence[Membership], renewed: bool = False) -> Message:
    """Who of a household is a member from when to when, what it costs, and what of it is still to pay."""
    household = memberships[0].paying
    lines = [
        f"{row.person} is a member from {long_day(row.starts_on)} to {long_day(row.ends_on)} ({row.plan}): "
        f"{working_in_words(row)}."
        for row in memberships
    ]
    how = _asked(household, total(open_amount(row.charge) for row in memberships if row.charge), clock.today())
    values = {
        MEMBERS.name: "\n".join(lines),
        NOTHING_LEFT.name: "" if how else "Nothing is left to pay.",
        HOW_TO_PAY.name: how,
    }
    about = f"membership {' '.join(str(row.pk) for row in memberships)} taken out"[:120]
    return _tell(household, RENEWED if renewed else JOINED, values, about)


def tell_left(membership: Membership, taken: TakenBack) -> Message:
    """That a membership ends early, and what of its fee is given back."""
    household = membership.paying
    never_began = bool(membership.cancelled_on)
    money = [f"{shown(taken.credited)} of the fee is given back." if taken.credited > nil() else ""]
    if taken.to_credit > nil():
        money.append(
            f"{shown(taken.to_credit)} that you have paid stands to your credit: it pays what you owe next, or write "
            "to the club to have it paid back."
        )
    owed = balance(household)
    owes = f"Your family still owes {shown(owed)}." if owed > nil() else ""
    values = {
        "child": str(membership.person),
        "day": long_day(membership.starts_on if never_began else membership.ends_on),
        GIVEN_BACK.name: "\n\n".join(filter(None, (" ".join(filter(None, money)), owes))),
        HOW_TO_PAY.name: _asked(household, owed, clock.today()),
    }
    return _tell(household, NEVER_BEGAN if never_began else LEFT, values, f"membership {membership.pk} left")


def tell_leaving_answered(request: LeaveRequest) -> Message:
    """What became of what the family asked for."""
    values = {"child": str(request.person), "day": long_day(request.asked_on), "answer": request.answer}
    return _tell(request.person.household, ANSWERED, values, f"leave request {request.pk} answered")


def about(membership: Membership, state: Renewing) -> str:
    """What a letter is about: a household is told once before its memberships of one last day end, and once after."""
    return f"renewal {paying_id(membership)} {state} {membership.ends_on.isoformat()}"


def tell_renewal(renewal: HouseholdRenewal, on: date) -> Message:
    """Whose membership ends or has ended, what the next one costs, until when, and how that comes about."""
    household, ended = renewal.household, renewal.lines[0].state == Renewing.GRACE
    can, last_day = [line for line in renewal.lines if line.quote], max(line.last_day for line in renewal.lines)
    costs = f"To renew {'all of them' if len(can) > 1 else 'it'} costs {shown(renewal.total)}."
    how = asked(household, renewal.total, on, when="once you have told us").as_told if can else ""
    values = {
        "memberships": "\n".join(_renewal_in_words(line) for line in renewal.lines),
        "costs": costs if can else "",
        "last_day": long_day(last_day) if can else "",
        HOW_TO_PAY.name: how,
    }
    if not ended:
        values["until"] = long_day(max(line.membership.ends_on for line in renewal.lines))
    return _tell(household, ENDED if ended else ENDS_SOON, values, about(*renewal.first))


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
