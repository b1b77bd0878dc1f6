"""Pages of the membership room: renewals, an imported roll, what a membership would cost, the associations' lists."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees.models import FeeKind, VoucherScheme
from clubdesk.handing import CSV, PDF, file_answer
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.ledger.selectors import ZERO, book
from clubdesk.membership import owed as owed_to
from clubdesk.membership import papers, selectors, services
from clubdesk.membership.models import Plan, Remittance
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import DayField, PickMany, choose_from
from clubdesk.screens.pages import site_page
from clubdesk.tables import Labelled, Table, write_csv
from clubdesk.verbs import may, verb_of


def renewals(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Who is to renew, what it would cost, and the way to renew each household."""
    today = clock.today()
    return site_page(
        request,
        site,
        "membership/renewals.html",
        "Renewals",
        households=selectors.renewals(today),
        lapsed=selectors.lapsed(today),
        may_renew=may(request.user, verb_of(services.renew_household).permission),
    )


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
            choose_from(self, name, household.people.order_by("birth_date", "pk"))


def price(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """What a plan would cost each of a household from a day on, with the working."""
    household = get_object_or_404(Household, pk=pk)
    form = PriceForm(request.GET or None, label_suffix="", household=household)
    rows, refusal = [], ""
    if form.is_valid():
        try:
            rows = prices_of(household, **form.cleaned_data)
        except Refused as refused:
            refusal = refused.sentence
    return site_page(
        request,
        site,
        "membership/price.html",
        f"What a membership would cost: {household}",
        household=household,
        form=form,
        rows=rows,
        sum=sum((to_pay for *_, to_pay in rows if to_pay is not None), ZERO),
        refusal=refusal,
    )


def prices_of(
    household: Household,
    plan: Plan,
    day: date,
    people: Sequence[Person],
    scheme: VoucherScheme | None,
    vouched: Sequence[Person],
) -> list[tuple[Person, str, Decimal | None]]:
    """Each of the people who is no member that day, the eldest first, as if all joined together."""
    voucher = fees.value_of_voucher(scheme, day).amount if scheme else ZERO
    quotes = selectors.Quotes([household.pk])
    covered = {row.person_id for row in quotes.memberships[household.pk] if row.covers(day)}
    rows: list[tuple[Person, str, Decimal | None]] = []
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


def affiliation(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What is owed to an association, member by member, or what one remittance was for; as page, CSV or PDF."""
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
        rows = papers.due_lines(owed_to.affiliation_due(owner, through, since))
        period = f"from {long_day(since)} to" if since else "by"
        title = f"Affiliation owed to {owner} {period} {long_day(through)}"
        name = f"affiliation-{slugify(str(owner))}-{through.isoformat()}"
    if request.GET.get("as") == "csv":
        what = "exported an affiliation list (CSV)"
        response = file_answer(request, kind=CSV, name=f"{name}.csv", what=what, rows=len(rows))
        write_csv(papers.affiliation_table(rows, papers.IN_FILES), response)
        return response
    if request.GET.get("as") == "pdf":
        content, what = papers.affiliation_pdf(title, rows, book().club_name), "printed an affiliation list"
        return file_answer(request, content, kind=PDF, name=f"{name}.pdf", is_shown=True, what=what, rows=len(rows))
    return _affiliation_page(request, site, None if asked else form, rows, owner, title)


class ListForm(forms.Form):
    association = forms.ModelChoiceField(Party.objects.filter(kind=PartyKind.ASSOCIATION), required=False)
    since = DayField(label="Only those since", required=False, initial=None)
    through = DayField(label="Fees that became income by")


def _affiliation_page(
    request: HttpRequest,
    site: AdminSite,
    form: ListForm | None,
    rows: list[papers.MemberFee],
    owner: Party | None,
    title: str = "",
) -> HttpResponse:
    query = request.GET.copy()
    query.pop("as", None)
    if form is not None and owner is not None and not query:
        query["association"], query["through"] = str(owner.pk), clock.today().isoformat()
    return site_page(
        request,
        site,
        "membership/affiliation.html",
        title or "Affiliation",
        form=form,
        owner=owner,
        rows=rows,
        table=_affiliation_table(rows, owner if form is not None else None),
        query=query.urlencode(),
        may_remit=may(request.user, verb_of(services.remit_affiliation).permission),
    )


def _affiliation_table(rows: list[papers.MemberFee], owner: Party | None) -> Table[papers.MemberFee]:
    """The list as the page shows it: what is to be paid beside what the owner is owed, or what was paid."""
    table = papers.affiliation_table(rows, papers.ON_PAGE)
    if owner is None:
        return table.changed("to_pay", title="Paid")
    owed = Labelled("Owed in the ledger", {"to_pay": owed_to.affiliation_owed(owner)})
    return replace(table, feet=[*table.feet, owed])
