"""Pages of the fees room that are no forms: a family's own account, papers to print, balances by age."""

from django.contrib import messages
from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees import accounts, deadlines, papers, selectors, services
from clubdesk.fees.models import Lodgement, Receipt
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance as ledger_balance
from clubdesk.ledger.selectors import book
from clubdesk.roll.models import Guardian, Household
from clubdesk.roll.views import for_family
from clubdesk.screens.pages import at_one_moment, site_page
from clubdesk.tables import Table, together, write_csv
from clubdesk.verbs import may, verb_of


def _pdf(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


@for_family
@at_one_moment
def own(request: HttpRequest, guardian: Guardian) -> HttpResponse:
    """A family's own account, by its link."""
    household = guardian.household
    context = {
        "club": book().club_name,
        "title": "Your account",
        "statement": accounts.statement(household, clock.today()),
        "receipts": household.receipts.filter(cancelled_on=None)[:20],
    }
    return TemplateResponse(request, "fees/own.html", context)


@for_family
@at_one_moment
def own_statement(request: HttpRequest, guardian: Guardian) -> HttpResponse:
    statement = accounts.statement(guardian.household, clock.today())
    return _pdf(papers.statement_pdf(statement, book().club_name), "statement")


@for_family
@at_one_moment
def own_receipt(request: HttpRequest, guardian: Guardian, number: int) -> HttpResponse:
    receipt = get_object_or_404(Receipt, household=guardian.household, number=number)
    return _pdf(papers.receipt_pdf(receipt, book().club_name), f"receipt-{number}")


# Behind the sign-in


def statement(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    household = get_object_or_404(Household, pk=pk)
    return _pdf(papers.statement_pdf(accounts.statement(household, clock.today()), book().club_name), f"statement-{pk}")


def statements(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """The statements of all who owe, in one file to print."""
    made = accounts.statements(accounts.who_owes(), clock.today())
    if not made:
        messages.info(request, "Nobody owes anything, so there is no statement to print.")
        return HttpResponseRedirect(reverse("admin:aged_balances"))
    return _pdf(papers.statements_pdf(made, book().club_name), "statements")


def receipt(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    found = get_object_or_404(Receipt.objects.select_related("household"), pk=pk)
    return _pdf(papers.receipt_pdf(found, book().club_name), f"receipt-{found.number}")


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
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="vouchers-{lodgement.lodged_on.isoformat()}-{pk}.csv"'
    vouchers = selectors.vouchers_of(lodgement).select_related("person", "charge")
    write_csv(Table("Vouchers", papers.LODGED, list(vouchers)), response)
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
