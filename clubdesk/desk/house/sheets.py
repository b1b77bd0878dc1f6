"""The workbook: a room with documents shows a sheet of them, and each sheet has a name and a place of its own."""

from collections import Counter
from collections.abc import Iterator

from clubdesk import rooms
from clubdesk.desk.house.documents import documents
from clubdesk.reports.workbook.book import of_rooms, tabs


def every_room_with_documents_shows_a_sheet() -> Iterator[str]:
    labels = {model._meta.app_label for model in documents()}
    for room in rooms.in_order():
        if room.label in labels and not (room.sheets or room.no_sheet):
            yield (
                f"The workbook shows nothing of the documents of {room.label}: name a sheet under sheets in its room.py"
                " or say why not under no_sheet."
            )
        elif room.sheets and room.no_sheet:
            yield f"The room {room.label} says why the workbook has no sheet of it, and names one."


def every_sheet_has_its_own_name_and_place() -> Iterator[str]:
    for title, times in Counter(look.title for look in tabs()).items():
        if times > 1:
            yield f"{times} sheets of the workbook are called “{title}”: give each a name of its own."
    for tab, times in Counter(each.tab for each in of_rooms()).items():
        if times > 1:
            yield f"{times} sheets of the workbook stand in place {tab}: give each a place of its own."
