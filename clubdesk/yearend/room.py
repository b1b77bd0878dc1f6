"""What the year's end tells of itself."""

from collections.abc import Sequence

from clubdesk.ledger.selectors import earliest_open_year
from clubdesk.rooms import AUDITOR, SEE_ALL, TREASURER, Entry, ListOf, PageOn, Room, SitePage, Tab
from clubdesk.yearend import admin, views
from clubdesk.yearend.cards import CARDS
from clubdesk.yearend.closing import CHECKS
from clubdesk.yearend.demo import SCENES
from clubdesk.yearend.sheets import SHEETS


def _open_year() -> Sequence[object] | None:
    """The earliest year that is not closed, as addresses name it; None where there is none."""
    year = earliest_open_year()
    return (year.last_day.year,) if year else None


ROOM = Room(
    label="yearend",
    purpose="The budget, last year’s figures, the equipment register, adjustments and the close of a year.",
    tab=Tab.MONEY,
    on_home=80,
    menu=(
        ListOf("Equipment"),
        ListOf("GstReturn", unsearched="A few a year."),
        Entry("What is left before the close", "admin:closing", "ledger.view_financialyear", arguments=_open_year),
        Entry("Budget", "admin:budget", "ledger.view_financialyear", arguments=_open_year),
        Entry("An expense not billed yet", "admin:ledger_journal_accrual", "ledger.add_journal"),
        Entry("A bill paid ahead", "admin:ledger_journal_prepayment", "ledger.add_journal"),
        Entry("Stock of course materials", "admin:ledger_journal_stock", "ledger.add_journal"),
        Entry("Fees not expected to be paid", "admin:ledger_journal_provision", "ledger.add_journal"),
        Entry("Depreciate the equipment", "admin:ledger_journal_depreciation", "ledger.add_journal"),
    ),
    roles={
        TREASURER: (SEE_ALL, "add_budgetmonth", "add_comparative", "add_equipment", "add_gstreturn"),
        AUDITOR: (SEE_ALL,),
    },
    cards=CARDS,
    before_close=CHECKS,
    sheets=SHEETS,
    adds=(
        PageOn("ledger.journal", list_page=admin.AccrualPage()),
        PageOn("ledger.journal", list_page=admin.PrepaymentPage()),
        PageOn("ledger.journal", list_page=admin.StockPage()),
        PageOn("ledger.journal", list_page=admin.AllowancePage()),
        PageOn("ledger.journal", list_page=admin.DepreciationPage()),
        PageOn("ledger.financialyear", page=admin.ChecklistLink()),
        PageOn("ledger.financialyear", page=admin.BudgetPage()),
        PageOn("ledger.financialyear", page=admin.CopyBudgetPage()),
        PageOn("ledger.financialyear", page=admin.ComparativesPage()),
        PageOn("ledger.financialyear", page=admin.RecognisePage()),
        PageOn("ledger.financialyear", page=admin.ClosePage()),
    ),
    pages=(
        SitePage("year/<int:ending>/close/", "closing", views.closing, "ledger.view_financialyear"),
        SitePage("year/gst/", "gst_figures", views.gst_figures, "yearend.view_gstreturn"),
        SitePage("year/<int:ending>/budget/", "budget", views.budget, "ledger.view_financialyear"),
    ),
    demo=SCENES,
)
