"""What a year needs of the ledger before it is closed, and what the checks of the rooms above share."""

from collections.abc import Iterable
from datetime import date, timedelta

from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, FinancialYear, Role
from clubdesk.ledger.selectors import balances, journals_to_reverse
from clubdesk.money import shown
from clubdesk.rooms import Check, Item
from clubdesk.screens.tables import page_of

SUSPENSE = "Nothing stands in suspense"
REVERSED = "Journals that undo themselves have done so"
NEXT_YEAR = "The next year is open"


def listed(things: Iterable[object], most: int = 3) -> str:
    """The first few of them by name, and how many more there are."""
    named = [str(thing) for thing in things]
    more = f" and {len(named) - most} more" if len(named) > most else ""
    return ", ".join(named[:most]) + more


def locked_whole(year: FinancialYear) -> bool:
    """Whether nothing can be dated in the year any more, so that what is put right is dated after it."""
    return year.locked_through == year.last_day


def suspense_is_zero(year: FinancialYear) -> Item:
    """Zero on the last day; once that day is locked, what was cleared after it is carried."""
    url = reverse("admin:ledger_journal_add")
    parked = Account.objects.filter(role=Role.SUSPENSE).first()
    if parked is None:
        return Item(SUSPENSE, True, "The chart has no account for it.")
    left = _in_suspense(parked, year.last_day)
    if left and locked_whole(year) and not _in_suspense(parked, max(clock.today(), year.last_day)):
        return Item(SUSPENSE, True, f"{left} stood there on {day_text(year.last_day)}; it was cleared after the lock.")
    said = f"{parked} holds {left}; write a journal to where it belongs." if left else f"{parked} is zero."
    return Item(SUSPENSE, not left, said, url, "ledger.add_journal")


def _in_suspense(parked: Account, on: date) -> str:
    found = balances(on, ["fund__name"], account=parked).after_closing
    return ", ".join(f"{shown(figure)} in the {fund}" for (fund,), figure in found.items() if figure)


def journals_reversed(year: FinancialYear) -> Item:
    due = journals_to_reverse(min(year.last_day, clock.today()))
    said = f"Still to be undone though their day has come: {listed(due)}." if due else "None is overdue."
    url = page_of(due[0]) if due else ""
    return Item(REVERSED, not due, said, url, "ledger.change_journal")


def next_year_is_open(year: FinancialYear) -> Item:
    following = year.last_day + timedelta(days=1)
    there = FinancialYear.objects.filter(first_day=following).exists()
    said = "It is." if there else f"Open the year from {day_text(following)}, so that nothing has to wait."
    url = reverse("admin:ledger_financialyear_add")
    return Item(NEXT_YEAR, there, said, url, "ledger.add_financialyear")


CHECKS = (
    Check(SUSPENSE, "ledger.add_journal", suspense_is_zero),
    Check(REVERSED, "ledger.change_journal", journals_reversed),
    Check(NEXT_YEAR, "ledger.add_financialyear", next_year_is_open),
)
