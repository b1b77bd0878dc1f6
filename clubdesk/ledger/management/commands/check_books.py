import json
from typing import Any

from django.core.management.base import CommandParser

from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.invariants import check_all
from clubdesk.shell import QuestionCommand

WIDTH = 79


class Command(QuestionCommand):
    help = "Re-derive every invariant of the books from the rows; exit 1 and a list where one fails."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", default="table", help="table or json (default: table)")

    def answer(self, *, format: str, **options: Any) -> None:
        if format not in ("table", "json"):
            raise Refused(f"“{format}” is no format; choose table, json.")
        selectors.book()
        results = check_all(self.begins)
        self.begins("")
        sound = not any(result.faults for result in results)
        if format == "json":
            checks = [{"name": each.name, "ok": not each.faults, "faults": each.faults} for each in results]
            self.stdout.write(json.dumps({"ok": sound, "checks": checks}, indent=2, ensure_ascii=False))
        else:
            for result in results:
                self.stdout.write(f"{'ok  ' if not result.faults else 'FAIL'}  {result.name}")
        if not sound:
            self.fail([fault for result in results for fault in result.faults])

    def begins(self, name: str) -> None:
        """On a terminal the check that runs now stands in the last line, and is written over."""
        if self.stderr.isatty():
            self.stderr.write(f"\r{name[:WIDTH]:<{WIDTH}}\r", lambda text: text, ending="")
            self.stderr.flush()
