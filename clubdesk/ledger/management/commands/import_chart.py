from collections.abc import Iterable

from clubdesk.ledger import services
from clubdesk.shell import CSV_FILE, ImportCommand


class Command(ImportCommand[int]):
    help = "Add or rename accounts from a CSV file with the columns code,name,kind,role."
    verb = services.import_chart
    takes = (CSV_FILE,)
    has_dry_run = False

    def came_to(self, result: int, would_be: str, file: str) -> Iterable[str]:
        yield f"{result} accounts read from {file}."
