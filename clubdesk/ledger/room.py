"""What the ledger tells of itself."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.ledger.closing import CHECKS
from clubdesk.ledger.demo import SCENES
from clubdesk.ledger.finding import FINDS
from clubdesk.ledger.services import reverse_due
from clubdesk.rooms import AUDITOR, SEE_ALL, TREASURER, Done, ListOf, Menu, Night, Room


def _undo_journals(on: date, by: User) -> Done:
    return Done(not_yet=tuple(reverse_due(on=on, by=by)))


ROOM = Room(
    label="ledger",
    purpose="Accounts, the journal and the financial years: where every other room ends up.",
    on_home=90,
    menu=(
        ListOf("Journal"),
        ListOf("JournalEntry"),
        ListOf("FinancialYear", unsearched="One a year."),
        ListOf("Party"),
        ListOf("Account", Menu.SETTING),
        ListOf("Fund", Menu.SETTING),
    ),
    each_night=(Night("", _undo_journals),),
    roles={
        TREASURER: (
            SEE_ALL,
            "add_account",
            "change_account",
            "add_fund",
            "add_party",
            "change_party",
            "add_financialyear",
            "add_journal",
            "change_journal",
            "lock_month",
            "close_year",
            "export_year",
        ),
        AUDITOR: (SEE_ALL, "export_year"),
    },
    finds=FINDS,
    before_close=CHECKS,
    no_sheet="The reports show all of it.",
    demo=SCENES,
)
