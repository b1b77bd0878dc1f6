"""All that is held about a household, in one file to give to it. What stands in it the rooms tell (`rooms.Told`)."""

from collections.abc import Iterator
from typing import BinaryIO

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from clubdesk import rooms
from clubdesk.ledger.selectors import club_name
from clubdesk.moment import one_moment
from clubdesk.roll.models import Household
from clubdesk.rooms import Told
from clubdesk.sheets import Heading, Sheet


@one_moment()
def write_family_file(household: Household, file: BinaryIO) -> None:
    """Write the workbook of all that is held about the household. Raises nothing; an empty sheet says so."""
    book = Workbook(write_only=True)
    book.properties.title, book.properties.creator = str(household), "Fletchbook"
    for title, parts in _sheets().items():
        sheet = Sheet(book, title, _headings(parts[0]), landscape=True)
        note = f"What {club_name()} holds about {household}. The treasurer hands out receipts and bank details in full."
        sheet.top(note)
        rows = [list(row) for part in parts for row in part.rows(household)]
        for row in rows or [["Nothing."]]:
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
