from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.reports.verify import verify
from clubdesk.shell import QuestionCommand


class Command(QuestionCommand):
    help = "Say whether a workbook or a PDF of the statements is this book's own, or which figures differ."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")

    def answer(self, *, file: str, **options: Any) -> None:
        selectors.book()
        try:
            content = Path(file).read_bytes()
        except OSError as error:
            raise Refused(f"“{file}” cannot be read: {error.strerror}.") from None
        found = verify(content)
        if not found.is_genuine:
            raise Refused(found.faults)
        self.stdout.write("\n".join([found.said, *found.notes]))
