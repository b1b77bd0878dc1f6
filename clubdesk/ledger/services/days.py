"""Which days can still be dated: not those of a locked month or of a closed year.

Whoever asks holds the book (`lock_book`), so that the month is not locked between the answer and what is written by it.
"""

from datetime import date, timedelta

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.models import FinancialYear


def first_open_day(on: date) -> date:
    """`on`, or where that day is shut the first day after it that is open. Raises Refused where no year has one."""
    if day := _open_from(on):
        return day
    selectors.year_containing(on)
    raise Refused(f"No day from {day_text(on)} on is open; open the next financial year first.")


def open_day_now(on: date) -> date:
    """The same for a day of the book, without holding it: for whoever takes other rows first, and the book as it posts.

    Where no day is open, or the month is locked meanwhile, it is the post that is refused.
    """
    year = FinancialYear.objects.filter(first_day__lte=on, last_day__gte=on).first()
    is_open = year is None or not (year.is_closed or (year.locked_through and on <= year.locked_through))
    return on if is_open else _open_from(on) or on


def _open_from(on: date) -> date | None:
    for year in FinancialYear.objects.filter(last_day__gte=on, closed_at=None).order_by("first_day"):
        day = max(on, year.first_day, year.locked_through + timedelta(days=1) if year.locked_through else on)
        if day <= year.last_day:
            return day
    return None


def refuse_shut(on: date) -> None:
    """Raise Refused where nothing can be dated `on`: no year, a closed one, a locked month."""
    refuse_shut_in(selectors.year_containing(on), on)


def refuse_shut_in(year: FinancialYear, on: date, is_closing: bool = False) -> None:
    """The same for a day whose year is known; a closing entry goes into a locked month."""
    if year.is_closed:
        raise Refused(f"{day_text(on)} is in a closed year; date it in an open one.")
    if year.locked_through and on <= year.locked_through and not is_closing:
        raise Refused(
            f"{day_text(on)} is in a locked month (locked through {day_text(year.locked_through)}); use a later date."
        )


def refuse_late_opening(on: date) -> None:
    """Raise Refused where what was there before the first year can be written down no more, or not for `on`."""
    day = selectors.opening_day()
    if on != day:
        raise Refused(
            f"What was there before this book began stands on {day_text(day)}, the day before its first year."
        )
    if not selectors.still_opens():
        raise Refused(
            "The first month is locked, so what was there before it can no longer be recorded or reversed; write it as"
            " a correction of an earlier year."
        )


def is_shut(on: date) -> bool:
    """Whether nothing can be dated `on` any more."""
    try:
        refuse_shut(on)
    except Refused:
        return True
    return False
