"""Pages of the membership room that are no forms: renewals, what a membership would cost, the associations' lists."""

import base64
import csv
import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.db import DataError, IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse
from django.urls import reverse
from django.utils.text import slugify

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees.models import FeeKind, VoucherScheme
from clubdesk.fees.views import as_text
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.ledger.selectors import ZERO, book
from clubdesk.membership import papers, selectors, services
from clubdesk.membership.models import Plan, Remittance
from clubdesk.membership.rollfile import COLUMNS, OPTIONAL, plan_roll, read_roll
from clubdesk.money import plain
from clubdesk.roll.models import Household, Person
from clubdesk.screens import DayField, PickMany, sentence_of


def _may(request: HttpRequest, permission: str) -> None:
    if not request.user.has_perm(permission):
        raise PermissionDenied


def renewals(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Who is to renew, what it would cost, and a button for each household."""
    _may(request, "membership.view_membership")
    today = clock.today()
    context = {
        **site.each_context(request),
        "title": "Renewals",
        "households": selectors.renewals(today),
        "lapsed": selectors.lapsed(today),
        "may_renew": request.user.has_perm("membership.add_membership"),
        "key": uuid.uuid4,
    }
    return TemplateResponse(request, "membership/renewals.html", context)


class RollForm(forms.Form):
    file = forms.FileField(help_text=f"CSV or XLSX with the columns {', '.join(COLUMNS)} and, if you like, "
                           f"{', '.join(OPTIONAL)}.")  # fmt: skip
    as_at = DayField(label="Balances as at")


class ConfirmForm(forms.Form):
    """The file once more, as the preview read it, and what was decided about each likely duplicate."""

    content = forms.CharField(widget=forms.HiddenInput)
    key = forms.UUIDField(widget=forms.HiddenInput)
    as_at = DayField()

    def clean_content(self) -> bytes:
        try:
            return base64.b64decode(self.cleaned_data["content"], validate=True)
        except ValueError:
            raise forms.ValidationError("The file did not come through whole; choose it again.") from None


MOST_HERE = 1_500_000
TOO_LARGE = "A file of this size is brought in from the shell: manage.py import_roll FILE."


def import_roll(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Bring a roll in: choose the file, see what each row would do and decide about likely duplicates, then do it."""
    _may(request, "roll.add_household")
    _may(request, "membership.add_membership")
    _may(request, "fees.add_charge")
    context: dict[str, Any] = {**site.each_context(request), "title": "Bring a roll in from a file"}
    form = RollForm(request.POST or None, request.FILES or None, label_suffix="")
    try:
        if request.method == "POST" and "content" in request.POST:
            confirm = ConfirmForm(request.POST)
            if confirm.is_valid():
                return _confirmed(request, context, **confirm.cleaned_data)
        elif request.method == "POST" and form.is_valid():
            content = form.cleaned_data["file"].read()
            if len(content) > MOST_HERE:
                raise Refused(TOO_LARGE)
            return _preview(request, context, content, form.cleaned_data["as_at"])
    except (Refused, IntegrityError, DataError, OperationalError) as refusal:
        context["sentences"] = refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]
    context["form"] = form
    return TemplateResponse(request, "membership/import.html", context, status=422 if request.method == "POST" else 200)


def _preview(
    request: HttpRequest, context: dict[str, Any], content: bytes, as_at: Any, decided: dict[int, str] | None = None
) -> HttpResponse:
    plans = plan_roll(read_roll(content), decided)
    faulty = sum(bool(row.faults) for row in plans)
    context |= {
        "rows": plans,
        "faulty": faulty,
        "undecided": sum(row.undecided for row in plans),
        "content": base64.b64encode(content).decode(),
        "as_at": as_at,
        "key": uuid.uuid4(),
    }
    return TemplateResponse(request, "membership/import.html", context)


def _confirmed(
    request: HttpRequest, context: dict[str, Any], content: bytes, as_at: Any, key: uuid.UUID
) -> HttpResponse:
    decided = {
        int(name.removeprefix("row-")): str(value)
        for name, value in request.POST.items()
        if name.startswith("row-") and name.removeprefix("row-").isdecimal() and value
    }
    try:
        done = services.import_roll(content=content, as_at=as_at, by=request.user, decided=decided, key=key)  # type: ignore[arg-type]
    except Refused as refusal:
        context["sentences"] = refusal.messages
        return _preview(request, context, content, as_at, decided)
    balances = done.balances.charges.count() + done.balances.receipts.count() if done.balances else 0
    parts = (
        (done.households, "household", "households"),
        (done.people, "person", "people"),
        (done.memberships, "membership", "memberships"),
        (balances, "balance", "balances"),
    )
    words = f"Brought in: {', '.join(f'{count} {one if count == 1 else many}' for count, one, many in parts)}."
    messages.success(request, words)
    return HttpResponseRedirect(reverse("admin:roll_household_changelist"))


class PriceForm(forms.Form):
    """Who would join, and who of them with a voucher; everybody, and nobody, unless somebody is ticked."""

    plan = forms.ModelChoiceField(Plan.objects.all())
    day = DayField(label="From")
    people = PickMany(Person.objects.none(), label="Who", required=False, help_text="Nobody ticked: all of them.")
    scheme = forms.ModelChoiceField(
        VoucherScheme.objects.all(), label="With a voucher of", required=False, empty_label="no voucher"
    )
    vouched = PickMany(
        Person.objects.none(), label="Who has such a voucher", required=False, help_text="Nobody ticked: all of them."
    )

    def __init__(self, *args: Any, household: Household, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in ("people", "vouched"):
            self.fields[name].queryset = household.people.order_by("birth_date", "pk")  # type: ignore[attr-defined]


def price(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """What a plan would cost each of a household from a day on, with the working."""
    _may(request, "membership.view_membership")
    household = get_object_or_404(Household, pk=pk)
    form = PriceForm(request.GET or None, label_suffix="", household=household)
    rows, refusal = [], ""
    if form.is_valid():
        try:
            rows = prices_of(household, **form.cleaned_data)
        except Refused as refused:
            refusal = refused.sentence
    context = {
        **site.each_context(request),
        "title": f"What a membership would cost: {household}",
        "household": household,
        "form": form,
        "rows": rows,
        "sum": sum((to_pay for *_, to_pay in rows if to_pay is not None), ZERO),
        "refusal": refusal,
    }
    return TemplateResponse(request, "membership/price.html", context)


def prices_of(
    household: Household, plan: Plan, day: Any, people: Any, scheme: VoucherScheme | None, vouched: Any
) -> list[tuple[Any, str, Any]]:
    """Each of the people who is no member that day, the eldest first, as if all joined together."""
    voucher = fees.value_of_voucher(scheme, day).amount if scheme else ZERO
    quotes = selectors.Quotes([household.pk])
    covered = {row.person_id for row in quotes.memberships[household.pk] if row.covers(day)}
    rows: list[tuple[Any, str, Any]] = []
    ahead: list[selectors.Quote] = []
    for person in people or household.people.order_by("birth_date", "pk"):
        if person.pk in covered:
            rows.append((person, "a member already", None))
        else:
            has_one = not vouched or person in vouched
            paid = scheme and has_one and fees.is_for(scheme, person, FeeKind.MEMBERSHIP, day)
            worth = voucher if paid else ZERO
            quote = quotes.quote(person, plan, day, ahead=ahead, voucher=worth)
            if sentence := selectors.why_not(quote):
                rows.append((person, sentence, None))
                continue
            ahead.append(quote)
            rows.append((person, quote.price.working, quote.price.to_pay))
    return rows


LIST = ("given name", "family name", "date of birth", "household", "fee", "income on", "share", "to pay")


def affiliation(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What is owed to an association, member by member, or what one remittance was for; as page, CSV or PDF."""
    _may(request, "membership.view_remittance")
    first = Party.objects.filter(kind=PartyKind.ASSOCIATION).order_by("name").values_list("pk", flat=True).first()
    asked = request.GET.get("remittance", "")
    owner: Party | None
    if asked:
        pk = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 19 else 0
        remittance = get_object_or_404(Remittance.objects.select_related("association"), pk=pk)
        title, rows, owner = str(remittance), papers.lines_of(remittance), remittance.association
        name = f"affiliation-{slugify(str(owner))}-{remittance.paid_on.isoformat()}"
    else:
        form = ListForm(request.GET or {"through": clock.today(), "association": first}, label_suffix="")
        valid = form.is_valid()
        through = form.cleaned_data["through"] if valid else clock.today()
        since = form.cleaned_data["since"] if valid else None
        owner = form.cleaned_data["association"] if valid else None
        if owner is None:
            return _affiliation_page(request, site, form, [], None)
        rows = papers.due_lines(selectors.affiliation_due(owner, through, since))
        period = f"from {long_day(since)} to" if since else "by"
        title = f"Affiliation owed to {owner} {period} {long_day(through)}"
        name = f"affiliation-{slugify(str(owner))}-{through.isoformat()}"
    if request.GET.get("as") == "csv":
        return _csv(rows, name)
    if request.GET.get("as") == "pdf":
        response = HttpResponse(papers.affiliation_pdf(title, rows, book().club_name), content_type="application/pdf")
        response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
        return response
    return _affiliation_page(request, site, None if asked else form, rows, owner, title)


class ListForm(forms.Form):
    association = forms.ModelChoiceField(Party.objects.filter(kind=PartyKind.ASSOCIATION), required=False)
    since = DayField(label="Only those since", required=False, initial=None)
    through = DayField(label="Fees that became income by")


def _affiliation_page(
    request: HttpRequest, site: AdminSite, form: Any, rows: list[papers.Line], owner: Party | None, title: str = ""
) -> HttpResponse:
    query = request.GET.copy()
    query.pop("as", None)
    if form is not None and owner is not None and not query:
        query["association"], query["through"] = str(owner.pk), clock.today().isoformat()
    context = {
        **site.each_context(request),
        "title": title or "Affiliation",
        "form": form,
        "owner": owner,
        "rows": rows,
        "sum": sum((row.to_pay for row in rows), ZERO),
        "owed": selectors.affiliation_owed(owner) if owner else None,
        "query": query.urlencode(),
        "may_remit": request.user.has_perm("membership.add_remittance"),
    }
    return TemplateResponse(request, "membership/affiliation.html", context)


def _csv(rows: list[papers.Line], name: str) -> HttpResponse:
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    writer = csv.writer(response)
    writer.writerow(LIST)
    for row in rows:
        texts = [row.given_name, row.family_name, row.born, row.household, row.fee]
        writer.writerow([*map(as_text, texts), row.started.isoformat(), plain(row.share), plain(row.to_pay)])
    return response
