import json
from decimal import Decimal
from typing import Any

from django.core.management.base import CommandParser

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.papers import COLUMNS, trial_balance_table
from clubdesk.ledger.selectors import TrialBalance, TrialBalanceLine
from clubdesk.money import plain
from clubdesk.shell import QuestionCommand, day
from clubdesk.tables import write_csv


class Command(QuestionCommand):
    help = "Print the trial balance at the end of a day."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--as-at", metavar="DATE", help="default: today")
        parser.add_argument("--format", default="table", help="table, csv or json (default: table)")

    def answer(self, *, as_at: str | None, format: str, **options: Any) -> None:
        printers = {"table": self.table, "csv": self.csv, "json": self.json}
        if format not in printers:
            raise Refused(f"“{format}” is no format; choose {', '.join(printers)}.")
        selectors.book()
        printers[format](selectors.trial_balance(day(as_at) if as_at else clock.today()))

    def json(self, trial: TrialBalance) -> None:
        content = {
            "as_at": trial.as_at.isoformat(),
            "accounts": [self.told(line) for line in trial.lines],
            "total_debit": plain(trial.total_debit),
            "total_credit": plain(trial.total_credit),
        }
        self.stdout.write(json.dumps(content, indent=2, ensure_ascii=False))

    def told(self, line: TrialBalanceLine) -> dict[str, object]:
        values = {name: column.value(line) for name, column in COLUMNS.items()}
        return {name: plain(value) if isinstance(value, Decimal) else value for name, value in values.items()}

    def csv(self, trial: TrialBalance) -> None:
        write_csv(trial_balance_table(trial), self.stdout, ends="\n")

    def table(self, trial: TrialBalance) -> None:
        self.stdout.write(f"{selectors.club_name()}: trial balance as at {long_day(trial.as_at)}\n\n")
        width = max([len(line.account.name) for line in trial.lines] + [20])
        for row in trial_balance_table(trial).shown_rows:
            code, name, debit, credit = (cell.text for cell in row.cells)
            self.stdout.write(f"{code:4}  {name:<{width}} {debit:>14} {credit:>14}")
