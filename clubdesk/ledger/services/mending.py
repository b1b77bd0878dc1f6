"""Figures that are stored beside the entries, put right from them where somebody got past the guards."""

from collections.abc import Callable, Iterator

from django.contrib.auth.models import User
from django.db import connection

from clubdesk import guards
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.models import GENESIS, Book, Fund, JournalEntry, MonthBalance
from clubdesk.ledger.services.book import lock_book
from clubdesk.ledger.services.years import store_month
from clubdesk.ledger.stored import locked_months, months_that_differ, posted_in_funds
from clubdesk.money import as_amount, shown
from clubdesk.verbs import NOBODY, verb

Mend = Callable[[], Iterator[str]]
_register: list[tuple[tuple[str, ...], Mend]] = []


def mends(*tables: str) -> Callable[[Mend], Mend]:
    """Register a function that puts stored figures of those tables right and yields a sentence for each thing it did.

    Meanwhile their guards are lifted. It reads entries and documents, and changes none.
    """

    def add(mend: Mend) -> Mend:
        _register.append((tables, mend))
        return mend

    return add


@verb(permission=NOBODY, title="Put stored figures right")
def mend_books(*, by: User) -> list[str]:
    """Put every stored figure right from the entries; returns a sentence for each thing that was done.

    No entry and no document is touched: what is wrong with them `check_books` goes on saying. Raises Refused where the
    database lacks a guard.
    """
    lock_book()
    if guards.faults(connection):
        raise Refused("The guards of the database are not all in place; run migrate first.")
    done = []
    for tables, mend in _register:
        with guards.lifted(connection, *tables):
            done += list(mend())
    return done


@mends("ledger_book")
def mend_head() -> Iterator[str]:
    last = JournalEntry.objects.filter(sealed=True).order_by("-number").first()
    number, digest = (last.number, last.digest) if last else (0, GENESIS)
    for book in Book.objects.exclude(last_number=number, last_digest=digest):
        yield f"The book’s last entry was kept as {book.last_number}; it is {number}."
        Book.objects.filter(pk=book.pk).update(last_number=number, last_digest=digest)


@mends("ledger_fund")
def mend_funds() -> Iterator[str]:
    posted = posted_in_funds()
    for fund in Fund.objects.all():
        figure = as_amount(posted.get(fund.pk, selectors.ZERO))
        if fund.balance == figure:
            continue
        if fund.restricted and figure.amount < 0:
            yield f"{fund} stays at {shown(fund.balance)}: its entries overdraw it, which no fund of its kind may be."
            continue
        yield f"{fund} was kept at {shown(fund.balance)}; its entries make {shown(figure)}."
        Fund.objects.filter(pk=fund.pk).update(balance=figure)


@mends("ledger_monthbalance")
def mend_months() -> Iterator[str]:
    locked = locked_months()
    astray = MonthBalance.objects.exclude(month_end__in=locked)
    for end in sorted(set(astray.values_list("month_end", flat=True))):
        MonthBalance.objects.filter(month_end=end).delete()
        yield f"Balances stored for {end:%B %Y}, which is not locked, were taken away."
    wrong = [end for end, _ in months_that_differ(locked)]
    if wrong:
        for end in (end for end in locked if end >= wrong[0]):
            store_month(end)
        yield from (f"The balances stored for {end:%B %Y} were put right." for end in wrong)
