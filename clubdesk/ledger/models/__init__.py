"""The ledger's nouns."""

from clubdesk.ledger.models.chart import (
    DEBIT_KINDS,
    GENESIS,
    TAX_ROLES,
    YEARLY_KINDS,
    Account,
    Book,
    Fund,
    FundRole,
    Kind,
    Party,
    PartyKind,
    Role,
    TaxBasis,
    TaxCode,
)
from clubdesk.ledger.models.documents import Document, Journal, JournalOrigin, MonthLock, MonthUnlock, UnlockState
from clubdesk.ledger.models.entries import FinancialYear, JournalEntry, MonthBalance, Posting

__all__ = [
    "DEBIT_KINDS",
    "GENESIS",
    "TAX_ROLES",
    "YEARLY_KINDS",
    "Account",
    "Book",
    "Document",
    "FinancialYear",
    "Fund",
    "FundRole",
    "Journal",
    "JournalEntry",
    "JournalOrigin",
    "Kind",
    "MonthBalance",
    "MonthLock",
    "MonthUnlock",
    "Party",
    "PartyKind",
    "Posting",
    "Role",
    "TaxBasis",
    "TaxCode",
    "UnlockState",
]
