"""What a family's own page shows of the entry fund: its refund requests, and the questions it has to answer."""

from collections.abc import Sequence
from datetime import date, timedelta

from clubdesk.clock import day_text
from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.entryfund.states import UNDECIDED
from clubdesk.families import Act, OfChild, Part, ToAnswer
from clubdesk.money import shown
from clubdesk.roll.models import Household, Person

SHOWN_FOR = timedelta(days=365)


def of_family(home: Household, people: Sequence[Person], on: date) -> Part:
    """What the family asked for in the last year, and what of it is not decided, however old."""
    rows = EntryClaim.objects.filter(household=home, person__in=people).select_related("event").order_by("-pk")
    claims = [each for each in rows if each.state in UNDECIDED or each.claimed_on > on - SHOWN_FOR]
    asked = [each for each in claims if each.state == ClaimState.ASKED]
    return Part(
        to_answer=tuple(_to_answer(each) for each in asked),
        children=tuple(_line(each) for each in claims),
        acts=(Act("Ask for an entry fee back", page="claims:own"),) if people else (),
    )


def _to_answer(claim: EntryClaim) -> ToAnswer:
    title = f"A question about the entry fee for {claim.event.name}"
    return ToAnswer(title, claim.question, None, page="claims:answer", arguments=(claim.pk,))


def _line(claim: EntryClaim) -> OfChild:
    state = claim.get_state_display()
    if claim.state == ClaimState.DECLINED:
        state = f"Declined: {claim.decision_reason}"
    elif claim.paid_on:
        state = f"Paid on {day_text(claim.paid_on)}"
    words = f"Entry fee back, {claim.event.name}, {shown(claim.amount)}"
    return OfChild(claim.person_id, words, f"Sent on {day_text(claim.claimed_on)}. {state}")
