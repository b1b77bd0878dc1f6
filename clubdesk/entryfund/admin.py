"""Screens of the entry fund: containers, state events, claims and their decision."""

from typing import Any

from django import forms
from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpRequest, HttpResponseBase
from django.urls import URLPattern, path, reverse

from clubdesk import clock
from clubdesk.entryfund import selectors, services
from clubdesk.entryfund.evidence import examine
from clubdesk.entryfund.models import ClaimState, ContainerReturn, EntryClaim, PaidInto, StateEvent
from clubdesk.errors import Refused
from clubdesk.fees.admin import reason_field
from clubdesk.money import AmountFormField, nil, shown
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import belongs_to
from clubdesk.screens import (
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


class CashInForm(VerbForm):
    containers = forms.IntegerField(min_value=1, max_value=1_000_000, help_text="As the club counted them.")
    amount = AmountFormField(help_text="As the depot's receipt says.")
    paid_into = forms.ChoiceField(choices=PaidInto.choices, widget=forms.RadioSelect, initial=PaidInto.BANK)
    depot_receipt = forms.CharField(label="Depot receipt number", required=False, max_length=60)
    on = HappenedField(label="Cashed in on")


class CashInPage(VerbPage):
    title = "Cash in containers"
    intro = "The depot's amount goes into the entry fund."
    button = "Record it"
    permission = "entryfund.add_containerreturn"
    form_class = CashInForm

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        return [("In the entry fund", selectors.entry_fund_balance())]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> ContainerReturn:
        return services.cash_in(by=by, **cleaned)

    def done(self, result: ContainerReturn) -> str:
        difference = result.amount - result.by_count
        sentence = f"{shown(result.amount)} into the entry fund for {result}."
        if difference == nil():
            return sentence
        word = "less" if difference > nil() else "more"
        return f"{sentence} Your count comes to {shown(result.by_count)}, {shown(abs(difference))} {word}."


@admin.register(ContainerReturn)
class ContainerReturnAdmin(DocumentAdmin):
    list_display = ["returned_on", "containers", "amount_shown", "by_count_shown", "paid_into", "depot_receipt"]
    date_hierarchy = "returned_on"
    fields = [
        "returned_on",
        "containers",
        "amount_shown",
        "by_count_shown",
        "paid_into",
        "depot_receipt",
        "recorded_by",
    ]
    readonly_fields = fields
    add_page = CashInPage()
    amount_shown = amount_column("amount", "Depot paid")

    @admin.display(description="At ten cents each")
    def by_count_shown(self, each: ContainerReturn) -> str:
        return shown(each.by_count)


def event_claims_section(request: HttpRequest, event: StateEvent) -> Section:
    rows = [
        (link_to(row, str(row.person)), row.get_state_display(), row.amount)
        for row in event.claims.select_related("person", "event")
    ]
    return Section("Claims", ["Child", "State", "Amount"], rows)


@admin.register(StateEvent)
class StateEventAdmin(RoomAdmin):
    list_display = ["name", "discipline", "held_on", "entries_close", "fee_shown", "refunded"]
    list_filter = ["discipline", "refunded"]
    search_fields = ["name"]
    date_hierarchy = "held_on"
    section_makers = [event_claims_section]
    fee_shown = amount_column("fee", "Entry fee")


class ClaimForm(VerbForm):
    person = PickField(Person, through=(EntryClaim, "person"), label="Child")
    event = forms.ModelChoiceField(queryset=StateEvent.objects.none())
    amount = AmountFormField(label="Amount claimed", help_text="What the receipt says, at most the entry fee.")
    receipt = forms.FileField(
        label="Receipt", help_text="A PDF or a photo (JPEG, PNG), at most 10 MB.",
        widget=forms.FileInput(attrs={"accept": "application/pdf,image/jpeg,image/png"}),
    )  # fmt: skip
    on = HappenedField(label="Claimed on")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["event"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = StateEvent.objects.filter(held_on__lte=clock.today())

    def clean_receipt(self) -> Any:
        try:
            return examine(self.cleaned_data["receipt"])
        except Refused as refusal:
            raise forms.ValidationError(refusal.messages) from None


class ClaimPage(VerbPage):
    title = "Record an entry-fee claim"
    intro = "It is decided by somebody who neither recorded it nor belongs to the household."
    button = "Record the claim"
    permission = "entryfund.add_entryclaim"
    form_class = ClaimForm

    def perform(self, *, target: Any, by: Any, receipt: Any, **cleaned: Any) -> EntryClaim:
        return services.record_claim(evidence=receipt, by=by, **cleaned)

    def done(self, result: EntryClaim) -> str:
        return f"Claim recorded: {shown(result.amount)} for {result}. It waits for a decision."


class DecisionForm(VerbForm):
    on = HappenedField(label="Decided on")


def is_ones_own(request: HttpRequest, claim: EntryClaim) -> bool:
    """Whether whoever looks recorded the claim or belongs to the household that it pays."""
    return claim.recorded_by_id == request.user.pk or belongs_to(request.user, claim.household)  # type: ignore[arg-type]


class DecisionPage(VerbPage):
    """What approving and declining share: who may decide, and what they see before they do."""

    permission = "entryfund.decide_entryclaim"

    def applies(self, target: EntryClaim) -> bool:
        return target.state == ClaimState.RECORDED

    def offered(self, request: HttpRequest, target: EntryClaim) -> bool:
        return super().offered(request, target) and not is_ones_own(request, target)

    def facts(self, target: EntryClaim) -> list[tuple[str, Any]]:
        fund = selectors.entry_fund_balance()
        return [
            ("Claim", target),
            ("Pays", target.household),
            ("Amount", target.amount),
            ("Receipt", receipt_link(target)),
            ("Entry fund now", fund),
            ("Entry fund after", fund - target.amount),
            *(("Passed" if check.passed else "Not passed", check.sentence) for check in selectors.checks_of(target)),
        ]


class ApprovePage(DecisionPage):
    slug = "approve"
    title = "Approve this refund"
    intro = "The entry fund then owes it to the household, and the treasurer pays it."
    button = "Approve the refund"
    form_class = DecisionForm

    def perform(self, *, target: EntryClaim, by: Any, on: Any, key: Any) -> EntryClaim:
        return services.approve_claim(claim=target, by=by, on=on)

    def done(self, result: EntryClaim) -> str:
        return f"Approved: {shown(result.amount)} to {result.household}."


class DeclineForm(DecisionForm):
    reason = reason_field("In words that you would tell the family.")


class DeclinePage(DecisionPage):
    slug = "decline"
    title = "Decline this claim"
    button = "Decline the claim"
    form_class = DeclineForm

    def perform(self, *, target: EntryClaim, by: Any, on: Any, reason: str, key: Any) -> EntryClaim:
        return services.decline_claim(claim=target, reason=reason, by=by, on=on)

    def done(self, result: EntryClaim) -> str:
        return f"Declined: {result}. Tell the family why."


class PayForm(VerbForm):
    on = HappenedField(label="Paid on")
    reference = forms.CharField(required=False, max_length=60, help_text="As it stands on the bank transfer.")


class PayClaimPage(VerbPage):
    slug = "pay"
    title = "Pay this refund"
    intro = "Write down the bank transfer to the household."
    button = "Record the payment"
    permission = "entryfund.pay_entryclaim"
    form_class = PayForm

    def applies(self, target: EntryClaim) -> bool:
        return target.state == ClaimState.APPROVED

    def facts(self, target: EntryClaim) -> list[tuple[str, Any]]:
        return [("To", target.household), ("For", target), ("Amount", target.amount)]

    def perform(self, *, target: EntryClaim, by: Any, on: Any, reference: str, key: Any) -> EntryClaim:
        return services.pay_claim(claim=target, on=on, by=by, reference=reference)

    def done(self, result: EntryClaim) -> str:
        return f"Paid: {shown(result.amount)} to {result.household}."


def receipt_link(claim: EntryClaim) -> Link:
    kind = {"application/pdf": "PDF", "image/jpeg": "photo", "image/png": "photo"}[claim.receipt_type]
    return Link(f"Open the receipt ({kind})", reverse("admin:entryfund_entryclaim_evidence", args=[claim.pk]))


def checks_section(request: HttpRequest, claim: EntryClaim) -> Section:
    rows: list[tuple[Any, ...]] = [
        ("passed" if check.passed else "not passed", check.sentence) for check in selectors.checks_of(claim)
    ]
    decides = claim.state == ClaimState.RECORDED and request.user.has_perm("entryfund.decide_entryclaim")
    if decides and is_ones_own(request, claim):
        rows.append(("not for you", "you recorded it or belong to the household; somebody else decides"))
    return Section("Checks", ["Check", "What was found"], [*rows, ("evidence", receipt_link(claim))])


@admin.register(EntryClaim)
class EntryClaimAdmin(DocumentAdmin):
    list_display = ["person", "event", "amount_shown", "state", "claimed_on", "decided_by"]
    list_select_related = ["person", "event", "decided_by"]
    list_filter = ["state", "event__discipline"]
    search_fields = ["person__given_name", "person__family_name", "event__name"]
    search_help_text = "A child or an event"
    date_hierarchy = "claimed_on"
    fields = [
        "person", "household", "event", "amount_shown", "claimed_on", "recorded_by", "state", "decided_by",
        "decided_on", "decision_reason", "paid_on", "payment_reference",
    ]  # fmt: skip
    readonly_fields = fields
    add_page = ClaimPage()
    pages = [ApprovePage(), DeclinePage(), PayClaimPage()]
    section_makers = [checks_section]
    sections_first = True
    amount_shown = amount_column("amount", "Amount")

    def get_urls(self) -> list[URLPattern]:
        view = self.admin_site.admin_view(self.evidence)
        return [path("<int:claim_id>/receipt/", view, name="entryfund_entryclaim_evidence"), *super().get_urls()]

    def evidence(self, request: HttpRequest, claim_id: int) -> HttpResponseBase:
        """The uploaded receipt, for those who may see claims; a browser never runs anything in it."""
        claim = self.get_object(request, str(claim_id))
        if claim is None:
            raise Http404
        if not self.has_view_permission(request, claim):
            raise PermissionDenied
        try:
            file = claim.receipt.open("rb")
        except OSError:
            raise Http404("The file is missing from the evidence folder; check_books names it.") from None
        response = FileResponse(file, content_type=claim.receipt_type)
        response["Content-Disposition"] = f'inline; filename="receipt-{claim.pk}"'
        response["Content-Security-Policy"] = "default-src 'none'; sandbox"
        response["X-Content-Type-Options"] = "nosniff"
        response["Cache-Control"] = "private, no-store"
        return response
