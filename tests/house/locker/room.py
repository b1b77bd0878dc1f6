"""What the room of lockers tells of itself."""

from collections.abc import Iterator, Sequence

from clubdesk.roll.models import Household
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Erase,
    ListOf,
    Menu,
    PageOn,
    Personal,
    Room,
    Tab,
    Told,
)
from tests.house.locker.admin import RentPage
from tests.house.locker.finding import FINDS
from tests.house.locker.sheets import SHEETS


def _told(home: Household) -> Iterator[Sequence[object]]:
    for rent in home.locker_rents.select_related("locker"):
        yield (rent.starts_on, str(rent.locker), rent.reason, rent.charge.amount.amount)


ROOM = Room(
    label="locker",
    purpose="Lockers that families rent by term.",
    tab=Tab.FAMILIES,
    menu=(ListOf("Rent"), ListOf("Locker", Menu.SETTING)),
    roles={
        COORDINATOR: (SEE_ALL, "add_locker", "change_locker", "add_rent", "change_rent"),
        TREASURER: (SEE_ALL,),
        AUDITOR: (SEE_ALL,),
    },
    personal=(
        Personal(
            "locker.Rent", family="household", erased=(Erase("reason"),), told=("reason",), retained_from=("ends_on",)
        ),
    ),
    told=(Told("Lockers", (("From", 14), ("Locker", 20), ("Words", 60), ("Amount", 14)), _told, amounts="D"),),
    sheets=SHEETS,
    finds=FINDS,
    adds=(PageOn("roll.household", page=RentPage()),),
)
