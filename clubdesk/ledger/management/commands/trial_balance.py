import csv
import json

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.selectors import TrialBalance
from clubdesk.money import plain, shown
from clubdesk.shell import VerbCommand, day


class Command(VerbCommand):
    help = "Print the trial balance at the end of a day."

    def add_arguments(self, parser):
        parser.add_argument("--as-at", metavar="DATE", help="default: today")
        parser.add_argument("--format", default="table", help="table, csv or json (default: table)")

    def run(self, *, as_at: str | None, format: str, **options):
        printers = {"table": self.table, "csv": self.csv, "json": self.json}
        if format not in printers:
            raise Refused(f"“{format}” is no format; choose {', '.join(printers)}.")
        selectors.book()
        printers[format](selectors.trial_balance(day(as_at) if as_at else clock.today()))

    def json(self, trial: TrialBalance) -> None:
        lines = [
            {
                "code": line.account.code,
                "name": line.account.name,
                "debit": plain(line.debit),
                "credit": plain(line.credit),
            }
            for line in trial.lines
        ]
        content = {
            "as_at": trial.as_at.isoformat(),
            "accounts": lines,
            "total_debit": plain(trial.total_debit),
            "total_credit": plain(trial.total_credit),
        }
        self.stdout.write(json.dumps(content, indent=2, ensure_ascii=False))

    def csv(self, trial: TrialBalance) -> None:
        writer = csv.writer(self.stdout, lineterminator="\n")
        writer.writerow(["code", "name", "debit", "credit"])
        for line in trial.lines:
            writer.writerow([line.account.code, line.account.name, plain(line.debit), plain(line.credit)])

    def table(self, trial: TrialBalance) -> None:
        self.stdout.write(f"{selectors.club_name()}: trial balance as at {long_day(trial.as_at)}\n\n")
        width = max([len(line.account.name) for line in trial.lines] + [20])
        for line in trial.lines:
            debit, credit = (shown(figure) if figure else "" for figure in (line.debit, line.credit))
            self.stdout.write(f"{line.account.code}  {line.account.name:<{width}} {debit:>14} {credit:>14}")
        total_debit, total_credit = shown(trial.total_debit), shown(trial.total_credit)
        self.stdout.write(f"{'':4}  {'Total':<{width}} {total_debit:>14} {total_credit:>14}")
