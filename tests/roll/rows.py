"""All that the book holds, row by row, to see whether an act and its undoing leave everything as it was."""

from django.apps import apps
from django.conf import settings

from clubdesk.fees.models import Allocation
from clubdesk.ledger.models import Book, JournalEntry, Posting
from clubdesk.roll.models import Merge, MovedRow

OF_THE_BOOK = (Book, JournalEntry, Posting, Merge, MovedRow)
"""What only grows: an entry and its reversal stay, and so does the merge that was undone."""


def rows():
    """Every row but those that only grow, and what was freed of a receipt, which is history."""
    found = {}
    for model in apps.get_models(include_auto_created=True):
        if model._meta.app_label in settings.ROOMS and model not in OF_THE_BOOK:
            kept = model._base_manager.filter(freed_on=None) if model is Allocation else model._base_manager.all()
            found[model._meta.label] = {row[model._meta.pk.attname]: row for row in kept.values()}
    return found


def balances():
    """What each party stands at in each account."""
    found = {}
    for party, account, amount in Posting.objects.values_list("party", "account", "amount"):
        found[party, account] = found.get((party, account), 0) + amount.amount
    return {key: figure for key, figure in found.items() if figure}
