"""Bringing a statement in (choose the file, see its lines, put the columns right, do it), explaining its lines,
reconciling a month, and each stream of money by three witnesses.
"""

import base64
import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.db import DataError, IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.response import TemplateResponse
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import reading, selectors, services
from clubdesk.bank.expected import MOST_LINES, explain
from clubdesk.bank.matching import Grade
from clubdesk.bank.models import BankAccount, HowSure
from clubdesk.bank.papers import reconciliation_pdf, rows_of
from clubdesk.bank.reading import Mapping
from clubdesk.bank.reading.delimited import DAYS_FIRST, cells_of
from clubdesk.bank.reconciling import Reconciled, next_month, reconcile, stated_balance
from clubdesk.bank.services.importing import Plan, plan_import
from clubdesk.bank.streams import streams
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.ledger.selectors import book, month_end
from clubdesk.money import AmountFormField
from clubdesk.screens import DayField, Link, Section, page_of, sentence_of

MOST_HERE = 1_500_000
TOO_LARGE = "A file of this size is brought in from the shell: manage.py import_statement FILE."
SHOWN = 30


class FileForm(forms.Form):
    bank_account = forms.ModelChoiceField(BankAccount.objects.all())
    file = forms.FileField(help_text="OFX, camt.053 or CSV, as the bank exports it.", allow_empty_file=True)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        accounts = BankAccount.objects.all()[:2]
        if len(accounts) == 1:
            self.fields["bank_account"].initial = accounts[0].pk


class ReadForm(forms.Form):
    """The file once more, as the preview read it."""

    bank_account = forms.ModelChoiceField(BankAccount.objects.all())
    content = forms.CharField(widget=forms.HiddenInput)
    file_name = forms.CharField(max_length=200)
    key = forms.UUIDField()

    def clean_content(self) -> bytes:
        try:
            return base64.b64decode(self.cleaned_data["content"], validate=True)
        except ValueError:
            raise forms.ValidationError("The file did not come through whole; choose it again.") from None


class ColumnsForm(forms.Form):
    """Which column of a CSV file is what."""

    date = forms.TypedChoiceField(label="The date", coerce=int)
    dates = forms.ChoiceField(label="Dates are written", choices=[(way, way) for way in DAYS_FIRST])
    text = forms.TypedMultipleChoiceField(label="The words", coerce=int, widget=forms.CheckboxSelectMultiple)
    amount = forms.TypedChoiceField(label="The amount", coerce=int, required=False, empty_value=None)
    debit = forms.TypedChoiceField(label="or money out", coerce=int, required=False, empty_value=None)
    credit = forms.TypedChoiceField(label="and money in", coerce=int, required=False, empty_value=None)
    balance = forms.TypedChoiceField(label="The balance", coerce=int, required=False, empty_value=None)
    decimal = forms.ChoiceField(label="Before the cents", choices=[(".", "a point"), (",", "a comma")])
    skip = forms.IntegerField(label="Rows above the first line", min_value=0, max_value=50)

    def __init__(self, *args: Any, columns: list[str], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        choices = list(enumerate(columns))
        for name in ("date", "text", "amount", "debit", "credit", "balance"):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = choices if name in ("date", "text") else [("", "none"), *choices]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("amount") is None and cleaned.get("debit") is None and cleaned.get("credit") is None:
            raise forms.ValidationError("Say which column is the amount, or which are money out and money in.")
        return cleaned


def bring_in(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Bring a bank statement in from a file."""
    if not request.user.has_perm("bank.add_statementline"):
        raise PermissionDenied
    context: dict[str, Any] = {**site.each_context(request), "title": "Bring a bank statement in"}
    form = FileForm(None, label_suffix="")
    try:
        if "content" in request.POST:
            return _read_again(request, context)
        if request.method == "POST":
            form = FileForm(request.POST, request.FILES, label_suffix="")
            if form.is_valid():
                file = form.cleaned_data["file"]
                content = file.read(MOST_HERE + 1)
                if len(content) > MOST_HERE:
                    raise Refused(TOO_LARGE)
                context |= {"bank_account": form.cleaned_data["bank_account"], "file_name": file.name or "statement"}
                return _preview(request, context, content, None)
    except (Refused, IntegrityError, DataError, OperationalError) as refusal:
        context["sentences"] = refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]
    context["form"] = form
    return TemplateResponse(request, "bank/import.html", context, status=422 if request.method == "POST" else 200)


def _read_again(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    """With the columns as they were put right: show the lines once more, or bring them in."""
    again = ReadForm(request.POST)
    if not again.is_valid():
        raise Refused("The file did not come through whole; choose it again.")
    cleaned = again.cleaned_data
    content, account = cleaned["content"], cleaned["bank_account"]
    context |= {"bank_account": account, "file_name": cleaned["file_name"]}
    mapping = None
    if reading.form_of(content) == reading.Form.CSV:
        proposed = reading.propose(content)
        columns = ColumnsForm(request.POST, columns=_columns(content, proposed))
        if not columns.is_valid():
            return _preview(request, context, content, None, columns)
        mapping = Mapping(**_as_mapping(columns.cleaned_data, proposed))
    if "show" in request.POST:
        return _preview(request, context, content, mapping)
    try:
        document = services.import_statement(
            bank_account=account,
            content=content,
            file_name=cleaned["file_name"],
            by=request.user,  # type: ignore[arg-type]
            mapping=mapping,
            key=cleaned["key"],
        )
    except Refused as refusal:
        context["sentences"] = refusal.messages
        return _preview(request, context, content, mapping)
    count = "1 line" if document.brought == 1 else f"{document.brought} lines"
    messages.success(request, f"{count} brought in, {document.known} known before. {document.note}".strip())
    return HttpResponseRedirect(page_of(account))


def _as_mapping(cleaned: dict[str, Any], proposed: Mapping) -> dict[str, Any]:
    chosen = {**cleaned, "text": tuple(cleaned["text"])}
    if chosen["amount"] is not None:
        chosen["debit"] = chosen["credit"] = None
    return {**proposed.as_dict(), **chosen}


def _preview(
    request: HttpRequest,
    context: dict[str, Any],
    content: bytes,
    mapping: Mapping | None,
    columns: ColumnsForm | None = None,
) -> HttpResponse:
    """The lines as they are read, and for CSV the columns by which they are; what cannot be read stands above."""
    account = context["bank_account"]
    is_csv = reading.form_of(content) == reading.Form.CSV
    plan = None
    if columns is None:
        try:
            plan = _planned(account, content, mapping)
        except Refused as refusal:
            if not is_csv:
                raise
            context.setdefault("sentences", refusal.messages[:12])
    if columns is None and is_csv:
        used = mapping or (plan.mapping if plan else None) or reading.propose(content)
        columns = ColumnsForm(initial=used.as_dict(), columns=_columns(content, used))
    context |= {
        "plan": plan,
        "lines": plan.fresh[-SHOWN:] if plan else [],
        "columns": columns,
        "content": base64.b64encode(content).decode(),
        "key": uuid.uuid4(),
    }
    return TemplateResponse(request, "bank/import.html", context, status=422 if context.get("sentences") else 200)


def _planned(account: BankAccount, content: bytes, mapping: Mapping | None) -> Plan:
    """By the columns given, else those that the account keeps, else, where these do not fit, as the file proposes."""
    try:
        return plan_import(account, content, mapping)
    except Refused:
        if mapping or not account.csv_mapping or reading.form_of(content) != reading.Form.CSV:
            raise
        return plan_import(account, content, reading.propose(content))


def _columns(content: bytes, mapping: Mapping) -> list[str]:
    """What each column is called: its number, and its header or what stands first in it."""
    rows = cells_of(content, mapping)
    width = max(len(cells) for cells in rows)
    first = rows[max(mapping.skip - 1, 0)] if rows else []
    return [f"{index + 1}: {first[index][:30] if index < len(first) else ''}".rstrip(": ") for index in range(width)]


# Explaining its lines


def explain_lines(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What explains the lines that wait, with reasons: the certain together, the others one by one."""
    if not request.user.has_perm("bank.view_statementline"):
        raise PermissionDenied
    accounts = list(BankAccount.objects.all())
    chosen = request.GET.get("account", "")
    account = next((each for each in accounts if str(each.pk) == chosen), accounts[0] if accounts else None)
    if account is None:
        messages.info(request, "There is no bank account yet; add one first.")
        return HttpResponseRedirect(reverse("admin:bank_bankaccount_changelist"))
    may = request.user.has_perm("bank.change_statementline")
    if request.method == "POST":
        if not may:
            raise PermissionDenied
        _accept_chosen(request, account)
        return HttpResponseRedirect(f"{reverse('admin:explain_lines')}?account={account.pk}")
    explained, others = explain(account)
    context = {
        **site.each_context(request),
        "title": "Bank lines to explain",
        "accounts": accounts,
        "account": account,
        "may": may,
        "groups": [
            (title, words, [each for each in explained if each.grade == grade])
            for title, words, grade in (
                ("Certain", "A reference, a name or your own rule speaks for it.", Grade.CERTAIN),
                ("Likely", "Look at each before you take it.", Grade.LIKELY),
                ("Possible", "There may be other answers; take one only if you know it.", Grade.POSSIBLE),
            )
        ],
        "explained": explained,
        "others": others,
        "more": max(0, selectors.unexplained(account).count() - MOST_LINES),
    }
    return TemplateResponse(request, "bank/explain.html", context)


def _accept_chosen(request: HttpRequest, account: BankAccount) -> None:
    """Take the answers that were chosen, each only if the book still proposes it; one refused holds none back."""
    chosen = {
        name.removeprefix("lines-"): answer
        for name, answer in request.POST.items()
        if name.startswith("lines-") and answer
    }
    proposed = {each.name: each for each in explain(account)[0]}
    taken = 0
    for name, wanted in chosen.items():
        each = proposed.get(name)
        answer = next((answer for answer in each.answers if answer.name == wanted), None) if each else None
        if each is None or answer is None:
            messages.error(request, "Something changed since you looked; look at that line again.")
            continue
        try:
            services.accept(
                lines=each.lines,
                answer=answer.made_of,
                reasons=each.reasons,
                how_sure=HowSure(each.how_sure),
                by=request.user,  # type: ignore[arg-type]
            )
            taken += 1
        except (Refused, IntegrityError, DataError, OperationalError) as refusal:
            messages.error(request, f"{each.lines[0]}: {sentence_of(refusal)}")
    if taken:
        messages.success(request, f"{taken} {'answer' if taken == 1 else 'answers'} taken.")
    elif not chosen:
        messages.info(request, "Nothing was chosen; nothing was changed.")


# Reconciling


class MonthForm(forms.Form):
    account = forms.ModelChoiceField(BankAccount.objects.all(), label="Bank account")
    until = DayField(label="Month (any day of it)", initial=None)
    balance = AmountFormField(label="The bank’s closing balance", min_value=None)

    def clean_until(self) -> Any:
        return month_end(self.cleaned_data["until"])


def reconcile_month(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """A month as the bank says it, what is on its way, and the book; signed off where they differ by nil."""
    if not request.user.has_perm("bank.view_reconciliation"):
        raise PermissionDenied
    form = MonthForm(request.GET if "until" in request.GET else None, label_suffix="", initial=_month_to_do(request))
    context: dict[str, Any] = {**site.each_context(request), "title": "Reconcile a month", "form": form}
    if not form.is_valid():
        return TemplateResponse(request, "bank/reconcile.html", context)
    cleaned = form.cleaned_data
    figures = reconcile(cleaned["account"], cleaned["until"], cleaned["balance"])
    if "pdf" in request.GET:
        return _pdf(figures)
    if request.method == "POST":
        return _signed_off(request, context, figures)
    return TemplateResponse(request, "bank/reconcile.html", context | _figures(request, figures))


def _month_to_do(request: HttpRequest) -> dict[str, Any]:
    """The account, its first month that is not signed off, and what the bank says it closed with."""
    chosen = request.GET.get("account", "")
    account = BankAccount.objects.filter(pk=chosen).first() if chosen.isdecimal() else BankAccount.objects.first()
    until = next_month(account) if account else None
    if account is None or until is None:
        return {"account": account}
    return {"account": account, "until": until, "balance": stated_balance(account, until)}


def _figures(request: HttpRequest, figures: Reconciled) -> dict[str, Any]:
    return {
        "figures": figures,
        "rows": rows_of(figures),
        "may": request.user.has_perm("bank.add_reconciliation"),
        "key": uuid.uuid4(),
        "pdf": f"{request.get_full_path()}&pdf=1",
    }


def _pdf(figures: Reconciled) -> HttpResponse:
    standing = figures.bank_account.reconciliations.filter(month_end=figures.month_end, reopened_on=None).first()
    signed = "Not signed off."
    if standing:
        signed = f"Signed off by {standing.recorded_by} on {long_day(standing.signed_on)}."
    response = HttpResponse(reconciliation_pdf(figures, book().club_name, signed), content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="reconciliation-{figures.month_end:%Y-%m}.pdf"'
    return response


def _signed_off(request: HttpRequest, context: dict[str, Any], figures: Reconciled) -> HttpResponse:
    if not request.user.has_perm("bank.add_reconciliation"):
        raise PermissionDenied
    try:
        key = uuid.UUID(request.POST.get("key", ""))
        document = services.sign_off_month(
            bank_account=figures.bank_account,
            until=figures.month_end,
            statement_balance=figures.statement_balance,
            on=clock.today(),
            by=request.user,  # type: ignore[arg-type]
            key=key,
        )
    except ValueError:
        context["sentences"] = ["The form did not come through whole; press the button again."]
    except (Refused, IntegrityError, DataError, OperationalError) as refusal:
        context["sentences"] = refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]
    else:
        messages.success(request, f"{document} is signed off.")
        return HttpResponseRedirect(page_of(document))
    return TemplateResponse(request, "bank/reconcile.html", context | _figures(request, figures), status=422)


# The streams of money


def money_streams(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The tin, the reader, the department, the depot: what our documents, the ledger and the bank say of each."""
    if not request.user.has_perm("bank.view_statementline"):
        raise PermissionDenied
    today = clock.today()
    found = streams()
    rows = [(each.name, each.documents, each.ledger, each.bank, each.rest, each.age(today)) for each in found]
    columns = ["Stream", "Documents", "Ledger", "Bank", "Rest", "Oldest"]
    note = "The rest is what the ledger has and the bank has not shown, and how long the oldest of it has waited."
    context = {
        **site.each_context(request),
        "title": "The tin, the reader, the department, the depot",
        "intro": "What reached the club’s bank account, and what left it, since the book began.",
        "parent": Link("Statement lines", reverse("admin:bank_statementline_changelist")),
        "sections": [
            Section("By three witnesses", columns, rows, note=note),
            Section("Not got that far", ["Stream", "What waits"], [(each.name, each.still) for each in found]),
        ],
    }
    return TemplateResponse(request, "screens/figures.html", context)
