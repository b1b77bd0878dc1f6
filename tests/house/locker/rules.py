"""What the database itself keeps of lockers."""

from clubdesk.guards import kept
from tests.house.locker.states import RENT

GUARDS = [
    *kept(
        "locker_rent", "locker rent", "locker_id", "household_id", "starts_on", "ends_on", "charge_id",
        free=("state", "reason"),
    ),
    *RENT.guards("locker_rent"),
]  # fmt: skip
