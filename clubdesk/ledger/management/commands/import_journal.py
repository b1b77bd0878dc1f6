from typing import Any

from django.core.management.base import CommandParser

from clubdesk.ledger import selectors, services
from clubdesk.shell import VerbCommand, contents
from clubdesk.verbs import shell_user


class Command(VerbCommand):
    help = "Post the entries of a CSV file with the columns entry,date,narration,account,fund,debit,credit."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE.csv")
        parser.add_argument("--dry-run", action="store_true", help="check everything, save nothing")

    def run(self, *, file: str, dry_run: bool, **options: Any) -> None:
        selectors.book()
        journals = services.import_journal(content=contents(file), by=shell_user())
        self.keep = not dry_run
        done = "would be posted" if dry_run else "posted"
        self.stdout.write(f"{len(journals)} entries {done} from {file}.")
