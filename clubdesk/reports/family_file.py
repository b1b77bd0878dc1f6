"""All that is held about a household, in one file to give to it. What stands in it the rooms tell (`rooms.Told`)."""

from collections.abc import Iterator
from typing import BinaryIO

from django.contrib.auth.models import User
from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from clubdesk import rooms
from clubdesk.ledger.selectors import club_name
from clubdesk.moment import one_moment
from clubdesk.roll.models import Household
from clubdesk.rooms import Told
from clubdesk.sheets import Heading, Sheet
from clubdesk.verbs import may

NOT_YOURS = "Your sign-in may not see this; the coordinator makes the file with it, and the family sees it on its page."


def note_who_is_told(household: Household, by: User) -> None:
    """Let the rooms write down that somebody takes a file of what is only shown where it is written down."""
    for part in _parts():
        if part.logs and may(by, part.permission):
            part.logs(household=household, by=by)


@one_moment()
def write_family_file(household: Household, file: BinaryIO, by: User) -> None:
    """Write the workbook of all that is held about the household, as far as `by` may see it. An empty sheet says so,
    and so does one that somebody else may see.
    """
    book = Workbook(write_only=True)
    book.properties.title, book.properties.creator = str(household), "Fletchbook"
    for title, parts in _sheets().items():
        sheet = Sheet(book, title, _headings(parts[0]), landscape=True)
        note = f"What {club_name()} holds about {household}. The treasurer hands out receipts and bank details in full."
        sheet.top(note)
        told = [part for part in parts if not part.permission or may(by, part.permission)]
        rows = [list(row) for part in told for row in part.rows(household)]
        for row in rows or [["Nothing." if told else NOT_YOURS]]:
            sheet.line(row)
    book.save(file)


def _headings(part: Told) -> list[Heading]:
    return [
        Heading(title, width, "amount" if get_column_letter(place) in part.amounts else "text")
        for place, (title, width) in enumerate(part.columns, 1)
    ]


def _sheets() -> dict[str, list[Told]]:
    """By title; rooms that name the same sheet share it, and its columns are those of the first."""
    found: dict[str, list[Told]] = {}
    for part in _parts():
        found.setdefault(part.sheet, []).append(part)
    return found


def _parts() -> Iterator[Told]:
    return (part for room in rooms.in_order() for part in room.told)
