"""Pages of the fees room that are no forms: a family's own account, papers to print, balances by age."""

import csv
from typing import Any

from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse
from django.views.decorators.cache import never_cache

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import accounts, papers
from clubdesk.fees.models import Charge, Lodgement, Receipt
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import ZERO, book
from clubdesk.ledger.selectors import balance as ledger_balance
from clubdesk.money import plain
from clubdesk.roll.models import Household
from clubdesk.screens import run_verb_page


def _pdf(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


@never_cache
def own(request: HttpRequest, token: str) -> HttpResponse:
    """A family's own account, by its link."""
    context: dict[str, Any] = {"club": book().club_name}
    try:
        household = accounts.household_of(token)
    except Refused as refusal:
        context |= {"title": "This link does not work", "sentence": refusal.sentence}
        return TemplateResponse(request, "book/message.html", context, status=404)
    statement = accounts.statement(household, clock.today())
    receipts = household.receipts.filter(cancelled_on=None)[:20]
    context |= {"title": "Your account", "statement": statement, "token": token, "receipts": receipts}
    return TemplateResponse(request, "fees/own.html", context)


@never_cache
def own_statement(request: HttpRequest, token: str) -> HttpResponse:
    household = _household_of(token)
    return _pdf(papers.statement_pdf(accounts.statement(household, clock.today()), book().club_name), "statement")


@never_cache
def own_receipt(request: HttpRequest, token: str, number: int) -> HttpResponse:
    receipt = get_object_or_404(Receipt, household=_household_of(token), number=number)
    return _pdf(papers.receipt_pdf(receipt, book().club_name), f"receipt-{number}")


def _household_of(token: str) -> Household:
    try:
        return accounts.household_of(token)
    except Refused as refusal:
        raise Http404(refusal.sentence) from None


# Behind the sign-in


def _may_read(request: HttpRequest) -> None:
    if not request.user.has_perm("fees.view_charge"):
        raise PermissionDenied


def statement(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    _may_read(request)
    household = get_object_or_404(Household, pk=pk)
    return _pdf(papers.statement_pdf(accounts.statement(household, clock.today()), book().club_name), f"statement-{pk}")


def statements(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The statements of all who owe, in one file to print."""
    _may_read(request)
    made = accounts.statements(accounts.who_owes(), clock.today())
    if not made:
        raise Http404("Nobody owes anything.")
    return _pdf(papers.statements_pdf(made, book().club_name), "statements")


def receipt(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    _may_read(request)
    found = get_object_or_404(Receipt.objects.select_related("household"), pk=pk)
    return _pdf(papers.receipt_pdf(found, book().club_name), f"receipt-{found.number}")


def send_statements(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The form that writes to all who owe."""
    from clubdesk.fees.admin import SendStatementsPage

    context = {**site.each_context(request), "opts": Charge._meta, "is_popup": False}
    return run_verb_page(SendStatementsPage(), request, None, context)


def vouchers(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What became of the vouchers, and whether what the departments owe is what the ledger says."""
    if not request.user.has_perm("fees.view_voucher"):
        raise PermissionDenied
    rows = accounts.acquittals(clock.today())
    by_ledger = ledger_balance(Role.VOUCHERS_OWED, clock.today())
    outstanding = sum((row.outstanding for row in rows), ZERO)
    context = {
        **site.each_context(request),
        "title": "What became of the vouchers",
        "rows": rows,
        "columns": [name for _, name in accounts.AGES],
        "outstanding": outstanding,
        "by_ledger": by_ledger,
        "difference": outstanding - by_ledger,
    }
    return TemplateResponse(request, "fees/vouchers.html", context)


LIST = ("given name", "family name", "date of birth", "voucher code", "fee", "claimed", "accepted on")


def lodgement_list(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """The batch as the department takes it, with whole codes; only for who lodges it."""
    if not request.user.has_perm("fees.add_lodgement"):
        raise PermissionDenied
    lodgement = get_object_or_404(Lodgement.objects.select_related("scheme"), pk=pk)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="vouchers-{lodgement.lodged_on.isoformat()}-{pk}.csv"'
    writer = csv.writer(response)
    writer.writerow(LIST)
    for voucher in lodgement.vouchers.select_related("person", "charge").order_by("pk"):
        person = voucher.person
        texts = (person.given_name, person.family_name, person.birth_date.isoformat(), voucher.code)
        figures = (plain(voucher.charge.amount), plain(voucher.claimed), voucher.accepted_on.isoformat())
        writer.writerow([as_text(each) for each in texts] + list(figures))
    return response


def as_text(words: str) -> str:
    """Words that a spreadsheet reads as text, never as a formula. Source: OWASP, CSV injection; CWE-1236."""
    return f"'{words}" if words[:1] in ("=", "+", "-", "@", "\t", "\r") else words


def aged(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Who owes what, and since when."""
    _may_read(request)
    rows = accounts.aged_balances(clock.today())
    columns = [name for _, name in accounts.AGES]
    sums = [sum((row.ages[index] for row in rows), ZERO) for index in range(len(columns))]
    context = {
        **site.each_context(request),
        "title": "Balances by age",
        "columns": columns,
        "rows": rows,
        "sums": sums,
        "unused": sum((row.unused for row in rows), ZERO),
        "owed": sum((row.owed for row in rows), ZERO),
        "may_send": request.user.has_perm("fees.add_receipt"),
    }
    return TemplateResponse(request, "fees/aged.html", context)
