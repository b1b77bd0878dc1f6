"""What search finds of the entry fund: state events, and the refund requests for their entry fees."""

from collections.abc import Iterator

from django.db.models import Q

from clubdesk.clock import day_text
from clubdesk.entryfund.models import EntryClaim, StateEvent
from clubdesk.finding import Sought
from clubdesk.money import shown
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import amounts, by_name, hit


def events(sought: Sought, limit: int) -> Iterator[Hit]:
    for event, is_alike in by_name(sought, StateEvent.objects.all(), limit):
        yield hit(event, event.name, f"{day_text(event.held_on)}, {event.get_discipline_display().lower()}", is_alike)


def refund_requests(sought: Sought, limit: int) -> Iterator[Hit]:
    """Refund requests by their amount, or as a payment names them: entry fee 12."""
    meant = Q(pk__in=sought.as_called) | Q(amount__in=amounts(sought))
    for claim in EntryClaim.objects.filter(meant).select_related("person", "event")[:limit]:
        yield hit(claim, str(claim), f"{shown(claim.amount)}, {claim.get_state_display().lower()}")


FINDS = (
    Finder(
        "Events",
        "a name, also misspelt",
        permission="entryfund.view_stateevent",
        find=events,
        page="admin:entryfund_stateevent_changelist",
    ),
    Finder(
        "Refund requests",
        "an amount, or a number as in “refund request 12”",
        permission="entryfund.view_entryclaim",
        find=refund_requests,
        called=("refund request", "refund", "entry fee", "claim"),
        page="admin:entryfund_entryclaim_changelist",
    ),
)
