from typing import Any

from django.core.management.base import CommandParser

from clubdesk.ledger import services
from clubdesk.shell import VerbCommand, contents
from clubdesk.verbs import shell_user


class Command(VerbCommand):
    help = "Add or rename accounts from a CSV file with the columns code,name,kind,role."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE.csv")

    def run(self, *, file: str, **options: Any) -> None:
        count = services.import_chart(content=contents(file), by=shell_user())
        self.stdout.write(f"{count} accounts read from {file}.")
