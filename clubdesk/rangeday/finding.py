"""What search finds at the range: the club's numbered kit."""

from collections.abc import Iterator

from clubdesk.finding import Sought
from clubdesk.rangeday.models import Kit, KitKind
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import hit


def kit(sought: Sought, limit: int) -> Iterator[Hit]:
    """Kit by the number that is written on it."""
    rows = Kit.objects.filter(number__iexact=sought.text) if sought.code else Kit.objects.none()
    for piece in rows[:limit]:
        yield hit(piece, str(piece), ", ".join(filter(None, (piece.get_state_display(), piece.description))))


FINDS = (
    Finder(
        "Kit",
        "the number written on it",
        permission="rangeday.view_kit",
        find=kit,
        called=("kit", *(kind.label.casefold() for kind in KitKind)),
        page="admin:rangeday_kit_changelist",
    ),
)
