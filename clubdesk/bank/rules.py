"""The rules about the bank that the database itself keeps."""

from clubdesk.guards import kept

GUARDS = [
    *kept("bank_cardsettlement", "card settlement", "takings", "fee", "settled_on"),
    *kept("bank_statementline", "statement line", "amount", "date", "bank_account_id"),
]
