"""A book just started, its keeper, and somebody in each role."""

from datetime import date
from pathlib import Path

from clubdesk.desk import services as desk
from clubdesk.desk.roles import ROLES
from clubdesk.verbs import shell_user

TODAY = date(2026, 9, 12)
YEAR_START = date(2026, 7, 1)
KEEPER, PASSWORD = "keeper", "correct-horse-7"


def start(folder: Path) -> None:
    desk.start_books(club_name="Reedbank Archers", year_start=YEAR_START, by=shell_user())
    desk.add_user(username=KEEPER, password=PASSWORD)
    for role in ROLES:
        desk.add_user(username=username(role), role=role, password=PASSWORD)


def username(role: str) -> str:
    """Who has the role in the tests: "range-helper" for Range helper."""
    return role.lower().replace(" ", "-")
