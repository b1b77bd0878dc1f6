"""What the room of the bank tells of itself."""

from clubdesk.bank import selectors, views
from clubdesk.bank.admin.details import DetailsPage, details_section
from clubdesk.bank.admin.givingback import UndoGiveBackPage
from clubdesk.bank.admin.pairs import PairPage, matched_section
from clubdesk.bank.closing import BEFORE_LOCK, CHECKS
from clubdesk.bank.coming import CARDS, due_of_runs
from clubdesk.bank.demo import SCENES
from clubdesk.bank.expected import released
from clubdesk.bank.finding import FINDS
from clubdesk.bank.merging import MERGING
from clubdesk.bank.models import (
    AccountChange,
    BankAccount,
    ChangeState,
    ItemState,
    PaymentItem,
    PaymentRun,
    RunState,
    StatementLine,
)
from clubdesk.bank.outstanding_views import outstanding_entries
from clubdesk.bank.personal import PERSONAL, TOLD, owed
from clubdesk.bank.rules import NUMBERS
from clubdesk.bank.services.accounts import begin
from clubdesk.bank.sheets import SHEETS
from clubdesk.bank.streams import PAYS_INTO, STREAMS
from clubdesk.ledger.models import Role
from clubdesk.rooms import (
    APPROVER,
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Entry,
    First,
    ListOf,
    Menu,
    PageOn,
    Recorded,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting

RELEASES = ("view_paymentrun", "view_paymentitem", "release_paymentrun", "view_accountchange", "agree_accountchange")
"""Whoever is the second of two people."""

ROOM = Room(
    label="bank",
    purpose="Payments out, card takings as they are settled, and the bank’s own statement, line by line.",
    tab=Tab.MONEY,
    on_home=70,
    menu=(
        Entry("Import a bank statement", "admin:import_statement", "bank.add_statementline"),
        Entry("Match bank lines", "admin:explain_lines", "bank.view_statementline"),
        Entry("Reconcile a month", "admin:reconcile_month", "bank.view_reconciliation"),
        Entry("On its way to the bank", "admin:outstanding_entries", "bank.view_statementline"),
        Entry("The cash box, the reader, the department, the depot", "admin:money_streams", "bank.view_statementline"),
        ListOf("PaymentRun"),
        ListOf("PaymentItem"),
        ListOf("CardSettlement", unsearched="It holds days and figures; the statement’s line is found."),
        ListOf("StatementLine"),
        ListOf("StatementImport"),
        ListOf("Clearing"),
        ListOf("Reconciliation", unsearched="One a month, the latest first."),
        ListOf("BankAccount", Menu.SETTING),
        ListOf("AccountChange", Menu.SETTING),
        ListOf("BankRule", Menu.SETTING),
    ),
    first_things=(
        First(
            15,
            "Where families pay",
            "The club’s account: one person enters its number, and another agrees.",
            "bank.change_bankaccount",
            "admin:bank_bankaccount_another-account",
            lambda: BankAccount.objects.filter(account__role=Role.BANK).exclude(iban="", account_number=""),
            of=lambda: BankAccount.objects.filter(account__role=Role.BANK),
        ),
    ),
    waits=(
        Waits(
            "account without its number",
            "accounts without their number",
            permission="bank.change_bankaccount",
            page="admin:bank_bankaccount_changelist",
            now=lambda on: waiting(
                selectors.without_a_number(),
                line="Letters cannot tell families where to pay until one enters it and another agrees.",
            ),
        ),
        Waits(
            "change of the club’s account to agree to",
            "changes of the club’s account to agree to",
            permission="bank.agree_accountchange",
            page="admin:bank_accountchange_changelist",
            query="state__exact=asked",
            now=lambda on: waiting(
                AccountChange.objects.filter(state=ChangeState.ASKED),
                since="asked_on",
                line="A second person compares it with the bank’s own letter.",
            ),
        ),
        Waits(
            "refund or expense to pay",
            "refunds and expenses to pay",
            permission="bank.add_paymentrun",
            page="admin:bank_paymentrun_add",
            now=lambda on: waiting(selectors.claims_to_pay(), selectors.expenses_to_pay(), since="decided_on"),
        ),
        Waits(
            "payment run to release",
            "payment runs to release",
            permission="bank.release_paymentrun",
            page="admin:bank_paymentrun_changelist",
            query="state__exact=made",
            now=lambda on: waiting(
                PaymentRun.objects.filter(state=RunState.MADE),
                since="made_on",
                line="Somebody who did not make it looks it through and releases it.",
            ),
        ),
        Waits(
            "payment that the bank has not made yet",
            "payments that the bank has not made yet",
            permission="bank.change_paymentrun",
            page="admin:bank_paymentitem_changelist",
            query="state__exact=waiting",
            now=lambda on: waiting(
                PaymentItem.objects.filter(state=ItemState.WAITING, run__state=RunState.RELEASED),
                since="run__released_on",
                line="Paid is what the bank’s own statement shows.",
            ),
            on_others=True,
        ),
        Waits(
            "bank line not matched yet",
            "bank lines not matched yet",
            permission="bank.change_statementline",
            page="admin:explain_lines",
            now=lambda on: waiting(
                StatementLine.objects.filter(selectors.UNEXPLAINED),
                since="date",
                line="A month is signed off when each of its lines is matched.",
            ),
        ),
    ),
    second_step=("release_paymentrun", "see_bankdetails", "add_bankdetails", "agree_accountchange"),
    roles={
        COORDINATOR: RELEASES,
        APPROVER: RELEASES,
        TREASURER: (
            SEE_ALL,
            "add_paymentrun",
            "change_paymentrun",
            "add_bankdetails",
            "see_bankdetails",
            "add_bankaccount",
            "change_bankaccount",
            "agree_accountchange",
            "add_cardsettlement",
            "add_statementline",
            "change_statementline",
            "add_bankrule",
            "change_bankrule",
            "add_reconciliation",
            "change_reconciliation",
        ),
        AUDITOR: (SEE_ALL,),
    },
    recorded=(
        Recorded(
            "bank.BankAccount",
            leaves=("csv_mapping",),
            proven=("account", *NUMBERS, "bank_letters", "user_id"),
        ),
        Recorded(
            "bank.Reconciliation",
            leaves=("key", "recorded_by", "recorded_at"),
            proven=("reopened_on", "reopened_by", "reopen_reason"),
        ),
        Recorded("bank.BankRule"),
        Recorded(
            "bank.BankDetails",
            masked=("account_number",),
            hidden=("bsb",),
            leaves=("key", "recorded_by", "recorded_at"),
        ),
    ),
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    holds_back=(owed,),
    finds=FINDS,
    before_close=CHECKS,
    before_lock=BEFORE_LOCK,
    sheets=SHEETS,
    begins=(begin,),
    paid_into=selectors.paid_into,
    pays_into=PAYS_INTO,
    streams=STREAMS,
    expects=(released,),
    comes_due=(due_of_runs,),
    cards=CARDS,
    adds=(
        PageOn("roll.household", page=DetailsPage(), section=details_section),
        PageOn("ledger.journalentry", page=PairPage(), section=matched_section),
        PageOn("fees.giveback", page=UndoGiveBackPage()),
    ),
    pages=(
        SitePage("bank/import/", "import_statement", views.bring_in, "bank.add_statementline"),
        SitePage("bank/explain/", "explain_lines", views.explain_lines, "bank.view_statementline"),
        SitePage("bank/streams/", "money_streams", views.money_streams, "bank.view_statementline"),
        SitePage("bank/outstanding/", "outstanding_entries", outstanding_entries, "bank.view_statementline"),
        SitePage("bank/reconcile/", "reconcile_month", views.reconcile_month, "bank.view_reconciliation"),
    ),
    demo=SCENES,
)
