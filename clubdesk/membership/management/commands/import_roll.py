from django.core.management.base import CommandParser

from clubdesk import clock
from clubdesk.ledger import selectors
from clubdesk.membership import services
from clubdesk.membership.rollfile import COLUMNS, OPTIONAL
from clubdesk.shell import VerbCommand, contents, day
from clubdesk.verbs import shell_user


class Command(VerbCommand):
    help = (
        f"Bring in people and households from a CSV or XLSX file with the columns {','.join(COLUMNS)} "
        f"and, where there are any, {','.join(OPTIONAL)}."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--dry-run", action="store_true", help="check everything, save nothing")
        parser.add_argument("--as-at", metavar="DATE", help="the day of the balances; default: today")

    def run(self, *, file: str, dry_run: bool, as_at: str | None, **options: object) -> None:
        selectors.book()
        on = day(as_at) if as_at else clock.today()
        done = services.import_roll(content=contents(file), as_at=on, by=shell_user())
        self.keep = not dry_run
        verb = "would be brought in" if dry_run else "brought in"
        self.stdout.write(
            f"{done.households} households, {done.people} people and {done.memberships} memberships {verb} from {file}."
        )
        if done.balances:
            self.stdout.write(f"{done.balances.charges.count() + done.balances.receipts.count()} balances {verb}.")
