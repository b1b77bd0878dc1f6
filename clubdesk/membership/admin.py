"""Screens of the membership room."""

from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.membership import selectors, services
from clubdesk.membership.models import Membership, Plan, Remittance
from clubdesk.money import AmountFormField, shown
from clubdesk.roll.admin import PersonAdmin
from clubdesk.roll.models import Person
from clubdesk.screens import (
    DayField,
    DocumentAdmin,
    PickField,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
    link_to,
)


class MembershipForm(VerbForm):
    person = PickField(Person, through=(Membership, "person"), label="Who")
    plan = forms.ModelChoiceField(queryset=Plan.objects.all())
    starts_on = DayField(label="From")
    on = DayField(label="Charged on")


class TakeOutPage(VerbPage):
    title = "Take out a membership"
    intro = "The household is charged the fee that the schedule has for the first day."
    button = "Take it out"
    permission = "membership.add_membership"
    form_class = MembershipForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        plans = Plan.objects.all()[:2]
        start = {"plan": plans[0].pk} if len(plans) == 1 else {}
        return start | super().initial(request, target)

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Membership:
        return services.take_out_membership(by=by, **cleaned)

    def done(self, result: Membership) -> str:
        return (
            f"{result.person} is a member to {result.ends_on:%-d %b %Y}; "
            f"{shown(result.charge.amount)} charged to {result.charge.household}."
        )


@admin.register(Membership)
class MembershipAdmin(DocumentAdmin):
    list_display = ["person", "plan", "starts_on", "ends_on", "standing"]
    list_select_related = ["person", "plan"]
    list_filter = ["plan"]
    search_fields = ["person__given_name", "person__family_name"]
    search_help_text = "A name"
    date_hierarchy = "ends_on"
    fields = ["person", "plan", "starts_on", "ends_on", "charge", "recorded_by"]
    readonly_fields = fields
    add_page = TakeOutPage()

    @admin.display(description="Today", boolean=True)
    def standing(self, membership: Membership) -> bool:
        return membership.covers(clock.today())


def memberships_section(request: HttpRequest, person: Person) -> Section:
    rows = [
        (link_to(row, str(row.plan)), row.starts_on, row.ends_on)
        for row in person.memberships.select_related("plan", "person")
    ]
    title = "Memberships" if selectors.is_member(person, clock.today()) else "Memberships: not a member today"
    return Section(title, ["Plan", "From", "To"], rows)


PersonAdmin.section_makers.append(memberships_section)


@admin.register(Plan)
class PlanAdmin(RoomAdmin):
    list_display = ["name", "fee_item", "months"]
    list_select_related = ["fee_item"]


class RemitForm(VerbForm):
    association = forms.ModelChoiceField(queryset=Party.objects.filter(kind=PartyKind.ASSOCIATION))
    amount = AmountFormField()
    on = DayField(label="Paid on")


class RemitPage(VerbPage):
    title = "Remit affiliation"
    intro = "Write down a bank transfer to an association of what the club owes it for its members."
    button = "Record the payment"
    permission = "membership.add_remittance"
    form_class = RemitForm

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        associations = Party.objects.filter(kind=PartyKind.ASSOCIATION)
        return [(f"Owed to {party}", selectors.affiliation_owed(party)) for party in associations]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Remittance:
        return services.remit_affiliation(by=by, **cleaned)


@admin.register(Remittance)
class RemittanceAdmin(DocumentAdmin):
    list_display = ["association", "paid_on", "amount_shown"]
    list_select_related = ["association"]
    fields = ["association", "paid_on", "amount_shown", "recorded_by"]
    readonly_fields = fields
    add_page = RemitPage()
    amount_shown = amount_column("amount", "Amount")
