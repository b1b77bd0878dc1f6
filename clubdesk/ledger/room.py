"""What the ledger tells of itself."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.ledger import views
from clubdesk.ledger.cards import CARDS
from clubdesk.ledger.closing import CHECKS
from clubdesk.ledger.demo import SCENES
from clubdesk.ledger.finding import FINDS
from clubdesk.ledger.models import Book, FinancialYear, JournalEntry, MonthUnlock, PartyKind, UnlockState
from clubdesk.ledger.selectors import earliest_open_year
from clubdesk.ledger.services import reverse_due
from clubdesk.ledger.sheets import SHEETS
from clubdesk.rooms import (
    APPROVER,
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Done,
    Entry,
    First,
    ListOf,
    Menu,
    Night,
    Recorded,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting


def _undo_journals(on: date, by: User) -> Done:
    return Done(not_yet=tuple(reverse_due(on=on, by=by)))


def _open_year() -> tuple[int] | None:
    """The earliest year that is not closed, as addresses name it; None where there is none."""
    year = earliest_open_year()
    return (year.pk,) if year else None


UNLOCKS = ("view_monthunlock", "agree_monthunlock")
"""Whoever is the second of two people."""

ROOM = Room(
    label="ledger",
    purpose="Accounts, the journal and the financial years: where every other room ends up.",
    tab=Tab.MONEY,
    on_home=90,
    menu=(
        ListOf("Journal"),
        ListOf("JournalEntry"),
        Entry("Lock months", "admin:ledger_financialyear_lock", "ledger.lock_month", arguments=_open_year),
        ListOf("FinancialYear", unsearched="One a year."),
        ListOf("MonthLock", unsearched="One a month."),
        ListOf("MonthUnlock", unsearched="There are few."),
        ListOf("Party"),
        ListOf("Book", Menu.SETTING),
        ListOf("Account", Menu.SETTING),
        ListOf("Fund", Menu.SETTING),
    ),
    waits=(
        Waits(
            "club that families cannot reach",
            "clubs that families cannot reach",
            permission="ledger.change_book",
            page="admin:ledger_book_changelist",
            now=lambda on: waiting(
                Book.objects.filter(contact_email="", contact_phone=""),
                line="Enter who answers families: name, e-mail or phone stand on their pages and letters.",
            ),
        ),
        Waits(
            "month to be unlocked",
            "months to be unlocked",
            permission="ledger.agree_monthunlock",
            page="admin:ledger_monthunlock_changelist",
            query="state__exact=asked",
            now=lambda on: waiting(
                MonthUnlock.objects.filter(state=UnlockState.ASKED),
                since="asked_on",
                line="A second person agrees or declines.",
            ),
        ),
    ),
    first_things=(
        First(
            10,
            "The club, and whom families ask",
            "A name, an e-mail or a phone; they stand on every page and letter that a family gets.",
            "ledger.change_book",
            "admin:ledger_book_change",
            lambda: Book.objects.exclude(contact_email="", contact_phone=""),
            of=Book.objects.all,
        ),
        First(
            80,
            "What the club had before",
            "Money, equipment and debts on the day before the first year; they are the start of every statement.",
            "ledger.add_journal",
            "admin:ledger_journal_opening",
            lambda: JournalEntry.objects.filter(year=None),
        ),
    ),
    pages=(SitePage("ledger/opening-file/", "opening_file", views.opening_file, "ledger.add_journal"),),
    under_way=(lambda: FinancialYear.objects.exclude(locked_through=None),),
    cards=CARDS,
    each_night=(Night("", _undo_journals),),
    second_step=("close_year", "agree_monthunlock"),
    roles={
        COORDINATOR: (*UNLOCKS, "view_book", "change_book"),
        APPROVER: UNLOCKS,
        TREASURER: (
            SEE_ALL,
            "change_book",
            "add_account",
            "change_account",
            "add_fund",
            "add_party",
            "change_party",
            "add_financialyear",
            "add_journal",
            "change_journal",
            "lock_month",
            "agree_monthunlock",
            "close_year",
            "export_year",
        ),
        AUDITOR: (SEE_ALL, "export_year"),
    },
    recorded=(
        Recorded("ledger.Book", leaves=("last_number", "last_digest")),
        Recorded("ledger.Account", proven=("code", "kind", "role", "needs_party", "is_money")),
        Recorded("ledger.Fund", leaves=("balance",)),
        # A family's party has its name, and is recorded with it.
        Recorded("ledger.Party", leaves=("merged_into",), spares=lambda party: party.kind == PartyKind.HOUSEHOLD),
    ),
    finds=FINDS,
    before_close=CHECKS,
    sheets=SHEETS,
    demo=SCENES,
)
