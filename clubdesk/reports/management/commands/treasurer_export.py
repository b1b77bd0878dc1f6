import os
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.reports.workbook import write_workbook
from clubdesk.shell import QuestionCommand


class Command(QuestionCommand):
    help = "Write the treasurer's workbook of the financial year that ends in the calendar year YEAR."

    hands_out = "exported a treasurer’s workbook"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("year", metavar="YEAR")
        parser.add_argument("--output", required=True, metavar="FILE.xlsx")

    def answer(self, *, year: str, output: str, **options: Any) -> None:
        selectors.book()
        if not (year.isascii() and year.isdigit()):
            raise Refused(f"“{year}” is not a year; write it like 2026.")
        target = Path(output)
        if target.suffix.lower() != ".xlsx":
            raise Refused(f"“{output}” must end in .xlsx.")
        financial_year = selectors.year_ending(int(year))
        draft = target.with_name(f".{target.name}.part")
        with draft.open("wb") as file:
            write_workbook(financial_year, file, made_on=clock.today(), made_by="the command line")
        os.replace(draft, target)
        self.stdout.write(f"{financial_year}: {target}")
