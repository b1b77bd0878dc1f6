"""Screens of the entry fund: containers, state events, claims and their decision."""

from django import forms
from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.urls import URLPattern, path, reverse
from django.utils.html import format_html

from clubdesk import clock
from clubdesk.entryfund import selectors, services
from clubdesk.entryfund.models import (
    BagCount,
    ClaimState,
    ContainerReturn,
    EntryClaim,
    EventFee,
    FundTransfer,
    MoreEvidence,
    PaidInto,
    StateEvent,
)
from clubdesk.entryfund.states import UNDECIDED
from clubdesk.evidence import KINDS, EvidenceField, served
from clubdesk.ledger.models import Fund
from clubdesk.money import AmountFormField, nil, shown
from clubdesk.roll.finding import of_family
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import belongs_to
from clubdesk.screens.fields import (
    HappenedField,
    PickField,
    VerbForm,
    choose_from,
    day_and_reason,
    day_form,
    form_of,
)
from clubdesk.screens.rooms import Context, DocumentAdmin, NamedCells, RoomAdmin
from clubdesk.screens.searching import amount_in, named_like
from clubdesk.screens.tables import Link, Section, amount_column, as_figure, link_to
from clubdesk.screens.verbs import Facts, VerbPage, signed_in
from clubdesk.verbs import may, verb_of


class CashInForm(VerbForm[None]):
    containers = forms.IntegerField(min_value=1, max_value=1_000_000, help_text="As the club counted them.")
    amount = AmountFormField(help_text="As the depot's receipt says.")
    paid_into = forms.ChoiceField(choices=PaidInto.choices, widget=forms.RadioSelect, initial=PaidInto.BANK)
    depot_receipt = forms.CharField(label="Depot receipt number", required=False, max_length=60)
    evidence = EvidenceField(label="The depot’s receipt", required=False)
    on = HappenedField(label="Cashed in on")


class CashInPage(VerbPage[None, ContainerReturn]):
    verb = services.cash_in
    intro = "The depot's amount goes into the entry fund."
    button = "Record it"
    form_class = CashInForm

    def facts(self, target: None) -> Facts:
        return [
            ("In the entry fund", selectors.entry_fund_balance()),
            ("Bags at the club", selectors.bags_in_words()),
        ]

    def done(self, target: None, result: ContainerReturn) -> str:
        sentence = f"{shown(result.amount)} into the entry fund for {result}."
        return f"{sentence} {difference_in_words(result)}".strip()


def difference_in_words(cashed_in: ContainerReturn) -> str:
    """How the club's count differs from the depot's receipt; blank where it does not."""
    if cashed_in.difference == nil():
        return ""
    word = "less" if cashed_in.difference > nil() else "more"
    return f"Your count comes to {shown(cashed_in.by_count)}, {shown(abs(cashed_in.difference))} {word}."


class CancelReturnPage(VerbPage[ContainerReturn, ContainerReturn]):
    slug = "cancel"
    verb = services.cancel_return
    target = "container_return"
    intro = "For one that was typed wrongly: its entry is reversed. Record the right one afterwards."
    button = "Cancel the return"
    form_class = day_and_reason("Cancelled on")

    def applies(self, target: ContainerReturn) -> bool:
        return target.cancelled_on is None

    def facts(self, target: ContainerReturn) -> Facts:
        fund = selectors.entry_fund_balance()
        return [
            ("Return", target),
            ("Amount", target.amount),
            ("Entry fund now", fund),
            ("Entry fund after", fund - target.amount),
        ]

    def done(self, target: ContainerReturn, result: ContainerReturn) -> str:
        return f"Cancelled: {result}."


@admin.register(ContainerReturn)
class ContainerReturnAdmin(DocumentAdmin[ContainerReturn]):
    list_display = (
        "returned_on", "containers", "amount_shown", "by_count_shown", "difference_shown", "paid_into", "cancelled_on",
    )  # fmt: skip
    date_hierarchy = "returned_on"
    search_fields = ("depot_receipt",)
    search_help_text = "The number of a depot receipt, or an amount"
    also_finds = (amount_in("amount"),)
    fields = (
        "returned_on", "containers", "amount_shown", "by_count_shown", "difference_shown", "paid_into",
        "depot_receipt", "receipt_link", "recorded_by", "cancelled_on", "cancel_reason",
    )  # fmt: skip
    readonly_fields = fields
    add_page = CashInPage()
    pages = (CancelReturnPage(),)
    amount_shown = amount_column("amount", "Depot paid")
    difference_shown = amount_column("difference", "Depot paid more, or less (−), than counted", sorts=False)

    def get_urls(self) -> list[URLPattern]:
        view = self.admin_site.admin_view(self.depot_receipt_file)
        return [
            path("<int:pk>/receipt/", view, name="entryfund_containerreturn_evidence"),
            *super().get_urls(),
        ]

    def depot_receipt_file(self, request: HttpRequest, pk: int) -> HttpResponseBase:
        """The depot's receipt, for those who may see returns."""
        cashed_in = self.get_object(request, str(pk))
        if cashed_in is None or not cashed_in.receipt:
            raise Http404
        if not self.has_view_permission(request, cashed_in):
            raise PermissionDenied
        return served(cashed_in.receipt, cashed_in.receipt_type, f"depot-{pk}")

    @admin.display(description="Depot’s receipt")
    def receipt_link(self, each: ContainerReturn) -> str:
        if not each.receipt:
            return "–"
        url = reverse("admin:entryfund_containerreturn_evidence", args=[each.pk])
        return format_html(
            '<a href="{}" target="_blank" rel="noopener">Open it ({})</a>', url, KINDS[each.receipt_type]
        )

    @admin.display(description="At ten cents each")
    def by_count_shown(self, each: ContainerReturn) -> str:
        return as_figure(each.by_count)


class BagsForm(VerbForm[None]):
    bags = forms.IntegerField(label="Bags waiting", min_value=0, max_value=10_000)
    containers = forms.IntegerField(
        label="Containers in them, about", min_value=0, max_value=1_000_000, help_text="In all bags together."
    )
    on = HappenedField(label="Counted on")


class BagsPage(VerbPage[None, BagCount]):
    verb = services.count_bags
    intro = "An estimate of what waits to be cashed in; the newest count holds. It is not money and not in the fund."
    button = "Save the count"
    form_class = BagsForm

    def facts(self, target: None) -> Facts:
        return [("Bags at the club", selectors.bags_in_words())]


@admin.register(BagCount)
class BagCountAdmin(DocumentAdmin[BagCount]):
    list_display = ("counted_on", "bags", "containers", "worth_shown")
    fields = ("counted_on", "bags", "containers", "worth_shown", "recorded_by")
    readonly_fields = fields
    add_page = BagsPage()
    worth_shown = amount_column("worth", "Worth about (not money yet)", sorts=False)


def event_claims_section(request: HttpRequest, event: StateEvent) -> Section:
    rows = [
        (link_to(row, str(row.person)), row.get_state_display(), row.amount)
        for row in event.claims.select_related("person", "event")
    ]
    return Section("Refund requests", ["Child", "State", "Amount"], rows)


class EventFeeInline(NamedCells, admin.TabularInline[EventFee, StateEvent]):
    model = EventFee
    extra = 0
    fields = ("age_class", "amount")


@admin.register(StateEvent)
class StateEventAdmin(RoomAdmin[StateEvent]):
    list_display = ("name", "discipline", "held_on", "entries_close", "fee_shown", "refunded")
    fields = (
        "name", "discipline", "held_on", "ends_on", "entries_close", "fee", "refunded", "refund_up_to", "oldest_class",
    )  # fmt: skip
    inlines = (EventFeeInline,)
    list_filter = ("discipline", "refunded")
    search_fields = ("name",)
    search_help_text = "An event’s name, also misspelt"
    else_finds = (named_like(StateEvent),)
    date_hierarchy = "held_on"
    section_makers = (event_claims_section,)
    fee_shown = amount_column("fee", "Entry fee")


class ClaimForm(VerbForm[None]):
    person = PickField(Person, through=(EntryClaim, "person"), label="Child")
    event = forms.ModelChoiceField(queryset=StateEvent.objects.none())
    amount = AmountFormField(label="Amount asked for", help_text="What the receipt says, at most the entry fee.")
    receipt_amount = AmountFormField(
        label="What the receipt says", required=False, help_text="Blank: the same as is asked for."
    )
    evidence = EvidenceField(label="Receipt")
    entry_shown = forms.BooleanField(
        label="The receipt or the organiser’s list shows the child’s entry", required=False, initial=True
    )
    on = HappenedField(label="Asked for on")

    def prepare(self) -> None:
        choose_from(self, "event", StateEvent.objects.filter(held_on__lte=clock.today()))


class ClaimPage(VerbPage[None, EntryClaim]):
    verb = services.record_claim
    intro = "It is decided by somebody who neither recorded it nor belongs to the family."
    button = "Record the request"
    form_class = ClaimForm

    def done(self, target: None, result: EntryClaim) -> str:
        return f"Request recorded: {shown(result.amount)} for {result}. It waits for a decision."


class AnswerForm(VerbForm[EntryClaim]):
    answer = forms.CharField(label="What the family answered", max_length=200)
    evidence = EvidenceField(label="What it sent", required=False)


class AnswerPage(VerbPage[EntryClaim, EntryClaim]):
    slug = "answer"
    verb = services.answer_claim
    target = "claim"
    button = "Save the answer"
    form_class = AnswerForm

    def applies(self, target: EntryClaim) -> bool:
        return target.state == ClaimState.ASKED

    def facts(self, target: EntryClaim) -> Facts:
        return [("Request", target), ("Asked", target.question)]

    def done(self, target: EntryClaim, result: EntryClaim) -> str:
        return "Answered; it waits for a decision again."


def is_ones_own(request: HttpRequest, claim: EntryClaim) -> bool:
    """Whether whoever looks recorded the claim or belongs to the household that it pays."""
    by = signed_in(request)
    return claim.recorded_by_id == by.pk or belongs_to(by, claim.household, claim.recorded_at)


class DecisionPage(VerbPage[EntryClaim, EntryClaim]):
    """What approving, declining and asking share: who may decide, and what they see before they do."""

    target = "claim"

    def applies(self, target: EntryClaim) -> bool:
        return target.state in UNDECIDED

    def offered(self, request: HttpRequest, target: EntryClaim) -> bool:
        return super().offered(request, target) and not is_ones_own(request, target)

    def facts(self, target: EntryClaim) -> Facts:
        fund = selectors.entry_fund_balance()
        return [
            ("Request", target),
            ("Paid to", target.household),
            ("Amount", target.amount),
            ("Receipt", receipt_link(target)),
            ("Entry fund now", fund),
            ("Entry fund after", fund - target.amount),
            *(("Passed" if check.passed else "Not passed", check.sentence) for check in selectors.checks_of(target)),
        ]


class AskPage(DecisionPage):
    slug = "ask"
    verb = services.ask_for_more
    intro = "The family hears it by mail and answers on its own page. The request keeps its place in the queue."
    button = "Ask the family"
    form_class = form_of(question=forms.CharField(max_length=200, help_text="As the family will read it."))

    def applies(self, target: EntryClaim) -> bool:
        return target.state == ClaimState.RECORDED

    def done(self, target: EntryClaim, result: EntryClaim) -> str:
        return "The family was asked."

    def destination(self, target: EntryClaim, result: EntryClaim) -> str:
        return reverse("admin:claim_queue")


class ApprovePage(DecisionPage):
    slug = "approve"
    verb = services.approve_claim
    intro = "The entry fund then owes it to the family, and the treasurer pays it in a payment run."
    button = "Approve the refund"
    form_class = day_form("Decided on")

    def applies(self, target: EntryClaim) -> bool:
        return target.state == ClaimState.RECORDED

    def done(self, target: EntryClaim, result: EntryClaim) -> str:
        return f"Approved: {shown(result.amount)} to {result.household}."


class DeclinePage(DecisionPage):
    slug = "decline"
    verb = services.decline_claim
    button = "Decline the request"
    form_class = day_and_reason("Decided on", "In words that you would tell the family.")

    def done(self, target: EntryClaim, result: EntryClaim) -> str:
        return f"Declined: {result}. The family hears why."


def receipt_link(claim: EntryClaim) -> Link:
    return Link(
        f"Open the receipt ({KINDS[claim.receipt_type]})",
        reverse("admin:entryfund_entryclaim_evidence", args=[claim.pk]),
    )


def more_url(claim: EntryClaim, more: MoreEvidence) -> str:
    return reverse("admin:entryfund_entryclaim_more", args=[claim.pk, more.pk])


def checks_section(request: HttpRequest, claim: EntryClaim) -> Section:
    sent = [("more evidence", Link("Open it", more_url(claim, each))) for each in claim.more.exclude(file="")]
    receipt = ("evidence", receipt_link(claim) if claim.receipt else "erased")
    rows: list[tuple[object, ...]] = [
        ("passed" if check.passed else "not passed", check.sentence) for check in selectors.checks_of(claim)
    ]
    decides = claim.state == ClaimState.RECORDED and may(request.user, verb_of(services.approve_claim).permission)
    if decides and is_ones_own(request, claim):
        rows.append(("not for you", "you recorded it or belong to the family; somebody else decides"))
    return Section("Checks", ["Check", "What was found"], [*rows, receipt, *sent])


@admin.register(EntryClaim)
class EntryClaimAdmin(DocumentAdmin[EntryClaim]):
    list_display = ("person", "event", "amount_shown", "state", "claimed_on", "decided_by")
    list_select_related = ("person", "event", "decided_by")
    list_filter = ("state", "event__discipline")
    search_fields = (
        "person__given_name", "person__family_name", "household__name", "household__guardians__name", "event__name",
    )  # fmt: skip
    search_help_text = "A child, family or guardian, an event, an amount or a payment reference"
    also_finds = (amount_in("amount"), of_family("household"))
    date_hierarchy = "claimed_on"
    fields = (
        "person", "household", "event", "amount_shown", "receipt_says", "entry_shown", "by_family", "claimed_on",
        "recorded_by", "state", "question", "answer", "decided_by", "decided_on", "decision_reason",
        "paid_on", "payment_reference", "times_returned",
    )  # fmt: skip
    readonly_fields = fields
    add_page = ClaimPage()
    pages = (ApprovePage(), DeclinePage(), AskPage(), AnswerPage())
    change_list_template = "entryfund/claims.html"
    section_makers = (checks_section,)
    sections_first = True
    amount_shown = amount_column("amount", "Amount")

    @admin.display(description="The receipt says")
    def receipt_says(self, claim: EntryClaim) -> str:
        return "the same" if claim.receipt_amount is None else shown(claim.receipt_amount)

    def changelist_view(self, request: HttpRequest, extra_context: Context | None = None) -> HttpResponse:
        decides = may(request.user, verb_of(services.approve_claim).permission)
        return super().changelist_view(request, {"decides": decides, **(extra_context or {})})

    def get_urls(self) -> list[URLPattern]:
        view = self.admin_site.admin_view(self.evidence)
        more = self.admin_site.admin_view(self.more_evidence)
        return [
            path("<int:claim_id>/receipt/", view, name="entryfund_entryclaim_evidence"),
            path("<int:claim_id>/more/<int:pk>/", more, name="entryfund_entryclaim_more"),
            *super().get_urls(),
        ]

    def evidence(self, request: HttpRequest, claim_id: int) -> HttpResponseBase:
        """The uploaded receipt, for those who may see claims; a browser never runs anything in it."""
        claim = self._to_open(request, claim_id)
        if not claim.receipt:
            raise Http404
        return served(claim.receipt, claim.receipt_type, f"receipt-{claim.pk}")

    def more_evidence(self, request: HttpRequest, claim_id: int, pk: int) -> HttpResponseBase:
        """What the family sent when it was asked for more, served the same way."""
        more = self._to_open(request, claim_id).more.filter(pk=pk).exclude(file="").first()
        if more is None:
            raise Http404
        return served(more.file, more.file_type, f"more-{more.pk}")

    def _to_open(self, request: HttpRequest, claim_id: int) -> EntryClaim:
        claim = self.get_object(request, str(claim_id))
        if claim is None:
            raise Http404
        if not self.has_view_permission(request, claim):
            raise PermissionDenied
        return claim


class MoveForm(VerbForm[None]):
    from_fund = forms.ModelChoiceField(Fund.objects.all(), label="From")
    to_fund = forms.ModelChoiceField(Fund.objects.all(), label="To")
    amount = AmountFormField()
    minute = forms.CharField(
        label="Decided", max_length=150, help_text="The meeting and its minute, as the club names them."
    )
    on = HappenedField(label="Moved on")


class MovePage(VerbPage[None, FundTransfer]):
    verb = services.move_between_funds
    intro = "Only as a committee has decided. The money stays in the bank; the funds’ shares of it change."
    button = "Record the transfer"
    form_class = MoveForm

    def facts(self, target: None) -> Facts:
        return [(str(fund), fund.balance) for fund in Fund.objects.filter(restricted=True)]


@admin.register(FundTransfer)
class FundTransferAdmin(DocumentAdmin[FundTransfer]):
    list_display = ("moved_on", "from_fund", "to_fund", "amount_shown", "minute")
    list_select_related = ("from_fund", "to_fund")
    search_fields = ("minute",)
    search_help_text = "Words of the decision, or an amount"
    also_finds = (amount_in("amount"),)
    fields = ("moved_on", "from_fund", "to_fund", "amount_shown", "minute", "recorded_by")
    readonly_fields = fields
    add_page = MovePage()
    amount_shown = amount_column("amount", "Amount")
