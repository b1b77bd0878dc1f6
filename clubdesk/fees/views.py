"""Pages of the fees room that are no forms: papers to print, balances by age, vouchers."""

from django.contrib import messages
from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees import accounts, deadlines, papers, selectors, services
from clubdesk.fees.asking import IN_PARTS, Asked, asked, paid_into, pay_by
from clubdesk.fees.models import Lodgement, Receipt
from clubdesk.handing import CSV, PDF, file_answer
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance as ledger_balance
from clubdesk.ledger.selectors import book
from clubdesk.money import nil
from clubdesk.roll.models import Household
from clubdesk.screens.pages import site_page
from clubdesk.tables import Table, together, write_csv
from clubdesk.verbs import may, verb_of


def receipt_asks(receipt: Receipt) -> Asked | None:
    """How its family pays what is left of its debt today; None where nothing is, or the receipt was cancelled."""
    owed, today = selectors.balance(receipt.household), clock.today()
    if owed <= nil() or receipt.cancelled_on:
        return None
    return asked(receipt.household, owed, today, by=pay_by(today, book()), otherwise=IN_PARTS)


def statement(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    household = get_object_or_404(Household, pk=pk)
    content = papers.statement_pdf(accounts.statement(household, clock.today()), book(), paid_into())
    return file_answer(
        request, content, kind=PDF, name=f"statement-{pk}.pdf", is_shown=True, what="printed the statement", family=pk
    )


def statements(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """The statements of all who owe, in one file to print."""
    made = accounts.statements(accounts.who_owes(), clock.today())
    if not made:
        messages.info(request, "Nobody owes anything, so there is no statement to print.")
        return HttpResponseRedirect(reverse("admin:aged_balances"))
    content = papers.statements_pdf(made, book(), paid_into())
    what = "printed the statements of all who owe"
    return file_answer(request, content, kind=PDF, name="statements.pdf", is_shown=True, what=what, rows=len(made))


def receipt(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    found = get_object_or_404(Receipt.objects.select_related("household"), pk=pk)
    content, what = papers.receipt_pdf(found, book(), receipt_asks(found)), f"printed receipt {found.number}"
    name = f"receipt-{found.number}.pdf"
    return file_answer(request, content, kind=PDF, name=name, is_shown=True, what=what, family=found.household_id)


def vouchers(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What became of the vouchers, and whether what the departments owe is what the ledger says."""
    rows = accounts.acquittals(clock.today())
    by_ledger = ledger_balance(Role.VOUCHERS_OWED, clock.today())
    return site_page(
        request,
        site,
        "fees/vouchers.html",
        "What became of the vouchers",
        acquitted=Table("Vouchers", papers.ACQUITTED, rows),
        outstanding=papers.outstanding_table(rows, by_ledger),
    )


def to_claim(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The vouchers that were taken and not claimed yet, the least days first."""
    today = clock.today()
    rows = list(deadlines.to_claim().select_related("person", "scheme"))
    late = deadlines.too_late(today).count()
    return site_page(
        request, site, "fees/to_claim.html", "Vouchers to claim", late=late,
        table=Table("Vouchers to claim", papers.TO_CLAIM, rows, [together("All", papers.TO_CLAIM, rows, "amount")]),
        may_lodge=may(request.user, verb_of(services.lodge_vouchers).permission),
    )  # fmt: skip


def lodgement_list(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """The batch as the department takes it, with whole codes; only for who lodges it."""
    lodgement = get_object_or_404(Lodgement.objects.select_related("scheme"), pk=pk)
    vouchers = list(selectors.vouchers_of(lodgement).select_related("person", "charge"))
    response = file_answer(
        request, kind=CSV, name=f"vouchers-{lodgement.lodged_on.isoformat()}-{pk}.csv",
        what="exported a voucher claim with whole codes (CSV)", rows=len(vouchers),
    )  # fmt: skip
    write_csv(Table("Vouchers", papers.LODGED, vouchers), response)
    return response


def aged(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Who owes what, and since when."""
    return site_page(
        request,
        site,
        "fees/aged.html",
        "Balances by age",
        table=papers.aged_table(accounts.aged_balances(clock.today())),
        may_send=may(request.user, verb_of(services.send_statements).permission),
    )
