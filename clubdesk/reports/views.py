"""Pages of the reports: they only read."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import FinancialYear, Kind
from clubdesk.reports import selectors
from clubdesk.reports.held import write_held
from clubdesk.reports.selectors import YearFigures
from clubdesk.reports.workbook import workbook_bytes
from clubdesk.roll.models import Household

WORKBOOK_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _page(request: HttpRequest, site: AdminSite, template: str, title: str, **context: Any) -> TemplateResponse:
    return TemplateResponse(request, template, {**site.each_context(request), "title": title, **context})


def _may_read(request: HttpRequest) -> None:
    if not request.user.has_perm("ledger.view_financialyear"):
        raise PermissionDenied


def _year(ending: int) -> FinancialYear:
    try:
        return ledger.year_ending(ending)
    except Refused as refusal:
        raise Http404(refusal.sentence) from None


def years(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The financial years, each with its statements and its workbook."""
    _may_read(request)
    return _page(request, site, "reports/years.html", "Reports", years=FinancialYear.objects.all())


def statements(request: HttpRequest, site: AdminSite, ending: int) -> HttpResponse:
    """Income and expenditure by fund, and assets and liabilities, with last year beside."""
    _may_read(request)
    year = _year(ending)
    previous = selectors.previous_year(year)
    now, last = YearFigures(year), YearFigures(previous) if previous else None
    blocks = [
        _block(now, last, Kind.INCOME, "Income", -1),
        _block(now, last, Kind.EXPENSE, "Expenditure", 1),
    ]
    surplus = [*(now.surplus(fund) for fund in now.funds), now.surplus(), last.surplus() if last else ledger.ZERO]
    holdings = [_holding(now, last, Kind.ASSET, "Assets", 1), _holding(now, last, Kind.LIABILITY, "Liabilities", -1)]
    net = [now.net_assets(), last.net_assets() if last else ledger.ZERO]
    funds = [(fund.name, [now.net_assets(fund), last.net_assets(fund) if last else ledger.ZERO]) for fund in now.funds]
    return _page(
        request,
        site,
        "reports/statements.html",
        str(year),
        year=year,
        ending=ending,
        blocks=blocks,
        surplus=surplus,
        holdings=holdings,
        net=net,
        funds=funds,
        fund_names=[fund.name for fund in now.funds],
        may_export=request.user.has_perm("ledger.export_year"),
    )


def _block(now: YearFigures, last: YearFigures | None, kind: Kind, title: str, sign: int) -> dict[str, Any]:
    """The lines of one kind: a figure a fund, their total, and last year's."""
    lines = []
    for account in now.used(now.of_kind(kind), last):
        figures = [sign * now.figure(now.movement, account, fund) for fund in now.funds]
        before = sign * last.figure(last.movement, account) if last else ledger.ZERO
        lines.append((account, [*figures, sum(figures, ledger.ZERO), before]))
    return {"title": title, "lines": lines, "total": _sums([figures for _, figures in lines], len(now.funds) + 2)}


def _holding(now: YearFigures, last: YearFigures | None, kind: Kind, title: str, sign: int) -> dict[str, Any]:
    lines = [
        (account, [sign * now.closing(account), sign * last.closing(account) if last else ledger.ZERO])
        for account in now.used(now.of_kind(kind), last)
    ]
    return {"title": title, "lines": lines, "total": _sums([figures for _, figures in lines], 2)}


def _sums(rows: list[list[Decimal]], width: int) -> list[Decimal]:
    return [sum((row[index] for row in rows), ledger.ZERO) for index in range(width)]


def trial_balance(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The trial balance at the end of a day, today unless the address says another."""
    _may_read(request)
    as_at = clock.today()
    if asked := request.GET.get("as_at"):
        try:
            as_at = date.fromisoformat(asked)
        except ValueError:
            messages.error(request, "That is not a date; today's trial balance is shown.")
    return _page(
        request,
        site,
        "reports/trial_balance.html",
        "Trial balance",
        trial=ledger.trial_balance(as_at),
        as_at=as_at,
    )


def held(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """All that is held about a household, to give to it."""
    if not (request.user.has_perm("roll.view_household") and request.user.has_perm("fees.view_charge")):
        raise PermissionDenied
    household = get_object_or_404(Household, pk=pk)
    response = HttpResponse(content_type=WORKBOOK_TYPE)
    response["Content-Disposition"] = f'attachment; filename="household-{pk}.xlsx"'
    write_held(household, response)  # type: ignore[arg-type]
    return response


def workbook(request: HttpRequest, site: AdminSite, ending: int) -> HttpResponse:
    """The treasurer's workbook of the year that ends in `ending`."""
    if not request.user.has_perm("ledger.export_year"):
        raise PermissionDenied
    year = _year(ending)
    made_by = request.user.get_full_name() or request.user.get_username()  # type: ignore[union-attr]
    content = workbook_bytes(year, made_on=clock.today(), made_by=made_by)
    response = HttpResponse(content, content_type=WORKBOOK_TYPE)
    response["Content-Disposition"] = f'attachment; filename="treasurer-{ending}.xlsx"'
    return response
