from collections.abc import Iterable

from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import Journal
from clubdesk.shell import CSV_FILE, ImportCommand


class Command(ImportCommand[list[Journal]]):
    help = "Post the entries of a CSV file with the columns entry,date,narration,account,fund,debit,credit."
    verb, needs = services.import_journal, selectors.book
    takes = (CSV_FILE,)

    def came_to(self, result: list[Journal], would_be: str, file: str) -> Iterable[str]:
        yield f"{len(result)} entries {would_be}posted from {file}."
