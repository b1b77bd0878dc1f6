from collections.abc import Iterable

from clubdesk.bank import services
from clubdesk.bank.models import StatementImport
from clubdesk.bank.services.importing import account_with
from clubdesk.ledger import selectors
from clubdesk.shell import Argument, ImportCommand, contents, file_name


class Command(ImportCommand[StatementImport]):
    help = "Import a bank statement: OFX, ISO 20022 camt.053, or CSV by the columns that the account keeps."
    verb, needs = services.import_statement, selectors.book
    takes = (
        Argument("--account", {"bank_account": account_with}, "CODE", "the bank account's code in the chart"),
        Argument("file", {"content": contents, "file_name": file_name}, "FILE"),
    )

    def came_to(self, result: StatementImport, would_be: str, file: str) -> Iterable[str]:
        yield f"{result.brought} lines {would_be}imported from {file}; {result.known} were known before."
        if result.note:
            yield result.note
