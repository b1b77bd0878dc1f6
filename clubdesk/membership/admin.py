"""Screens of the membership room."""

from collections.abc import Iterator, Sequence
from typing import cast

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.fees import advising
from clubdesk.fees import selectors as fees
from clubdesk.fees.models import Voucher, VoucherScheme
from clubdesk.fees.promises import charged_by, credited_by, credited_if_refused
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.membership import owed, selectors, services
from clubdesk.membership.beginning import BeginPlansPage
from clubdesk.membership.forms import RenewForm
from clubdesk.membership.models import FamilyCap, LeaveRequest, LeaveState, Membership, Plan, Remittance
from clubdesk.money import nil, shown, total
from clubdesk.roll.finding import of_family
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import (
    Cleaned,
    DateInput,
    DayField,
    HappenedField,
    PickField,
    VerbForm,
    day_and_reason,
    form_of,
    reason_field,
)
from clubdesk.screens.promises import Did
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import Link, Section, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage


class MembershipForm(VerbForm[None]):
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
    payer = PickField(
        Household, through=(Membership, "payer"), label="Another family pays", required=False,
        help_text="For a child of two homes: it is charged, written to, and renews. Blank: the child’s own family.",
    )  # fmt: skip

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        parts = [bool(cleaned.get(name)) for name in ("scheme", "code", "birth_date")]
        if any(parts) and not all(parts):
            raise forms.ValidationError("A voucher needs its scheme, its code and the date of birth on it.")
        return cleaned


class TakeOutPage(VerbPage[None, Membership]):
    verb = services.take_out_membership
    intro = "The family is charged the fee that the schedule has for the first day, less its discounts."
    button = "Take out the membership"
    form_class = MembershipForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        plans = Plan.objects.all()[:2]
        start = {"plan": plans[0].pk} if len(plans) == 1 else {}
        return start | super().initial(request, target)

    def done(self, target: None, result: Membership) -> str:
        return (
            f"{result.person} is a member to {day_text(result.ends_on)}. {selectors.working_in_words(result)}, "
            f"charged to {result.paying}."
        )


class MembershipPage(VerbPage[Membership, Membership]):
    """What is common to the pages of a membership."""

    target = "membership"

    def applies(self, target: Membership) -> bool:
        return target.cancelled_on is None and target.ended_on is None and target.ends_on > clock.today()

    def facts(self, target: Membership) -> Facts:
        to = f"{day_text(target.starts_on)} to {day_text(target.ends_on)}"
        return [("Who", target.person), ("Plan", f"{target.plan}, {to}"), ("Fee", selectors.working_in_words(target))]


def given_back(did: Did[Membership]) -> str:
    """What of the fees of a membership was credited, and what more where the department refuses its voucher."""
    waits = credited_if_refused(charge.pk for charge in selectors.charges_of(did.result))
    claimed = f", {shown(waits)} more if the department refuses the voucher" if waits > nil() else ""
    return f"{shown(credited_by(did))} credited{claimed}"


def _difference(did: Did[Membership]) -> Facts:
    more = charged_by(did) - credited_by(did)
    return [("", f"{shown(more)} more to pay" if more >= nil() else given_back(did))]


class EndPage(MembershipPage):
    slug = "end"
    verb = services.end_membership
    intro = "What the associations get stays theirs; of the club’s own part the plan’s rule says what is given back."
    button = "End the membership"
    form_class = form_of(on=DayField(label="Last day as a member"), reason=reason_field())

    def facts(self, target: Membership) -> Facts:
        return [*super().facts(target), ("Who leaves early gets back", target.plan.get_refund_display())]

    def promises(self, target: Membership) -> Facts:
        def tell(did: Did[Membership]) -> Facts:
            return [("If today were the last day", given_back(did))]

        return self.foretold(target, tell, reason=self.title)

    def done(self, target: Membership, result: Membership) -> str:
        if result.cancelled_on:
            return f"{result} had not begun: it is cancelled and its fee credited."
        owes = fees.balance_in_words(result.paying)
        return f"{result} ends on {day_text(result.ends_on)}. {result.paying} {owes}."


class ChangePage(MembershipPage):
    slug = "change-plan"
    verb = services.change_plan
    intro = "To the same last day. The family owes, or gets back, the difference for the whole months left."
    button = "Change the plan"
    form_class = form_of(
        plan=forms.ModelChoiceField(queryset=Plan.objects.all(), label="To"),
        on=DayField(label="From"),
        reason=reason_field(),
    )

    def promises(self, target: Membership) -> Facts:
        others = Plan.objects.exclude(pk=target.plan_id)
        return [
            (f"To {plan} from today", said)
            for plan in others
            for _, said in self.foretold(target, _difference, plan=plan, reason=self.title)
        ]

    def done(self, target: Membership, result: Membership) -> str:
        more = shown(result.charge.amount) if result.charge else "Nothing"
        return f"{result} from {day_text(result.starts_on)}. {more} more to pay."


class CancelPage(MembershipPage):
    slug = "cancel"
    verb = services.cancel_membership
    intro = "For one that should not be: its fee is credited, and nobody was a member by it."
    button = "Cancel the membership"
    form_class = day_and_reason("On", "For instance: written down for the wrong child.")

    def applies(self, target: Membership) -> bool:
        return target.cancelled_on is None

    def promises(self, target: Membership) -> Facts:
        def tell(did: Did[Membership]) -> Facts:
            return [("Of its fee", given_back(did))]

        return self.foretold(target, tell, reason=self.title)

    def done(self, target: Membership, result: Membership) -> str:
        owes = fees.balance_in_words(result.paying)
        stays = fees.kept_by_vouchers(result.charge) if result.charge else nil()
        claimed = f" {shown(stays)} of it is claimed by voucher and stays." if stays > nil() else ""
        before = " The plan before holds again." if result.changed_from and not result.ended_on else ""
        return f"Cancelled: {result}. Its fee is credited.{claimed}{before} {result.paying} {owes}."


@admin.register(Membership)
class MembershipAdmin(DocumentAdmin[Membership]):
    list_display = ("person", "plan", "starts_on", "ends_on", "standing")
    list_select_related = ("person", "plan")
    list_filter = ("plan",)
    search_fields = (
        "person__given_name", "person__family_name", "person__household__name", "person__household__guardians__name",
    )  # fmt: skip
    search_help_text = "A name, a family or guardian, or a payment reference"
    also_finds = (of_family("person__household"),)
    date_hierarchy = "ends_on"
    fields = (
        "person", "plan", "payer", "starts_on", "ends_on", "working", "charge", "changed_from", "ended_on",
        "cancelled_on", "end_reason", "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    add_page = TakeOutPage()
    pages = (EndPage(), ChangePage(), CancelPage())

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
    rows: list[Sequence[object]] = [
        (link_to(person), words, "" if member else Link("Take out a membership", f"{add}?person={person.pk}"))
        for person, member, words in found
    ]
    return Section("Memberships", ["Who", "Now", ""], rows, "Nobody yet.")


class RenewPage(VerbPage[Household, list[Membership]]):
    """On a household's page, and a click in the list of renewals."""

    slug = "renew"
    verb = services.renew_household
    target = "household"
    intro = (
        "Each membership begins anew from the day after it ends, and the family is charged and written to. A "
        "sport voucher can be entered at once."
    )
    button = "Renew them"
    form_class = RenewForm
    looks_first = looked_alone = True
    lands_on_target = True

    def applies(self, target: Household) -> bool:
        return bool(selectors.to_renew(clock.today(), target))

    def facts(self, target: Household) -> Facts:
        lines = [line for each in selectors.renewals(clock.today(), target) for line in each.lines]
        return [
            (f"{line.membership.person}, {line.membership.plan}, to {day_text(line.membership.ends_on)}", line.problem)
            for line in lines
            if line.problem
        ]

    def notes(self, target: Household) -> list[str]:
        """Which vouchers that are left are best set against what is to pay, and against what is offered."""
        today, found = clock.today(), selectors.renewals(clock.today(), target)
        if not found:
            return []
        own = list(target.people.filter(erased_on=None).order_by("birth_date", "pk"))
        people = {each.pk: each for each in [*own, *(line.membership.person for each in found for line in each.lines)]}
        offered = advising.told_by_others(target, own, today, but="membership")
        to_come = [*selectors.fees_to_come(found), *offered]
        left = advising.advice(target, people.values(), today, pay_days=book().pay_days, to_come=to_come)
        said = [sentence for each in left for sentence in each.sentences]
        return [*said, advising.AS_THE_DEPARTMENT_SAYS] if said else []

    def promises(self, target: Household) -> Facts:
        return self.foretold(target, self._charged)

    def preview(self, target: Household, cleaned: dict[str, object]) -> Facts:
        """What just these cost, where not all are renewed or a voucher pays: what was promised above is otherwise."""
        people = cast(QuerySet[Person], cleaned["people"])
        lines = [line for each in selectors.renewals(clock.today(), target) for line in each.lines if line.quote]
        if len(people) == len(lines) and not cleaned["vouchers"]:
            return ()
        chosen = self.foretold(target, self._charged, people=people, vouchers=cleaned["vouchers"])
        return [("You chose", ", ".join(map(str, people))), *chosen]

    def _charged(self, did: Did[list[Membership]]) -> Iterator[tuple[str, object]]:
        for row in did.result:
            to = f"from {day_text(row.starts_on)} to {day_text(row.ends_on)}"
            yield f"{row.person}, {row.plan}, {to}", selectors.working_in_words(row)
        yield "Charged in all", charged_by(did)
        if paid := total(each.amount for each in did.rows(Voucher)):
            yield "Left to pay", charged_by(did) - paid
        yield "Letters", reached_in_words(did.rows(Message))

    def done(self, target: Household, result: list[Membership]) -> str:
        said = "; ".join(
            f"{row.person} to {day_text(row.ends_on)}: {selectors.working_in_words(row)}" for row in result
        )
        return f"Renewed: {said}."


class PriceLink(LinkPage[Household]):
    slug = "price"
    title = "What a membership would cost"
    permission = "membership.view_membership"

    def url(self, target: Household) -> str:
        return reverse("admin:membership_price", args=[target.pk])


class AnswerPage(VerbPage[LeaveRequest, LeaveRequest]):
    slug = "answer"
    verb = services.answer_leaving
    target = "request"
    intro = "End the membership and withdraw from courses first, on their own pages. The family reads this by letter."
    button = "Send the answer"
    form_class = form_of(
        answer=forms.CharField(
            max_length=200, help_text="As in “Her membership ends on 30 September; $57.00 is given back.”"
        )
    )

    def applies(self, target: LeaveRequest) -> bool:
        return target.state == LeaveState.ASKED

    def not_now(self, target: LeaveRequest) -> str:
        return "it was answered already."

    def facts(self, target: LeaveRequest) -> Facts:
        return [
            ("Why", target.reason or "not said"),
            ("Stands", selectors.standing_in_words(target.person, clock.today())),
        ]

    def done(self, target: LeaveRequest, result: LeaveRequest) -> str:
        return f"Answered: {result.answer}"


@admin.register(LeaveRequest)
class LeaveRequestAdmin(DocumentAdmin[LeaveRequest]):
    list_display = ("__str__", "asked_on", "reason", "state", "answered_by", "answer")
    list_select_related = ("person", "answered_by")
    list_filter = ("state",)
    fields = ("person", "reason", "asked_on", "state", "answered_by", "answered_on", "answer")
    readonly_fields = fields
    pages = (AnswerPage(),)


@admin.register(Plan)
class PlanAdmin(RoomAdmin[Plan]):
    list_display = ("name", "fee_item", "months", "season_ends_month", "sibling_percent")
    list_pages = (BeginPlansPage(),)
    list_select_related = ("fee_item",)
    fieldsets = (
        (None, {"fields": ("name", "fee_item", ("youngest", "oldest"))}),
        ("How long, and for what price", {"fields": ("months", "season_ends_month", "whole_shares")}),
        ("Discount and refund", {"fields": ("sibling_percent", "refund")}),
        ("Renewal", {"fields": ("remind_days", "grace_days")}),
    )


@admin.register(FamilyCap)
class FamilyCapAdmin(RoomAdmin[FamilyCap]):
    list_display = ("valid_from", "amount_shown")
    amount_shown = amount_column("amount", "A family pays at most in twelve months")


class RemitPage(VerbPage[None, Remittance]):
    verb = services.remit_affiliation
    intro = "Write down a bank transfer to an association, for all the memberships of its list; each member once."
    button = "Record the payment"
    form_class = form_of(
        association=forms.ModelChoiceField(queryset=Party.objects.filter(kind=PartyKind.ASSOCIATION)),
        through=DayField(label="For fees that became income by"),
        on=HappenedField(label="Paid on"),
    )

    def facts(self, target: None) -> Facts:
        associations = Party.objects.filter(kind=PartyKind.ASSOCIATION)
        return [(f"Owed to {party}", owed.affiliation_owed(party)) for party in associations]

    def done(self, target: None, result: Remittance) -> str:
        return f"{shown(result.amount)} to {result.association} for {result.lines.count()} fees."


class RemittanceListLink(LinkPage[Remittance]):
    slug = "list"
    title = "Its list (CSV)"
    permission = "membership.view_remittance"
    kind = "csv"

    def url(self, target: Remittance) -> str:
        return f"{reverse('admin:affiliation')}?remittance={target.pk}&as={self.kind}"


class RemittancePdfLink(RemittanceListLink):
    slug = "pdf"
    title = "Its list (PDF)"
    kind = "pdf"


def remittance_section(request: HttpRequest, remittance: Remittance) -> Section:
    lines = remittance.lines.select_related("share__charge__person", "share__charge__household")
    rows = [(link_to(line.share.charge), line.share.charge.starts_on, line.amount) for line in lines]
    return Section(f"For {len(rows)} fees", ["Fee", "Started", "Amount"], rows)


@admin.register(Remittance)
class RemittanceAdmin(DocumentAdmin[Remittance]):
    list_display = ("association", "paid_on", "amount_shown")
    list_select_related = ("association",)
    search_fields = ("association__name",)
    search_help_text = "An association, or an amount"
    also_finds = (amount_in("amount"),)
    fields = ("association", "paid_on", "through", "amount_shown", "recorded_by")
    readonly_fields = fields
    add_page = RemitPage()
    pages = (RemittanceListLink(), RemittancePdfLink())
    section_makers = (remittance_section,)
    amount_shown = amount_column("amount", "Amount")
