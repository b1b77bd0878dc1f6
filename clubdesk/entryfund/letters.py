"""What families hear from the entry fund."""

from collections.abc import Sequence
from datetime import date

from django.urls import reverse

from clubdesk.clock import long_day
from clubdesk.entryfund.models import EntryClaim, StateEvent
from clubdesk.entryfund.selectors import fee_for, refundable
from clubdesk.fees.writing import write_to
from clubdesk.mail.models import Message
from clubdesk.money import shown
from clubdesk.roll.models import Household, Person


def _tell(household: Household, about: str, subject: str, paragraphs: Sequence[str]) -> Message:
    return write_to(
        household,
        paragraphs,
        about=about,
        subject=subject,
        link_path=reverse("claims:own"),
        leads="Your claims:",
        keep="Whoever has this link can read and answer them, so please keep it to yourselves.",
    )


def _what(claim: EntryClaim) -> str:
    return f"the entry fee of {claim.person} for {claim.event.name} ({shown(claim.amount)})"


def tell_approved(claim: EntryClaim, on: date) -> Message:
    words = f"Your claim for {_what(claim)} was approved on {long_day(on)}. The treasurer pays it to your bank account."
    return _tell(claim.household, f"claim {claim.pk} approved", "Your claim was approved", [words])


def tell_declined(claim: EntryClaim, on: date) -> Message:
    words = f"Your claim for {_what(claim)} was declined on {long_day(on)}. The reason: {claim.decision_reason}"
    return _tell(claim.household, f"claim {claim.pk} declined", "Your claim was declined", [words])


def tell_asked(claim: EntryClaim, on: date) -> Message:
    """Each question is a letter of its own, the same one once a day."""
    words = f"About your claim for {_what(claim)} the committee asks: {claim.question}"
    about = f"claim {claim.pk} asked {on.isoformat()} {claim.question[:60]}"
    return _tell(claim.household, about, "A question about your claim", [words, "Please answer on the page below."])


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
    paragraphs = [
        f"Entries to {event.name} ({event.get_discipline_display().lower()}, {long_day(event.held_on)}) close on "
        f"{long_day(event.entries_close)}. Your children may enter:",
        "\n".join(lines),
        "Enter with the organiser, keep the receipt, and send it to us after the event. The fund refunds as long as "
        "it holds enough, first claimed first.",
    ]
    subject = f"Entries to {event.name} close on {long_day(event.entries_close, year=False)}"
    return _tell(household, about_entries(event, household.pk), subject, paragraphs)
