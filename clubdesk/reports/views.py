"""Pages of the reports: they only read."""

from datetime import date
from tempfile import TemporaryFile
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib import admin, messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.errors import Refused
from clubdesk.handing import PDF, XLSX, file_answer, hand_out
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import DEBIT_KINDS, Account, FinancialYear, Fund
from clubdesk.ledger.papers import trial_balance_table
from clubdesk.reports.committee import committee_page
from clubdesk.reports.family_file import note_who_is_told, write_family_file
from clubdesk.reports.pack import write_pack
from clubdesk.reports.papers import CommitteeAsked, StatementsAsked, span_in_words
from clubdesk.reports.seal import seal_of, seal_of_span
from clubdesk.reports.selectors import Figures, lines_of_account
from clubdesk.reports.statements import BASES, BASIS_NAMES, bridge_of_line, of_basis
from clubdesk.reports.verify import verify as compare
from clubdesk.reports.workbook import workbook_bytes
from clubdesk.roll.models import Household
from clubdesk.screens.fields import SpanForm
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may
from clubdesk.yearend.selectors import months_of

UPLOAD_LIMIT = 20 * 1024 * 1024


def _year(ending: int) -> FinancialYear:
    try:
        return ledger.year_ending(ending)
    except Refused as refusal:
        raise Http404(refusal.sentence) from None


def years(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The financial years, each with what is made of it."""
    today = clock.today()
    period = PeriodForm(initial={"since": ledger.year_start(today), "until": today})
    return site_page(
        request,
        site,
        "reports/years.html",
        "Reports",
        years=[
            (year, [(day, ledger.month_end(day)) for day in months_of(year) if day <= today])
            for year in FinancialYear.objects.all()
        ],
        form=period,
        gst=ledger.is_registered(),
    )


class PeriodForm(SpanForm):
    """Which days, which fund and which basis."""

    fund = forms.ModelChoiceField(queryset=Fund.objects.all(), required=False, empty_label="All funds")
    basis = forms.ChoiceField(choices=[(basis, basis.capitalize()) for basis in BASES], required=False)


def statements(request: HttpRequest, site: AdminSite, ending: int | None = None) -> HttpResponse:
    """The statements of a year, or of the days and the fund that the address asks for; `?pdf` as a file to print."""
    year = _year(ending) if ending else None
    asked = {"since": year.first_day, "until": year.last_day} if year else {}
    form = PeriodForm({**asked, **request.GET.dict()})
    if not form.is_valid():
        return site_page(request, site, "reports/statements.html", "Statements", form=form, basis="accrual")
    first, last, fund = form.cleaned_data["since"], form.cleaned_data["until"], form.cleaned_data["fund"]
    basis = form.cleaned_data["basis"] or "accrual"
    now = Figures(first, last, fund)
    asked_for = StatementsAsked(basis, first, last, fund)
    if "pdf" in request.GET:
        return _pdf(request, asked_for.pdf(clock.today()), f"{basis}-{last}.pdf", "printed the statements of the club")
    found = of_basis(basis, now)
    if basis == "bridge" and (line := _line(request, now)):
        found = [bridge_of_line(now, line), *found]
    year = year or FinancialYear.objects.filter(first_day__lte=first, last_day__gte=last).first()
    query = {"since": first.isoformat(), "until": last.isoformat(), "fund": fund.pk if fund else ""}
    return site_page(
        request,
        site,
        "reports/statements.html",
        str(year) if year and (year.first_day, year.last_day) == (first, last) else "Statements",
        form=form,
        span=asked_for.span,
        basis=basis,
        bases=[(each, BASIS_NAMES[each], urlencode({**query, "basis": each})) for each in BASES],
        query=urlencode({**query, "basis": basis}),
        statements=found,
        seal=seal_of(year),
        year=year,
        bridge_query=urlencode({**query, "basis": "bridge"}),
        of_account=urlencode({name: query[name] for name in ("since", "until", "fund")}),
    )


MOST_LINES = 1000


class AccountForm(SpanForm):
    """Which days and which fund of an account."""

    fund = forms.ModelChoiceField(queryset=Fund.objects.all(), required=False, empty_label="All funds")


def account_lines(request: HttpRequest, site: AdminSite, code: str) -> HttpResponse:
    """Every line of an account in a span of days with its running balance, each with its entry."""
    account = get_object_or_404(Account, code=code)
    today = clock.today()
    asked = {"since": ledger.year_start(today).isoformat(), "until": today.isoformat()}
    form = AccountForm({**asked, **request.GET.dict()})
    sections, facts = [], []
    if form.is_valid():
        first, last, fund = (form.cleaned_data[name] for name in ("since", "until", "fund"))
        lines = lines_of_account(account, first, last, fund)
        usual = 1 if account.kind in DEBIT_KINDS else -1
        facts = [
            (f"Before {day_text(first)}", usual * lines.opening + ledger.ZERO),
            (f"On {day_text(last)}", usual * lines.closing + ledger.ZERO),
        ]
        rows = [
            (line.on, Link(f"Entry {line.number}", reverse("admin:ledger_journalentry_change", args=[line.entry])),
             line.narration, line.who, line.debit or "", line.credit or "", usual * line.balance + ledger.ZERO)
            for line in lines.lines[:MOST_LINES]
        ]  # fmt: skip
        note = (
            f"The first {MOST_LINES} lines; choose fewer days for the others." if len(lines.lines) > MOST_LINES else ""
        )
        columns = ["Date", "Entry", "What for", "Who", "Debit", "Credit", "Balance"]
        sections = [Section("Lines", columns, rows, "Nothing was posted in these days.", note=note)]
    return site_page(
        request, site, "screens/figures.html", str(account), form=form, facts=facts, sections=sections,
        parent=Link("Reports", reverse("admin:reports")),
        intro="The balance is above 0.00 where that is usual: by debits what the club has and spends, by credits what"
        " it owes and earns. Income and expense count from the first of these days, without the close of the year.",
    )  # fmt: skip


def _line(request: HttpRequest, now: Figures) -> Account | None:
    asked = request.GET.get("line", "")
    return next((account for account in now.lines if account.code == asked), None)


class CommitteeForm(forms.Form):
    """A month, or a year by the calendar year in which it ends."""

    month = forms.ChoiceField(choices=(), required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        months = sorted({day for each in FinancialYear.objects.all() for day in months_of(each)}, reverse=True)
        begun = [day for day in months if day <= clock.today()]
        years = [(f"{each.last_day.year}", str(each)) for each in FinancialYear.objects.all()]
        field = self.fields["month"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [*years, *((f"{day:%Y-%m}", f"{day:%B %Y}") for day in begun)]

    def span(self) -> tuple[date, date]:
        """The first and the last day asked for; the year is told up to today while it runs."""
        asked = self.cleaned_data["month"]
        if len(asked) == 7:
            day = date.fromisoformat(f"{asked}-01")
            return day, ledger.month_end(day)
        year = ledger.year_ending(int(asked)) if asked else ledger.year_containing(clock.today())
        return year.first_day, max(year.first_day, min(year.last_day, clock.today()))


def committee(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The committee's page of a month or a year; `?pdf` on one sheet of A4."""
    form = CommitteeForm({"month": request.GET.get("month") or request.GET.get("year", "")})
    if not form.is_valid():
        raise Http404("No such month or year.")
    try:
        first, last = form.span()
    except Refused as refusal:
        raise Http404(refusal.sentence) from None
    if "pdf" in request.GET:
        content = CommitteeAsked(first, last).pdf(clock.today())
        return _pdf(request, content, f"committee-{last}.pdf", "printed the committee’s page")
    page, seal = committee_page(first, last), seal_of_span(first, last)
    asked = urlencode({"month": form.cleaned_data["month"], "pdf": 1})
    return site_page(
        request, site, "reports/committee.html", "For the committee", form=form, committee=page,
        span=span_in_words(first, last), seal=seal, pdf=asked,
    )  # fmt: skip


def _pdf(request: HttpRequest, content: bytes, name: str, what: str) -> HttpResponse:
    return file_answer(request, content, kind=PDF, name=name, what=what, is_shown=True)


def trial_balance(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The trial balance at the end of a day, today unless the address says another."""
    as_at = clock.today()
    if asked := request.GET.get("as_at"):
        try:
            as_at = date.fromisoformat(asked)
        except ValueError:
            messages.error(request, "That is not a date; today's trial balance is shown.")
    query = urlencode({"since": ledger.year_start(as_at).isoformat(), "until": as_at.isoformat()})
    table = trial_balance_table(ledger.trial_balance(as_at)).changed(
        "name", link=lambda line: f"{reverse('admin:account_lines', args=[line.account.code])}?{query}"
    )
    return site_page(
        request, site, "reports/trial_balance.html", "Trial balance", as_at=as_at, table=table,
        caption=f"As at {long_day(as_at)}",
    )  # fmt: skip


def family_file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """All that is held about a household, to give to it; bare, since what of it is sensitive is written down first."""
    return admin.site.admin_view(_family_file)(request, pk=pk)


def _family_file(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    if not (may(user, "fees.view_charge") and may(user, "roll.view_household")):
        raise PermissionDenied
    household = get_object_or_404(Household, pk=pk)
    note_who_is_told(household, user)
    what = "opened the whole file"
    response = file_answer(request, kind=XLSX, name=f"family-{pk}.xlsx", what=what, family=pk)
    write_family_file(household, response, user)  # type: ignore[arg-type]
    return response


def workbook(request: HttpRequest, site: AdminSite, ending: int) -> HttpResponse:
    """The treasurer's workbook of the year that ends in `ending`."""
    year = _year(ending)
    content = workbook_bytes(year, made_on=clock.today(), made_by=_name(request))
    what, rows = f"exported the treasurer’s workbook of {year}", year.entries.count()
    return file_answer(request, content, kind=XLSX, name=f"treasurer-{ending}.xlsx", what=what, rows=rows)


def audit_pack(request: HttpRequest, site: AdminSite, ending: int) -> HttpResponseBase:
    """The workbook, its sheets as CSV and the evidence, in one ZIP."""
    file = TemporaryFile()  # noqa: SIM115 - the response closes it
    year = _year(ending)
    write_pack(year, file, made_on=clock.today(), made_by=_name(request))
    file.seek(0)
    hand_out(request, f"exported the audit pack of {year}", rows=year.entries.count())
    return FileResponse(file, as_attachment=True, filename=f"audit-pack-{ending}.zip", content_type="application/zip")


class VerifyForm(forms.Form):
    required_css_class = "required"
    file = forms.FileField(label="Workbook or PDF", help_text="As it was made here, at most 20 MB.")


def verify(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Whether an uploaded workbook or PDF is the book's own; nothing is kept."""
    found, form = None, VerifyForm(label_suffix="")
    if request.method == "POST":
        form = VerifyForm(request.POST, request.FILES, label_suffix="")
        if form.is_valid():
            try:
                found = compare(form.cleaned_data["file"].read(UPLOAD_LIMIT + 1)[:UPLOAD_LIMIT])
            except Refused as refusal:
                form.add_error("file", refusal.sentence)
    return site_page(
        request, site, "reports/verify.html", "Check a file against the book", status=422 if form.errors else 200,
        form=form, found=found,
    )  # fmt: skip


def _name(request: HttpRequest) -> str:
    by = signed_in(request)
    return by.get_full_name() or by.get_username()
