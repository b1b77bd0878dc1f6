"""Pages of the year's end that are not forms: the checklist of the close, and the budget."""

from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib.admin import AdminSite
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import FinancialYear, Kind, TaxBasis
from clubdesk.ledger.selectors import ZERO
from clubdesk.screens.fields import SpanForm
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section
from clubdesk.verbs import may, verb_of
from clubdesk.yearend import checklist, found, gst, selectors, services


def _year(ending: int) -> FinancialYear:
    try:
        return ledger.year_ending(ending)
    except Refused as refusal:
        raise Http404(refusal.sentence) from None


def closing(request: HttpRequest, site: AdminSite, ending: int) -> HttpResponse:
    """What is left before the year can be closed. `?books=1` runs check_books too."""
    year = _year(ending)
    asked_books = "books" in request.GET
    return site_page(
        request,
        site,
        "yearend/closing.html",
        f"{year}: before the close",
        year=year,
        items=[
            {**vars(item), "mine": may(request.user, item.needs)}
            for item in checklist.of_year(year, with_books=asked_books)
        ],
        asked_books=asked_books,
        is_over=checklist.is_over(year, clock.today()),
        may_close=may(request.user, verb_of(services.close_books).permission),
        close_url=reverse("admin:ledger_financialyear_close", args=[year.pk]),
    )


class GstSpanForm(SpanForm):
    basis = forms.ChoiceField(choices=TaxBasis.choices, required=False)


def gst_figures(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The figures of a period for the GST return, on either basis; no such page where the club is not registered."""
    if not ledger.is_registered():
        raise Http404
    today, usual = clock.today(), TaxBasis(ledger.book().gst_basis)
    asked = {"since": today.replace(day=1), "until": today}
    form = GstSpanForm(request.GET or {**asked, "basis": usual})
    first, last = (form.cleaned_data[name] for name in asked) if form.is_valid() else asked.values()
    basis = TaxBasis((form.cleaned_data.get("basis") if form.is_valid() else "") or usual)
    figures, there = gst.figures(first, last, basis), found.find(last)
    query = urlencode({"first": first.isoformat(), "last": last.isoformat()})
    unposted = [("Not posted yet, in sales", there.collected), ("Not posted yet, in bills", there.credits)]
    return site_page(
        request,
        site,
        "screens/figures.html",
        "GST of a period",
        parent=Link("Reports", reverse("admin:reports")),
        intro="What was posted, or on the cash basis paid, by the last day and is in no return yet.",
        form=form,
        verbs=[
            ("Post the return", f"{reverse('admin:yearend_gstreturn_add')}?{query}"),
            ("Post what was found", reverse("admin:yearend_gstreturn_found")),
        ],
        facts=[
            ("GST in sales", figures.collected), ("GST in bills", figures.credits), ("Payable", figures.payable),
            *(unposted if there.postings else ()),
        ],
        sections=_what_the_return_is_of(first, last, basis, figures),
    )  # fmt: skip


def _what_the_return_is_of(first: date, last: date, basis: TaxBasis, figures: gst.GstFigures) -> list[Section]:
    """Fees and bills of the days, and what else brings them to the figures of the return."""
    sections = []
    for title, columns, rows, tax in (
        ("Sales", ["Fee", "GST", "Amount", "GST in it"], gst.sales(first, last), figures.collected.amount),
        ("Bills", ["Account", "GST", "Amount", "GST in it"], gst.bills(first, last), figures.credits.amount),
    ):
        lines: list[list[Any]] = [[str(of), of.get_tax_code_display(), *parts] for of, parts in rows.items()]
        rest = tax - sum((part for _, part in rows.values()), ZERO)
        said = "Journals, debts written off, and days before"
        if basis == TaxBasis.CASH:
            said += ", less what is not paid yet"
        if rest:
            lines.append([said, "", "", rest])
        sections.append(Section(title, columns, lines, "Nothing in these days."))
    return sections


def budget(request: HttpRequest, site: AdminSite, ending: int) -> HttpResponse:
    """The year's budget by account and month beside what was so far, and what is planned to be left."""
    year = _year(ending)
    planned, actual = selectors.budget_by_month(year), selectors.actual_by_month(year)
    months = selectors.months_of(year)
    may_plan = may(request.user, verb_of(services.set_budget).permission) and not year.is_closed
    plan_url = reverse("admin:ledger_financialyear_budget", args=[year.pk])
    sections, left = [], [ZERO] * (len(months) + 2)
    for kind, title, sign in ((Kind.INCOME, "Income", 1), (Kind.EXPENSE, "Expenditure", -1)):
        rows: list[list[Any]] = []
        for account in selectors.yearly_accounts().filter(kind=kind):
            figures = [planned.get(account.pk, {}).get(month, ZERO) for month in months]
            was = sum(actual.get(account.pk, {}).values(), ZERO)
            name = Link(str(account), f"{plan_url}?account={account.pk}") if may_plan else str(account)
            rows.append([name, sum(figures, ZERO), was, *figures])
        totals = [sum((row[place] for row in rows), Decimal("0.00")) for place in range(1, len(months) + 3)]
        left = [before + sign * figure for before, figure in zip(left, totals, strict=True)]
        columns = ["Account", "Planned", "So far", *(f"{month:%b %y}" for month in months)]
        sections.append(Section(title, columns, [*rows, [f"Total {title.lower()}", *totals]]))
    verbs = []
    if may_plan:
        copy_url = reverse("admin:ledger_financialyear_budget-copy", args=[year.pk])
        verbs = [("Plan an account", plan_url), ("Copy from last year", copy_url)]
    return site_page(
        request,
        site,
        "screens/figures.html",
        f"Budget, {str(year)[0].lower()}{str(year)[1:]}",
        parent=Link("Reports", reverse("admin:reports")),
        intro="What is planned, account by account and month by month, beside what was posted so far.",
        verbs=verbs,
        facts=[("Planned surplus (deficit)", left[0]), ("Surplus (deficit) so far", left[1])],
        sections=sections,
    )
