"""Pages of the year's end that are not forms: the checklist of the close, and the budget."""

from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.contrib.admin import AdminSite
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import FinancialYear, Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import nil
from clubdesk.screens.fields import SpanForm
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section
from clubdesk.verbs import may, verb_of
from clubdesk.yearend import checklist, gst, selectors, services


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


def gst_figures(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The figures of a period for the GST return; no such page where the club is not registered."""
    if not gst.is_registered():
        raise Http404
    today = clock.today()
    asked = {"since": today.replace(day=1), "until": today}
    form = SpanForm(request.GET or asked)
    first, last = (form.cleaned_data[name] for name in asked) if form.is_valid() else asked.values()
    found = gst.figures(first, last)
    sales = [[item.name, item.get_tax_code_display(), amount, found.in_sales.get(item, nil())]
             for item, amount in found.sales.items()]  # fmt: skip
    bills = [[str(account), str(fund), amount, found.in_bills.get((account, fund), nil())]
             for (account, fund), amount in found.bills.items()]  # fmt: skip
    query = urlencode({"first": first.isoformat(), "last": last.isoformat()})
    return site_page(
        request,
        site,
        "screens/figures.html",
        "GST of a period",
        parent=Link("Reports", reverse("admin:reports")),
        intro="By the day a fee is charged and a bill is dated; each amount is rounded by itself.",
        form=form,
        verbs=[("Post it", f"{reverse('admin:yearend_gstreturn_add')}?{query}")],
        facts=[("GST in sales", found.collected), ("GST in bills", found.credits), ("Payable", found.payable)],
        sections=[
            Section("Sales", ["Fee", "GST", "Amount", "GST in it"], sales, "No fee has a GST code yet."),
            Section("Bills", ["Account", "Fund", "Amount", "GST in it"], bills, "No expense account has one yet."),
        ],
    )


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
