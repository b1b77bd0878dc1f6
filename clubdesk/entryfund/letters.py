"""What families hear from the entry fund."""

from collections.abc import Mapping, Sequence
from datetime import date

from django.urls import reverse

from clubdesk.clock import long_day
from clubdesk.entryfund.models import EntryClaim, StateEvent
from clubdesk.entryfund.selectors import fee_for, refundable
from clubdesk.fees.writing import write_letter
from clubdesk.lettering import Field, LetterKind, Linked
from clubdesk.mail.models import Message
from clubdesk.money import shown
from clubdesk.roll.models import Household, Person

CLAIMS = Linked(
    "To see your refund requests, open your own page:",
    "Whoever has this link can read and answer them, so please keep it to yourselves.",
)
OF_A_CLAIM = (
    Field("child", "Whose entry fee it is", "Ada Mirabar"),
    Field("event", "The event", "State clout championship"),
    Field("amount", "What was asked for", "$60.00", must=True),
)
DAY, REASON = Field("day", "When it was decided", "12 September 2026"), Field("reason", "Why", "the receipt is blurred")
WHAT = "the entry fee of {{ child }} for {{ event }} ({{ amount }})"
APPROVED = LetterKind(
    "entryfund.approved",
    "A refund request was approved",
    "Goes out when the committee approves a refund request.",
    subject="Your refund request was approved",
    says=f"Your refund request for {WHAT} was approved on {{{{ day }}}}. The treasurer pays it to your bank account.",
    fields=(*OF_A_CLAIM, DAY),
    linked=CLAIMS,
)
DECLINED = LetterKind(
    "entryfund.declined",
    "A refund request was declined",
    "Goes out when the committee declines a refund request.",
    subject="Your refund request was declined",
    says=f"Your refund request for {WHAT} was declined on {{{{ day }}}}.\n\nThe reason: {{{{ reason }}}}",
    fields=(*OF_A_CLAIM, DAY, REASON),
    linked=CLAIMS,
)
ASKED = LetterKind(
    "entryfund.asked",
    "A question about a refund request",
    "Goes out when the committee asks for more before it decides.",
    subject="A question about your refund request",
    says=f"Please answer a question about your refund request for {WHAT}:\n\n{{{{ question }}}}",
    fields=(*OF_A_CLAIM, Field("question", "What the committee asks", "Which class was it?", must=True)),
    linked=Linked("To answer it, open your own page:", CLAIMS.keep),
)
ENTRIES = LetterKind(
    "entryfund.entries_close",
    "Entries to an event close soon",
    "Goes out some days before, to families with children who may enter.",
    subject="Entries to {{ event }} close on {{ last_day }}",
    says=(
        "Please enter by {{ last_day }} if your children would like to shoot at {{ event }} "
        "({{ discipline }}, {{ day }}).\n\n{{ children }}\n\n"
        "Enter with the organiser, keep the receipt, and send it to us after the event. "
        "The fund refunds as long as it holds enough, first asked, first served."
    ),
    fields=(
        Field("event", "The event", "State clout championship"),
        Field("discipline", "What is shot", "clout"),
        Field("day", "When it is", "24 October 2026"),
        Field("last_day", "The last day to enter", "17 October 2026", must=True),
        Field(
            "children",
            "Who may enter, what it costs and what the fund refunds, a line each",
            "Ada Mirabar, Under 14: $80.00, of which the entry fund refunds $80.00",
            whole=True,
            must=True,
        ),
    ),
    linked=CLAIMS,
)
LETTERS = (APPROVED, DECLINED, ASKED, ENTRIES)


def _tell(household: Household, kind: LetterKind, values: Mapping[str, str], about: str) -> Message:
    return write_letter(household, kind, values, about=about, link_path=reverse("claims:own"))


def _of(claim: EntryClaim) -> dict[str, str]:
    return {"child": str(claim.person), "event": claim.event.name, "amount": shown(claim.amount)}


def tell_approved(claim: EntryClaim, on: date) -> Message:
    return _tell(claim.household, APPROVED, {**_of(claim), "day": long_day(on)}, f"claim {claim.pk} approved")


def tell_declined(claim: EntryClaim, on: date) -> Message:
    values = {**_of(claim), "day": long_day(on), "reason": claim.decision_reason}
    return _tell(claim.household, DECLINED, values, f"claim {claim.pk} declined")


def tell_asked(claim: EntryClaim, on: date) -> Message:
    """Each question is a letter of its own, the same one once a day."""
    about = f"claim {claim.pk} asked {on.isoformat()} {claim.question[:60]}"
    return _tell(claim.household, ASKED, {**_of(claim), "question": claim.question}, about)


def about_entries(event: StateEvent, household: int) -> str:
    return f"entries {event.pk} {household}"


def tell_entries(event: StateEvent, children: Sequence[Person]) -> Message:
    """That entries close soon, what entering costs, and what of it the fund gives back."""
    lines = []
    for child in children:
        age_class = child.age_class_on(event.held_on)
        fee, back = fee_for(event, age_class), refundable(event, age_class)
        lines.append(f"{child}, {age_class}: {shown(fee)}, of which the entry fund refunds {shown(back)}")
    household = children[0].household
    values = {
        "event": event.name,
        "discipline": event.get_discipline_display().lower(),
        "day": long_day(event.held_on),
        "last_day": long_day(event.entries_close),
        "children": "\n".join(lines),
    }
    return _tell(household, ENTRIES, values, about_entries(event, household.pk))
