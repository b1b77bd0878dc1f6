from collections.abc import Iterable

from clubdesk.ledger import selectors
from clubdesk.membership import services
from clubdesk.membership.rollfile import COLUMNS, OPTIONAL
from clubdesk.membership.services.bringing import BroughtIn
from clubdesk.shell import FILE, ImportCommand


class Command(ImportCommand[BroughtIn]):
    help = (
        f"Import people and families from a CSV or XLSX file with the columns {','.join(COLUMNS)} "
        f"and, where there are any, {','.join(OPTIONAL)}."
    )
    verb, needs = services.import_roll, selectors.book
    takes = (FILE,)

    def came_to(self, result: BroughtIn, would_be: str, file: str) -> Iterable[str]:
        yield (
            f"{result.households} families, {result.people} people and {result.memberships} memberships "
            f"{would_be}imported from {file}."
        )
        if result.balances:
            balances = result.balances.charges.count() + result.balances.receipts.count()
            yield f"{balances} balances {would_be}imported."
