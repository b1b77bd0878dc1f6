"""Verbs of the bank room."""

from clubdesk.bank.services.clearing import accept, clear, explain_line, undo_clearing
from clubdesk.bank.services.details import set_bank_details
from clubdesk.bank.services.importing import import_statement
from clubdesk.bank.services.pairing import match_entries
from clubdesk.bank.services.reconciling import reopen_month, sign_off_month
from clubdesk.bank.services.runs import (
    leave_out,
    make_file,
    make_run,
    record_paid,
    record_returned,
    release_run,
    withdraw_run,
)
from clubdesk.bank.services.statements import record_statement_line, settle_cards

__all__ = [
    "accept",
    "clear",
    "explain_line",
    "import_statement",
    "leave_out",
    "make_file",
    "make_run",
    "match_entries",
    "record_paid",
    "record_returned",
    "record_statement_line",
    "release_run",
    "reopen_month",
    "set_bank_details",
    "settle_cards",
    "sign_off_month",
    "undo_clearing",
    "withdraw_run",
]
