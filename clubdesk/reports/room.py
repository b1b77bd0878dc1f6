"""What the reports tell of themselves: they only read."""

from clubdesk.reports import views, voucherviews
from clubdesk.reports.cards import CARDS
from clubdesk.rooms import AUDITOR, SEE_ALL, TREASURER, Entry, Menu, PageOn, Room, SitePage, Tab

READ = "ledger.view_financialyear"
EXPORT = "ledger.export_year"

ROOM = Room(
    label="reports",
    purpose="Statements of any days on both bases, the committee’s page and the treasurer’s workbook. They only read.",
    tab=Tab.MONEY,
    on_home=85,
    menu=(
        Entry(
            "Export the year",
            "admin:reports",
            EXPORT,
            Menu.SCENE,
            tried="Open the year that ended and take its workbook: its sheet Proof says whether all of it agrees.",
        ),
        Entry("Statements and workbooks, year by year", "admin:reports", READ),
        Entry("For the committee", "admin:committee", READ),
        Entry("Trial balance", "admin:trial_balance", READ),
        Entry("Check a file against the book", "admin:verify", EXPORT),
        Entry("Vouchers for an auditor of their scheme", "admin:voucher_sample", voucherviews.MAY_LOOK),
    ),
    cards=CARDS,
    roles={TREASURER: (SEE_ALL,), AUDITOR: (SEE_ALL,)},
    adds=(PageOn("fees.voucher", page=voucherviews.AuditLink()),),
    pages=(
        SitePage(
            "roll/household/<int:pk>/file/", "household_file", views.family_file, "fees.view_charge", is_bare=True
        ),
        SitePage("reports/", "reports", views.years, READ),
        SitePage("reports/trial-balance/", "trial_balance", views.trial_balance, READ),
        SitePage("reports/committee/", "committee", views.committee, READ),
        SitePage("reports/statements/", "period_statements", views.statements, READ),
        SitePage("reports/<int:ending>/", "statements", views.statements, READ),
        SitePage("reports/<int:ending>/workbook/", "workbook", views.workbook, EXPORT, asks_again=True),
        SitePage("reports/<int:ending>/audit-pack/", "audit_pack", views.audit_pack, EXPORT, asks_again=True),
        SitePage("reports/account/<slug:code>/", "account_lines", views.account_lines, READ),
        SitePage("reports/vouchers/", "voucher_sample", voucherviews.sample, voucherviews.MAY_LOOK),
        SitePage("reports/vouchers/<int:pk>/", "voucher_audit", voucherviews.audit, voucherviews.MAY_LOOK),
        SitePage("reports/verify/", "verify", views.verify, EXPORT),
    ),
)
