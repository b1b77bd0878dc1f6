"""Screens of the membership room."""

import uuid
from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.admin import reason_field
from clubdesk.fees.models import VoucherScheme
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.membership import selectors, services
from clubdesk.membership.models import FamilyCap, Membership, Plan, Remittance
from clubdesk.money import nil, shown
from clubdesk.roll.admin import HouseholdAdmin, PersonAdmin
from clubdesk.roll.models import Household, Person
from clubdesk.screens import (
    DateInput,
    DayField,
    DocumentAdmin,
    HappenedField,
    Link,
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
    scheme = forms.ModelChoiceField(
        VoucherScheme.objects.all(), label="Sport voucher of", required=False, empty_label="no voucher"
    )
    code = forms.CharField(label="Code of the voucher", max_length=30, required=False)
    birth_date = forms.DateField(
        label="Date of birth on the voucher",
        required=False,
        widget=DateInput,
        help_text="It is compared with the roll and not kept.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        parts = [bool(cleaned.get(name)) for name in ("scheme", "code", "birth_date")]
        if any(parts) and not all(parts):
            raise forms.ValidationError("A voucher needs its scheme, its code and the date of birth on it.")
        return cleaned


class TakeOutPage(VerbPage):
    title = "Take out a membership"
    intro = "The household is charged the fee that the schedule has for the first day, less its discounts."
    button = "Take it out"
    permission = "membership.add_membership"
    form_class = MembershipForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        plans = Plan.objects.all()[:2]
        start = {"plan": plans[0].pk} if len(plans) == 1 else {}
        return start | super().initial(request, target)

    def perform(
        self, *, target: Any, by: Any, scheme: Any, code: str, birth_date: Any, key: Any, **cleaned: Any
    ) -> Membership:
        made = services.take_out_membership(by=by, key=key, **cleaned)
        if scheme and made.charge is None:
            raise Refused("There is nothing to pay, so no voucher is needed; leave it blank.")
        if scheme and made.charge:
            again = uuid.uuid5(key, "voucher")
            charging.accept_voucher(
                scheme=scheme, charge=made.charge, code=code, birth_date=birth_date, on=cleaned["on"], by=by, key=again
            )
        return made

    def done(self, result: Membership) -> str:
        return (
            f"{result.person} is a member to {day_text(result.ends_on)}. {selectors.working_in_words(result)}, "
            f"charged to {result.person.household}."
        )


class MembershipPage(VerbPage):
    """What is common to the pages of a membership."""

    permission = "membership.change_membership"

    def applies(self, target: Membership) -> bool:
        return target.cancelled_on is None and target.ended_on is None and target.ends_on > clock.today()

    def facts(self, target: Membership) -> list[tuple[str, Any]]:
        to = f"{day_text(target.starts_on)} to {day_text(target.ends_on)}"
        return [("Who", target.person), ("Plan", f"{target.plan}, {to}"), ("Fee", selectors.working_in_words(target))]


class EndForm(VerbForm):
    on = DayField(label="Last day as a member")
    reason = reason_field()


class EndPage(MembershipPage):
    slug = "end"
    title = "The member leaves"
    intro = "What the associations get stays theirs; of the club’s own part the plan’s rule says what is given back."
    button = "End the membership"
    form_class = EndForm

    def facts(self, target: Membership) -> list[tuple[str, Any]]:
        back = selectors.back_if_left(target, clock.today())
        return [
            *super().facts(target),
            ("Who leaves early gets back", target.plan.get_refund_display()),
            ("If today were the last day", back),
        ]

    def perform(self, *, target: Membership, by: Any, on: Any, reason: str, key: Any) -> Membership:
        return services.end_membership(membership=target, on=on, reason=reason, by=by)

    def done(self, result: Membership) -> str:
        if result.cancelled_on:
            return f"{result} had not begun: it is cancelled and its fee taken back."
        owes = fees.balance_in_words(result.person.household)
        return f"{result} ends on {day_text(result.ends_on)}. {result.person.household} {owes}."


class ChangeForm(VerbForm):
    plan = forms.ModelChoiceField(queryset=Plan.objects.all(), label="To")
    on = DayField(label="From")
    reason = reason_field()


class ChangePage(MembershipPage):
    slug = "change-plan"
    title = "Change the plan"
    intro = "To the same last day. The household owes, or gets back, the difference for the whole months left."
    button = "Change the plan"
    form_class = ChangeForm

    def facts(self, target: Membership) -> list[tuple[str, Any]]:
        others = Plan.objects.exclude(pk=target.plan_id)
        return [
            *super().facts(target),
            *((f"To {plan} from today", selectors.to_change(target, plan)) for plan in others),
        ]

    def perform(self, *, target: Membership, by: Any, plan: Any, on: Any, reason: str, key: Any) -> Membership:
        return services.change_plan(membership=target, plan=plan, on=on, reason=reason, by=by)

    def done(self, result: Membership) -> str:
        more = shown(result.charge.amount) if result.charge else "Nothing"
        return f"{result} from {day_text(result.starts_on)}. {more} more to pay."


class CancelForm(VerbForm):
    on = HappenedField(label="On")
    reason = reason_field("For instance: written down for the wrong child.")


class CancelPage(MembershipPage):
    slug = "cancel"
    title = "Cancel this membership"
    intro = "For one that should not be. Its whole fee is taken back, and nobody was a member by it."
    button = "Cancel the membership"
    form_class = CancelForm

    def applies(self, target: Membership) -> bool:
        return target.cancelled_on is None

    def perform(self, *, target: Membership, by: Any, on: Any, reason: str, key: Any) -> Membership:
        return services.cancel_membership(membership=target, on=on, reason=reason, by=by)

    def done(self, result: Membership) -> str:
        owes = fees.balance_in_words(result.person.household)
        stays = fees.kept_by_vouchers(result.charge) if result.charge else nil()
        claimed = f" {shown(stays)} of it is claimed by voucher and stays." if stays > nil() else ""
        before = " The plan before holds again." if result.changed_from and not result.ended_on else ""
        return f"Cancelled: {result}. Its fee is taken back.{claimed}{before} {result.person.household} {owes}."


@admin.register(Membership)
class MembershipAdmin(DocumentAdmin):
    list_display = ["person", "plan", "starts_on", "ends_on", "standing"]
    list_select_related = ["person", "plan"]
    list_filter = ["plan"]
    search_fields = ["person__given_name", "person__family_name"]
    search_help_text = "A name"
    date_hierarchy = "ends_on"
    fields = [
        "person", "plan", "starts_on", "ends_on", "working", "charge", "changed_from", "ended_on", "cancelled_on",
        "end_reason", "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    add_page = TakeOutPage()
    pages = [EndPage(), ChangePage(), CancelPage()]

    @admin.display(description="Today", boolean=True)
    def standing(self, membership: Membership) -> bool:
        return membership.covers(clock.today())


def memberships_section(request: HttpRequest, person: Person) -> Section:
    rows = [
        (link_to(row, str(row.plan)), row.starts_on, "cancelled" if row.cancelled_on else row.ends_on)
        for row in person.memberships.select_related("plan", "person")
    ]
    title = f"Memberships: {selectors.standing_in_words(person, clock.today())}"
    return Section(title, ["Plan", "From", "To"], rows)


def household_section(request: HttpRequest, household: Household) -> Section:
    """Each of the household, where the membership stands, and the way to take one out."""
    today, add = clock.today(), reverse("admin:membership_membership_add")
    found = selectors.standing_of(household, today)
    rows: list[tuple[Any, ...]] = [
        (link_to(person), words, "" if member else Link("Take out a membership", f"{add}?person={person.pk}"))
        for person, member, words in found
    ]
    return Section("Memberships", ["Who", "Now", ""], rows, "Nobody yet.")


PersonAdmin.section_makers.append(memberships_section)
HouseholdAdmin.section_makers.append(household_section)


class RenewPage(VerbPage):
    """On a household's page, and a click in the list of renewals."""

    slug = "renew"
    title = "Renew the household"
    intro = "Each membership is taken out again from the day after it ends, and the household is charged."
    button = "Renew all of them"
    permission = "membership.add_membership"

    def applies(self, target: Household) -> bool:
        return bool(selectors.renewals(clock.today(), target))

    def facts(self, target: Household) -> list[tuple[str, Any]]:
        lines = [line for each in selectors.renewals(clock.today(), target) for line in each.lines]
        return [
            (f"{line.membership.person}, {line.membership.plan}, to {day_text(line.membership.ends_on)}",
             line.quote.price.working if line.quote else line.problem)
            for line in lines
        ]  # fmt: skip

    def perform(self, *, target: Household, by: Any, key: Any) -> Household:
        renewed = services.renew_household(household=target, on=clock.today(), by=by)
        target.said = "; ".join(  # type: ignore[attr-defined]
            f"{row.person} to {day_text(row.ends_on)}: {row.working}" for row in renewed
        )
        return target

    def done(self, result: Any) -> str:
        return f"Renewed: {result.said}."


class PriceStep(VerbPage):
    slug = "price"
    routed = False
    title = "What a membership would cost"
    permission = "membership.view_membership"

    def url(self, target: Any) -> str:
        return reverse("admin:membership_price", args=[target.pk])


HouseholdAdmin.pages += [RenewPage(), PriceStep()]


@admin.register(Plan)
class PlanAdmin(RoomAdmin):
    list_display = ["name", "fee_item", "months", "season_ends_month", "sibling_percent"]
    list_select_related = ["fee_item"]
    fieldsets = [
        (None, {"fields": ["name", "fee_item", ("youngest", "oldest")]}),
        ("How long, and for what price", {"fields": ["months", "season_ends_month", "whole_shares"]}),
        ("Discount and refund", {"fields": ["sibling_percent", "refund"]}),
        ("Renewal", {"fields": ["remind_days", "grace_days"]}),
    ]


@admin.register(FamilyCap)
class FamilyCapAdmin(RoomAdmin):
    list_display = ["valid_from", "amount_shown"]
    amount_shown = amount_column("amount", "A household pays at most in twelve months")


class RemitForm(VerbForm):
    association = forms.ModelChoiceField(queryset=Party.objects.filter(kind=PartyKind.ASSOCIATION))
    through = DayField(label="For fees that became income by")
    on = HappenedField(label="Paid on")


class RemitPage(VerbPage):
    title = "Remit affiliation"
    intro = "Write down a bank transfer to an association, for all the memberships of its list; each member once."
    button = "Record the payment"
    permission = "membership.add_remittance"
    form_class = RemitForm

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        associations = Party.objects.filter(kind=PartyKind.ASSOCIATION)
        return [(f"Owed to {party}", selectors.affiliation_owed(party)) for party in associations]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Remittance:
        return services.remit_affiliation(by=by, **cleaned)

    def done(self, result: Remittance) -> str:
        return f"{shown(result.amount)} to {result.association} for {result.lines.count()} fees."


class RemittanceListStep(VerbPage):
    slug = "list"
    routed = False
    title = "Its list (CSV)"
    permission = "membership.view_remittance"
    kind = "csv"

    def url(self, target: Any) -> str:
        return f"{reverse('admin:affiliation')}?remittance={target.pk}&as={self.kind}"


class RemittancePdfStep(RemittanceListStep):
    slug = "pdf"
    title = "Its list (PDF)"
    kind = "pdf"


def remittance_section(request: HttpRequest, remittance: Remittance) -> Section:
    lines = remittance.lines.select_related("share__charge__person", "share__charge__household")
    rows = [(link_to(line.share.charge), line.share.charge.starts_on, line.amount) for line in lines]
    return Section(f"For {len(rows)} fees", ["Fee", "Started", "Amount"], rows)


@admin.register(Remittance)
class RemittanceAdmin(DocumentAdmin):
    list_display = ["association", "paid_on", "amount_shown"]
    list_select_related = ["association"]
    fields = ["association", "paid_on", "through", "amount_shown", "recorded_by"]
    readonly_fields = fields
    add_page = RemitPage()
    pages = [RemittanceListStep(), RemittancePdfStep()]
    section_makers = [remittance_section]
    amount_shown = amount_column("amount", "Amount")
