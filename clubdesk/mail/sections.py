"""Small tables of letters on other rooms' pages."""

from django.db.models import QuerySet

from clubdesk.mail.models import Message, MessageState
from clubdesk.screens.tables import Section, link_to, phone_link

UNREACHED = (MessageState.NO_ADDRESS, MessageState.FAILED)
MOST_SHOWN = 100


def not_reached(letters: QuerySet[Message]) -> Section | None:
    """Which families of the letters were not reached by mail, with the phones of their guardians; None where all were.

    One line a guardian, a hundred letters at most.
    """
    rows = letters.filter(state__in=UNREACHED, household__isnull=False).select_related("household")
    found = [
        (link_to(letter.household), guardian.name, phone_link(guardian.phone), letter.get_state_display())
        for letter in rows.prefetch_related("household__guardians").order_by("household__name", "pk")[:MOST_SHOWN]
        if letter.household
        for guardian in letter.household.guardians.all()
    ]
    return Section("Not reached by mail: ring them", ["Family", "Guardian", "Phone", "Why"], found) if found else None
