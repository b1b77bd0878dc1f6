"""Screens of the bank room, by what they are about."""

from clubdesk.bank.admin import accounts, clearings, details, items, reconciling, rules, runs, settlements, statements

__all__ = [
    "accounts",
    "clearings",
    "details",
    "items",
    "reconciling",
    "rules",
    "runs",
    "settlements",
    "statements",
]
