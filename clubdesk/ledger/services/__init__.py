"""Verbs of the ledger: the only code that writes to it."""

from clubdesk.ledger.services.book import lock_book, start_book, written
from clubdesk.ledger.services.days import first_open_day, is_shut, open_day_now, refuse_shut
from clubdesk.ledger.services.importing import import_chart, import_journal
from clubdesk.ledger.services.journals import (
    HAVE_OWN_DOCUMENTS,
    correct_earlier_year,
    record_journal,
    record_opening,
    reverse_as_dated,
    reverse_due,
    reverse_journal,
)
from clubdesk.ledger.services.mending import mend_books, mends
from clubdesk.ledger.services.posting import NO_MONEY_ROLES, post, refuse_overdrawing
from clubdesk.ledger.services.registering import register_for_gst
from clubdesk.ledger.services.reversing import lines_of, reverse, undo_entries_of
from clubdesk.ledger.services.unlocking import agree_to_unlock, ask_to_unlock, decline_unlock
from clubdesk.ledger.services.years import (
    close_year,
    closing_lines,
    first_open,
    lock_month,
    open_year,
    refuse_early_close,
)

__all__ = [
    "HAVE_OWN_DOCUMENTS",
    "NO_MONEY_ROLES",
    "agree_to_unlock",
    "ask_to_unlock",
    "close_year",
    "closing_lines",
    "correct_earlier_year",
    "decline_unlock",
    "first_open",
    "first_open_day",
    "import_chart",
    "import_journal",
    "is_shut",
    "lines_of",
    "lock_book",
    "lock_month",
    "mend_books",
    "mends",
    "open_day_now",
    "open_year",
    "post",
    "record_journal",
    "record_opening",
    "refuse_early_close",
    "refuse_overdrawing",
    "refuse_shut",
    "register_for_gst",
    "reverse",
    "reverse_as_dated",
    "reverse_due",
    "reverse_journal",
    "start_book",
    "undo_entries_of",
    "written",
]
