"""Verbs of the bank room."""

from clubdesk.bank.services.accounts import agree_to_account, ask_for_account, decline_account
from clubdesk.bank.services.answering import accept
from clubdesk.bank.services.byhand import book_line, pay_supplier, receive_line
from clubdesk.bank.services.clearing import clear, explain_line, undo_clearing
from clubdesk.bank.services.details import set_bank_details
from clubdesk.bank.services.givingback import undo_give_back
from clubdesk.bank.services.importing import import_statement
from clubdesk.bank.services.pairing import match_correction, match_entries
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
from clubdesk.bank.services.transfers import transfer_line

__all__ = [
    "accept",
    "agree_to_account",
    "ask_for_account",
    "book_line",
    "clear",
    "decline_account",
    "explain_line",
    "import_statement",
    "leave_out",
    "make_file",
    "make_run",
    "match_correction",
    "match_entries",
    "pay_supplier",
    "receive_line",
    "record_paid",
    "record_returned",
    "record_statement_line",
    "release_run",
    "reopen_month",
    "set_bank_details",
    "settle_cards",
    "sign_off_month",
    "transfer_line",
    "undo_clearing",
    "undo_give_back",
    "withdraw_run",
]
