"""Bringing a statement in (choose the file, see its lines, put the columns right, do it), explaining its lines,
reconciling a month, and each stream of money by three witnesses.
"""

import base64
import uuid
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from clubdesk import clock, uploads
from clubdesk.bank import months, reading, selectors, services
from clubdesk.bank.admin.ways import ways_of
from clubdesk.bank.expected import MOST_LINES, explain
from clubdesk.bank.forms import ColumnsForm, FileForm, MonthForm, ReadForm
from clubdesk.bank.guessing import OwnAccounts, own_accounts
from clubdesk.bank.matching import Grade
from clubdesk.bank.models import BankAccount, HowSure, StatementLine
from clubdesk.bank.papers import reconciled_table, reconciliation_pdf
from clubdesk.bank.reading import Mapping
from clubdesk.bank.reading.delimited import cells_of
from clubdesk.bank.reconciling import Reconciled, reconcile, stated_balance
from clubdesk.bank.services.importing import Plan, last_signed_off, plan_import
from clubdesk.bank.streams import streams
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.handing import PDF, file_answer
from clubdesk.ledger.selectors import book
from clubdesk.screens.fields import Cleaned
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, page_of
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may, verb_of

Context = dict[str, Any]
MOST_HERE = 1_500_000
TOO_LARGE = "A file of this size is imported from the shell: manage.py import_statement FILE."
SHOWN = 30


def bring_in(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Import a bank statement from a file."""
    context: Context = {"form": FileForm(None, label_suffix="")}
    try:
        if "content" in request.POST:
            return _read_again(request, site, context)
        if request.method == "POST":
            whose = uploads.session_of(request)
            form = FileForm(request.POST, uploads.sent_files(request, whose), label_suffix="")
            context["form"] = form
            if form.is_valid():
                file = form.cleaned_data["file"]
                content = file.read(MOST_HERE + 1)
                if len(content) > MOST_HERE:
                    raise Refused(TOO_LARGE)
                context |= {"bank_account": form.cleaned_data["bank_account"], "file_name": file.name or "statement"}
                return _preview(request, site, context, content, None)
            uploads.keep(request, form, whose)
    except COULD_NOT as refusal:
        context["sentences"] = _sentences(refusal)
    return _import_page(request, site, context, 422 if request.method == "POST" else 200)


def _import_page(request: HttpRequest, site: AdminSite, context: Context, status: int) -> HttpResponse:
    return site_page(request, site, "bank/import.html", "Import a bank statement", status=status, **context)


def _sentences(refusal: Exception) -> list[str]:
    return refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]


def _read_again(request: HttpRequest, site: AdminSite, context: Context) -> HttpResponse:
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
            return _preview(request, site, context, content, None, columns)
        mapping = Mapping(**_as_mapping(columns.cleaned_data, proposed))
    if "show" in request.POST:
        return _preview(request, site, context, content, mapping)
    try:
        document = services.import_statement(
            bank_account=account,
            content=content,
            file_name=cleaned["file_name"],
            by=signed_in(request),
            mapping=mapping,
            key=cleaned["key"],
        )
    except Refused as refusal:
        context["sentences"] = refusal.messages
        return _preview(request, site, context, content, mapping)
    count = "1 line" if document.brought == 1 else f"{document.brought} lines"
    messages.success(request, f"{count} imported, {document.known} known before. {document.note}".strip())
    may_match = document.brought and may(request.user, "bank.change_statementline")
    return HttpResponseRedirect(reverse("admin:explain_lines") if may_match else page_of(account))


def _as_mapping(cleaned: Cleaned, proposed: Mapping) -> Cleaned:
    chosen = {**cleaned, "text": tuple(cleaned["text"])}
    if chosen["amount"] is not None:
        chosen["debit"] = chosen["credit"] = None
    return {**proposed.as_dict(), **chosen}


def _preview(
    request: HttpRequest,
    site: AdminSite,
    context: Context,
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
    signed = last_signed_off(account) if plan and plan.late else None
    context |= {
        "plan": plan,
        "signed_url": page_of(signed) if signed else "",
        "lines": plan.fresh[-SHOWN:] if plan else [],
        "columns": columns,
        "content": base64.b64encode(content).decode(),
        "key": uuid.uuid4(),
    }
    return _import_page(request, site, context, 422 if context.get("sentences") else 200)


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


GRADES = (
    (
        "Certain",
        "A reference, a full name or your own rule speaks for it, and no other word against it.",
        Grade.CERTAIN,
    ),
    ("Likely", "Look at each before you take it.", Grade.LIKELY),
    ("Possible", "There may be other answers; take one only if you know it.", Grade.POSSIBLE),
)


def explain_lines(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What explains the lines that wait, with reasons: the certain together, the others one by one."""
    accounts = list(BankAccount.objects.all())
    chosen = request.GET.get("account", "")
    account = next((each for each in accounts if str(each.pk) == chosen), accounts[0] if accounts else None)
    if account is None:
        messages.info(request, "There is no bank account yet; add one first.")
        return HttpResponseRedirect(reverse("admin:bank_bankaccount_changelist"))
    may_accept = may(request.user, verb_of(services.accept).permission)
    if request.method == "POST":
        if not may_accept:
            raise PermissionDenied
        _accept_chosen(request, account)
        return HttpResponseRedirect(f"{reverse('admin:explain_lines')}?account={account.pk}")
    explained, others = explain(account)
    own = own_accounts()
    return site_page(
        request,
        site,
        "bank/explain.html",
        "Bank lines to match",
        accounts=accounts,
        account=account,
        may=may_accept,
        groups=[
            (title, words, [(each, _ways(request, each.lines, own)) for each in explained if each.grade == grade])
            for title, words, grade in GRADES
        ],
        explained=explained,
        others=[(line, ways_of(request, line, own)) for line in others],
        more=max(0, selectors.unexplained(account).count() - MOST_LINES),
    )


def _ways(request: HttpRequest, lines: Sequence[StatementLine], own: OwnAccounts) -> list[tuple[str, str]]:
    """What else one line may be recorded as; several that belong together are recorded line by line on their pages."""
    return ways_of(request, lines[0], own) if len(lines) == 1 else []


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
                by=signed_in(request),
            )
            taken += 1
        except COULD_NOT as refusal:
            messages.error(request, f"{each.lines[0]}: {sentence_of(refusal)}")
    if taken:
        messages.success(request, f"{taken} {'answer' if taken == 1 else 'answers'} taken.")
    elif not chosen:
        messages.info(request, "Nothing was chosen; nothing was changed.")


# Reconciling


def reconcile_month(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """A month as the bank says it, what is on its way, and the book; signed off where they differ by nil."""
    form = MonthForm(request.GET if "until" in request.GET else None, label_suffix="", initial=_month_to_do(request))
    if not form.is_valid():
        return _month_page(request, site, {"form": form, "missing": _missing(form.initial.get("account"))})
    cleaned = form.cleaned_data
    figures = reconcile(cleaned["account"], cleaned["until"], cleaned["balance"])
    if "pdf" in request.GET:
        return _pdf(request, figures)
    context: Context = {"form": form, **_figures(request, figures)}
    if request.method == "POST":
        return _signed_off(request, site, context, figures)
    return _month_page(request, site, context)


def _month_page(request: HttpRequest, site: AdminSite, context: Context, status: int = 200) -> HttpResponse:
    return site_page(request, site, "bank/reconcile.html", "Reconcile a month", status=status, **context)


def _month_to_do(request: HttpRequest) -> Context:
    """The account, its first month that is not signed off, and what the bank says it closed with."""
    chosen = request.GET.get("account", "")
    account = BankAccount.objects.filter(pk=chosen).first() if chosen.isdecimal() else BankAccount.objects.first()
    until = months.next_month(account) if account else None
    if account is None or until is None:
        return {"account": account}
    return {"account": account, "until": until, "balance": stated_balance(account, until)}


def _missing(account: BankAccount | None, until: date | None = None) -> str:
    """The months of the years that are not closed that are over and not signed off, or those before a day."""
    ends = months.open_ones(account, until or clock.today()) if account else []
    return months.named(ends) if ends else ""


def _figures(request: HttpRequest, figures: Reconciled) -> Context:
    return {
        "figures": figures,
        "skipped": _missing(figures.bank_account, figures.month_end),
        "table": reconciled_table(figures),
        "may": may(request.user, verb_of(services.sign_off_month).permission),
        "key": uuid.uuid4(),
        "pdf": f"{request.get_full_path()}&pdf=1",
    }


def _pdf(request: HttpRequest, figures: Reconciled) -> HttpResponse:
    standing = figures.bank_account.reconciliations.filter(month_end=figures.month_end, reopened_on=None).first()
    signed = "Not signed off."
    if standing:
        signed = f"Signed off by {standing.recorded_by} on {long_day(standing.signed_on)}."
    content, name = (
        reconciliation_pdf(figures, book().club_name, signed),
        f"reconciliation-{figures.month_end:%Y-%m}.pdf",
    )
    return file_answer(request, content, kind=PDF, name=name, what="printed a month’s reconciliation")


def _signed_off(request: HttpRequest, site: AdminSite, context: Context, figures: Reconciled) -> HttpResponse:
    if not context["may"]:
        raise PermissionDenied
    try:
        document = services.sign_off_month(
            bank_account=figures.bank_account,
            until=figures.month_end,
            statement_balance=figures.statement_balance,
            on=clock.today(),
            by=signed_in(request),
            key=uuid.UUID(request.POST.get("key", "")),
        )
    except ValueError:
        context["sentences"] = ["The form did not come through whole; press the button again."]
    except COULD_NOT as refusal:
        context["sentences"] = _sentences(refusal)
    else:
        messages.success(request, f"{document} is signed off.")
        return HttpResponseRedirect(page_of(document))
    return _month_page(request, site, context, 422)


# The streams of money


def money_streams(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The tin, the reader, the department, the depot: what our documents, the ledger and the bank say of each."""
    today = clock.today()
    found = streams()
    rows = [(each.name, each.documents, each.ledger, each.bank, each.rest, each.age(today)) for each in found]
    columns = ["Stream", "Documents", "Ledger", "Bank", "Rest", "Oldest"]
    note = "The rest is what the ledger has and the bank has not shown, and how long the oldest of it has waited."
    return site_page(
        request,
        site,
        "screens/figures.html",
        "The cash box, the reader, the department, the depot",
        intro="What reached the club’s bank account, and what left it, since the book began.",
        parent=Link("Statement lines", reverse("admin:bank_statementline_changelist")),
        sections=[
            Section("By three witnesses", columns, rows, note=note),
            Section("Not got that far", ["Stream", "What waits"], [(each.name, each.still) for each in found]),
        ],
    )
