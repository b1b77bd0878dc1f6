"""What the room of fees tells of itself."""

from clubdesk.fees import claimviews, deadlines, givingback, selectors, services, views
from clubdesk.fees.admin.household import (
    ChargePage,
    EndPartsPage,
    PartsPage,
    ReceivePage,
    SendStatementPage,
    StatementLink,
    account_section,
    parts_section,
    receipts_section,
    statement_section,
)
from clubdesk.fees.audiences import AUDIENCES
from clubdesk.fees.cards import CARDS
from clubdesk.fees.closing import CHECKS
from clubdesk.fees.coming import due_of_departments, due_of_families
from clubdesk.fees.demo import SCENES
from clubdesk.fees.expecting import lodged, owed
from clubdesk.fees.finding import FINDS
from clubdesk.fees.letters import LETTERS
from clubdesk.fees.merging import MERGING
from clubdesk.fees.models import FeePrice, Voucher, VoucherState
from clubdesk.fees.personal import PERSONAL, TOLD, unpaid
from clubdesk.fees.sheets import SHEETS
from clubdesk.fees.streams import PAYS_INTO, STREAMS
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Entry,
    First,
    ListOf,
    Menu,
    Night,
    PageOn,
    Recorded,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting

ROOM = Room(
    label="fees",
    purpose="What things cost, what each family owes and has paid, and the vouchers that pay a part.",
    tab=Tab.MONEY,
    on_home=60,
    menu=(
        Entry("Balances by age", "admin:aged_balances", "fees.view_charge"),
        ListOf("Charge"),
        ListOf("Receipt"),
        ListOf("Voucher"),
        ListOf("Lodgement"),
        ListOf("GiveBack"),
        Entry("Vouchers to claim", "admin:vouchers_to_claim", "fees.view_voucher"),
        Entry("What became of the vouchers", "admin:vouchers_answered", "fees.view_voucher"),
        ListOf("Arrangement"),
        ListOf("WriteOff"),
        ListOf("Repayment"),
        ListOf("FeeItem", Menu.SETTING),
        ListOf("FeePrice", Menu.SETTING),
        ListOf("VoucherScheme", Menu.SETTING),
    ),
    first_things=(
        First(
            40,
            "What things cost",
            "Each fee with its price and the day it counts from: memberships, courses, hire, visitors.",
            "fees.add_feeitem",
            "admin:fees_feeitem_begin",
            lambda: FeePrice.objects.all(),
        ),
    ),
    waits=(
        Waits(
            "voucher to claim",
            "vouchers to claim",
            permission="fees.add_lodgement",
            page="admin:fees_voucher_changelist",
            query="state__exact=accepted",
            now=lambda on: waiting(
                Voucher.objects.filter(state=VoucherState.ACCEPTED),
                since="accepted_on",
                line="The department pays what the club claims, and nothing before.",
            ),
        ),
        Waits(
            "voucher to claim by its last day",
            "vouchers to claim by their last days",
            permission="fees.add_lodgement",
            page="admin:vouchers_to_claim",
            now=lambda on: deadlines.to_claim_soon(on),
        ),
        Waits(
            "voucher whose last day to claim has passed: say that it is not claimed",
            "vouchers whose last day to claim has passed: say that they are not claimed",
            permission="fees.add_lodgement",
            page="admin:vouchers_to_claim",
            now=lambda on: waiting(deadlines.too_late(on), by="claim_by"),
        ),
        Waits(
            "voucher claim that the department should have paid by now",
            "voucher claims that the department should have paid by now",
            permission="fees.add_lodgement",
            page="admin:fees_lodgement_changelist",
            now=lambda on: deadlines.department_is_late(on),
        ),
        Waits(
            "voucher to give back to its department",
            "vouchers to give back to their departments",
            permission="fees.add_giveback",
            page="admin:fees_giveback_changelist",
            query="state__exact=approved",
            now=lambda on: waiting(
                givingback.unpaid(), since="asked_on", line="Put them into a payment run by single transfers."
            ),
        ),
        Waits(
            "claimed voucher that waits for the child’s next fee: ask whether the child comes back",
            "claimed vouchers that wait for the child’s next fee: ask whether the child comes back",
            permission="fees.add_lodgement",
            page="admin:fees_voucher_changelist",
            query="pays=next",
            now=lambda on: waiting(selectors.vouchers_for_a_next_fee(), since="accepted_on"),
        ),
    ),
    cards=CARDS,
    each_night=(
        Night("fees became income", lambda on, by: services.recognise_due(on=on, by=by)),
        Night("coordinators told by when vouchers are claimed", lambda on, by: services.tell_deadlines(on=on, by=by)),
        Night("numbers of children erased", lambda on, by: services.erase_numbers(on=on, by=by)),
    ),
    letters=LETTERS,
    roles={
        COORDINATOR: (
            SEE_ALL,
            "add_charge",
            "add_chargecredit",
            "add_receipt",
            "change_receipt",
            "add_arrangement",
            "add_voucher",
            "add_lodgement",
        ),
        TREASURER: (
            SEE_ALL,
            "add_feeitem",
            "change_feeitem",
            "add_feeprice",
            "change_feeprice",
            "add_feeshare",
            "change_feeshare",
            "delete_feeshare",
            "add_voucherscheme",
            "change_voucherscheme",
            "add_vouchervalue",
            "change_vouchervalue",
            "add_voucherwindow",
            "change_voucherwindow",
            "add_claimcolumn",
            "change_claimcolumn",
            "delete_claimcolumn",
            "add_charge",
            "add_chargecredit",
            "add_receipt",
            "change_receipt",
            "add_writeoff",
            "add_arrangement",
            "add_lodgement",
            "change_lodgement",
            "change_voucher",
            "add_giveback",
        ),
        AUDITOR: (SEE_ALL,),
    },
    recorded=(
        Recorded("fees.FeeItem"),
        Recorded("fees.FeePrice"),
        Recorded("fees.FeeShare"),
        Recorded("fees.VoucherScheme"),
        Recorded("fees.VoucherValue"),
        Recorded("fees.VoucherWindow"),
        Recorded("fees.ClaimColumn"),
    ),
    audiences=AUDIENCES,
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    holds_back=(unpaid,),
    pays_into=PAYS_INTO,
    streams=STREAMS,
    expects=(owed, lodged),
    comes_due=(due_of_families, due_of_departments),
    finds=FINDS,
    before_close=CHECKS,
    sheets=SHEETS,
    adds=(
        PageOn("roll.household", page=ReceivePage(), section=account_section, is_main=True),
        PageOn("roll.household", page=ChargePage(), section=parts_section),
        PageOn("roll.household", page=StatementLink(), section=receipts_section),
        PageOn("roll.household", page=SendStatementPage(), section=statement_section),
        PageOn("roll.household", page=PartsPage()),
        PageOn("roll.household", page=EndPartsPage()),
    ),
    pages=(
        SitePage("fees/vouchers-answered/", "vouchers_answered", views.vouchers, "fees.view_voucher"),
        SitePage("fees/vouchers-to-claim/", "vouchers_to_claim", views.to_claim, "fees.view_voucher"),
        SitePage("fees/lodgement/<int:pk>/list/", "lodgement_list", views.lodgement_list, "fees.add_lodgement"),
        SitePage("fees/claim-file/<int:pk>/", "claim_file", claimviews.claim_file, "fees.add_lodgement"),
        SitePage(
            "fees/lodgement/<int:pk>/answer-file/",
            "lodgement_answer_file",
            claimviews.answer_file,
            "fees.change_lodgement",
        ),
        SitePage("fees/balances/", "aged_balances", views.aged, "fees.view_charge"),
        SitePage("fees/statements/", "statements_to_print", views.statements, "fees.view_charge"),
        SitePage("roll/household/<int:pk>/statement/", "household_statement", views.statement, "fees.view_charge"),
        SitePage("fees/receipt/<int:pk>/pdf/", "receipt_pdf", views.receipt, "fees.view_charge"),
    ),
    demo=SCENES,
)
