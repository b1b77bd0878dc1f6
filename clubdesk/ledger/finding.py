"""What search finds in the ledger: entries, and who owes or is owed besides families."""

from collections.abc import Iterator

from django.db.models import Q

from clubdesk.clock import day_text
from clubdesk.finding import Sought
from clubdesk.ledger.models import JournalEntry, Party, PartyKind, Posting
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import amounts, by_name, hit


def entries_of_amount(sought: Sought) -> Q:
    """Entries with a line of that amount, debit or credit."""
    either = amounts(sought)
    return Q(pk__in=Posting.objects.filter(amount__in=either).values("entry")) if either else Q()


def entries(sought: Sought, limit: int) -> Iterator[Hit]:
    found = list(JournalEntry.objects.filter(number__in=sought.numbers))
    if of_amount := entries_of_amount(sought):
        found += JournalEntry.objects.filter(of_amount).order_by("-number")[:limit]
    return (hit(entry, str(entry), f"{entry.narration}, {day_text(entry.date)}") for entry in found)


def organisations(sought: Sought, limit: int) -> Iterator[Hit]:
    for party, is_alike in by_name(sought, Party.objects.exclude(kind=PartyKind.HOUSEHOLD), limit):
        yield hit(party, party.name, party.get_kind_display(), is_alike)


FINDS = (
    Finder(
        "Organisations",
        "a name, also misspelt, of a department, an association or a supplier",
        permission="ledger.view_party",
        find=organisations,
        page="admin:ledger_party_changelist",
    ),
    Finder(
        "Journal entries",
        "a number, or the amount of a line",
        permission="ledger.view_journalentry",
        find=entries,
        called=("entry", "journal entry", "journal"),
        page="admin:ledger_journalentry_changelist",
    ),
)
