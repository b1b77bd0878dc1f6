from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clubdesk.bank import services
from clubdesk.bank.services.importing import account_with
from clubdesk.ledger import selectors
from clubdesk.shell import VerbCommand, contents
from clubdesk.verbs import shell_user


class Command(VerbCommand):
    help = "Bring in a bank statement: OFX, ISO 20022 camt.053, or CSV by the columns that the account keeps."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--account", required=True, metavar="CODE", help="the bank account's code in the chart")
        parser.add_argument("--dry-run", action="store_true", help="check everything, save nothing")

    def run(self, *, file: str, account: str, dry_run: bool, **options: Any) -> None:
        selectors.book()
        document = services.import_statement(
            bank_account=account_with(account), content=contents(file), file_name=Path(file).name, by=shell_user()
        )
        self.keep = not dry_run
        verb = "would be brought in" if dry_run else "brought in"
        self.stdout.write(f"{document.brought} lines {verb} from {file}; {document.known} were known before.")
        if document.note:
            self.stdout.write(document.note)
