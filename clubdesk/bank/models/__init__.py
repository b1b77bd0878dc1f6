"""Bank accounts, what goes out of them in payment runs, card takings settled into them, and their statements."""

from clubdesk.bank.models.accounts import ACCOUNT_FORM, BSB_FORM, AccountChange, BankAccount, BankDetails, ChangeState
from clubdesk.bank.models.payments import (
    CardSettlement,
    HowPaid,
    ItemState,
    PaymentFile,
    PaymentItem,
    PaymentRun,
    RunState,
)
from clubdesk.bank.models.statements import (
    BankRule,
    ClearedLine,
    ClearedPosting,
    Clearing,
    HowSure,
    Reconciliation,
    StatementImport,
    StatementLine,
    Way,
)

__all__ = [
    "ACCOUNT_FORM",
    "BSB_FORM",
    "AccountChange",
    "BankAccount",
    "BankDetails",
    "BankRule",
    "CardSettlement",
    "ChangeState",
    "ClearedLine",
    "ClearedPosting",
    "Clearing",
    "HowPaid",
    "HowSure",
    "ItemState",
    "PaymentFile",
    "PaymentItem",
    "PaymentRun",
    "Reconciliation",
    "RunState",
    "StatementImport",
    "StatementLine",
    "Way",
]
