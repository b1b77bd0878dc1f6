"""What must be done before a year is closed: every room brings its checks, and the books are checked at the end."""

from datetime import date

from clubdesk import rooms
from clubdesk.ledger.closing import listed
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear
from clubdesk.moment import one_moment
from clubdesk.rooms import Item


@one_moment()
def of_year(year: FinancialYear, *, with_books: bool = False) -> list[Item]:
    """Every item of the year; `with_books` runs check_books too, which takes a while."""
    found = (check.run(year) for room in rooms.in_order() for check in room.before_close)
    items = [item for item in found if item]
    return [*items, books_are_clean()] if with_books else items


def books_are_clean() -> Item:
    faults = [fault for result in check_all() for fault in result.faults]
    said = listed(faults, 5) if faults else "Every invariant holds."
    return Item("The books agree with themselves (check_books)", not faults, said)


def is_over(year: FinancialYear, today: date) -> bool:
    return year.last_day < today
