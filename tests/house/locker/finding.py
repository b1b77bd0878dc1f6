"""What search finds of lockers: who rents one."""

from collections.abc import Iterator

from clubdesk.finding import Sought
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import hit
from tests.house.locker.models import Rent


def rents(sought: Sought, limit: int) -> Iterator[Hit]:
    for rent in Rent.objects.filter(locker__number=sought.text).select_related("locker", "household")[:limit]:
        yield hit(rent, str(rent.locker), f"{rent.household}, {rent.get_state_display().lower()}")


FINDS = (
    Finder(
        "Lockers",
        "the number on the door",
        permission="locker.view_rent",
        find=rents,
        called=("locker",),
        page="admin:locker_rent_changelist",
    ),
)
