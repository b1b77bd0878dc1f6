"""Screens of payment runs and bank details."""

from typing import Any

from django import forms
from django.contrib import admin, messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import URLPattern, path, reverse
from django.utils.timezone import localtime

from clubdesk import clock
from clubdesk.bank import selectors, services
from clubdesk.bank.models import (
    BankAccount,
    BankDetails,
    HowPaid,
    ItemState,
    PaymentFile,
    PaymentItem,
    PaymentRun,
    RunState,
)
from clubdesk.bank.services.runs import made_file
from clubdesk.clock import day_text
from clubdesk.entryfund.models import EntryClaim
from clubdesk.errors import Refused
from clubdesk.expenses.models import Expense
from clubdesk.fees.admin import reason_field
from clubdesk.ledger.models import Role
from clubdesk.money import shown, total
from clubdesk.roll.admin import HouseholdAdmin
from clubdesk.roll.models import Household
from clubdesk.screens import (
    DayField,
    DocumentAdmin,
    HappenedField,
    Link,
    PickMany,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
    link_to,
    page_of,
)


class DetailsForm(VerbForm):
    title = forms.CharField(
        label="Account name", max_length=32, help_text="As the bank knows it; it reads the first 32 letters."
    )
    bsb = forms.CharField(label="BSB", max_length=7, help_text="Six digits, like 123-456.")
    account_number = forms.CharField(max_length=12, help_text="Two to nine digits.")
    reason = reason_field("Who asked, and how you made sure: ring a number that you knew before.")


class DetailsPage(VerbPage):
    slug = "bank-details"
    title = "Note bank details"
    intro = "The next payment goes there. A run that was made already keeps its details, and must be made anew."
    button = "Save the bank details"
    permission = "bank.add_bankdetails"
    form_class = DetailsForm

    def facts(self, target: Household) -> list[tuple[str, Any]]:
        last = selectors.details_of(target)
        return [("Household", target), ("Until now", last.in_full if last else "none")]

    def perform(self, *, target: Household, by: Any, **cleaned: Any) -> BankDetails:
        return services.set_bank_details(household=target, on=clock.today(), by=by, **cleaned)

    def done(self, result: BankDetails) -> str:
        return f"{result.household} is paid to {result.masked}."

    def destination(self, result: BankDetails) -> str:
        return page_of(result.household)


def details_section(request: HttpRequest, household: Household) -> Section | None:
    """What was noted and why, the newest first; in full only for who may see it so."""
    if not request.user.has_perm("bank.view_bankdetails"):
        return None
    full = request.user.has_perm("bank.see_bankdetails")
    rows = [
        (each.noted_on, each.in_full if full else each.masked, each.reason, str(each.recorded_by))
        for each in household.bank_details.select_related("recorded_by")
    ]
    return Section("Bank details", ["Noted", "Account", "Why", "By"], rows, "None noted.")


HouseholdAdmin.pages.append(DetailsPage())
HouseholdAdmin.section_makers.append(details_section)


class Choice(PickMany):
    """What can be paid, each with its amount; `accounts` holds where each household's money goes, by its id."""

    accounts: dict[int, BankDetails] | None = None

    def label_from_instance(self, each: Any) -> str:
        what = each.what if isinstance(each, PaymentItem) else each
        return f"{shown(each.amount)} to {each.household}: {what}{self.missing(each.household_id)}"

    def missing(self, household: int) -> str:
        return " (no bank details noted)" if self.accounts is not None and household not in self.accounts else ""


class CreditChoice(Choice):
    """Households in credit; `payable` holds what each has, by its id."""

    payable: dict[int, Any] = {}

    def label_from_instance(self, household: Any) -> str:
        return f"{shown(self.payable[household.pk])} to {household}{self.missing(household.pk)}"


class RunForm(VerbForm):
    bank_account = forms.ModelChoiceField(BankAccount.objects.filter(account__role=Role.BANK))
    method = forms.ChoiceField(label="How", choices=HowPaid.choices, widget=forms.RadioSelect, initial=HowPaid.FILE)
    pay_on = DayField(label="The bank pays on")
    claims = Choice(EntryClaim.objects.none(), label="Entry fees to refund", required=False)
    expenses = Choice(Expense.objects.none(), label="Volunteers’ expenses", required=False)
    credits = CreditChoice(
        Household.objects.none(), label="Credits to repay", required=False, help_text="Only where the family asked."
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        claims, expenses, credits = (self.fields[name] for name in ("claims", "expenses", "credits"))
        assert isinstance(claims, Choice)
        assert isinstance(expenses, Choice)
        assert isinstance(credits, CreditChoice)
        claims.queryset, expenses.queryset = selectors.claims_to_pay(), selectors.expenses_to_pay()
        credits.payable = selectors.credits_to_repay()
        credits.queryset = Household.objects.filter(pk__in=credits.payable)
        homes = {claim.household_id for claim in claims.queryset}
        homes |= {expense.household_id for expense in expenses.queryset} | set(credits.payable)
        claims.accounts = expenses.accounts = credits.accounts = selectors.details_of_all(homes)
        for name, field in (("claims", claims), ("expenses", expenses), ("credits", credits)):
            if not field.queryset:
                del self.fields[name]


class RunPage(VerbPage):
    title = "Make a payment run"
    intro = "Nothing goes out by this. A second person releases the run; then the bank gets it."
    button = "Make the run"
    permission = "bank.add_paymentrun"
    form_class = RunForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        accounts = BankAccount.objects.filter(account__role=Role.BANK)[:2]
        known = set(BankDetails.objects.values_list("household", flat=True))
        chosen: dict[str, Any] = {
            "claims": [each for each in selectors.claims_to_pay() if each.household_id in known],
            "expenses": [each for each in selectors.expenses_to_pay() if each.household_id in known],
        }
        if len(accounts) == 1:
            chosen["bank_account"] = accounts[0].pk
            chosen["method"] = HowPaid.FILE if accounts[0].makes_files else HowPaid.SINGLE
        return chosen

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> PaymentRun:
        return services.make_run(on=clock.today(), by=by, **cleaned)

    def done(self, result: PaymentRun) -> str:
        return f"{result} is made. It waits for a second person to release it."


GIVEN_UP = (ItemState.LEFT_OUT, ItemState.REFUSED)


def standing_items(run: PaymentRun) -> list[PaymentItem]:
    rows = run.items.exclude(state__in=GIVEN_UP).select_related("household", "claim", "expense")
    return list(rows.select_related("details__recorded_by"))


def run_facts(run: PaymentRun) -> list[tuple[str, Any]]:
    items = standing_items(run)
    return [
        ("Run", run),
        ("Made by", f"{run.recorded_by}, {day_text(run.made_on)}"),
        ("How", run.get_method_display()),
        ("Payments", len(items)),
        ("In all", total(item.amount for item in items)),
    ]


class ReleasePage(VerbPage):
    slug = "release"
    title = "Release this run"
    intro = "You are the second person: look at each payment, and above all at bank details that are new."
    button = "Release the run"
    permission = "bank.release_paymentrun"

    def applies(self, target: PaymentRun) -> bool:
        return target.state == RunState.MADE and target.items.filter(state=ItemState.WAITING).exists()

    def offered(self, request: HttpRequest, target: PaymentRun) -> bool:
        return super().offered(request, target) and target.recorded_by_id != request.user.pk

    def facts(self, target: PaymentRun) -> list[tuple[str, Any]]:
        items = standing_items(target)
        changed = selectors.changed_details(items)
        rows: list[tuple[str, Any]] = []
        for item in items:
            where = item.details.masked if item.details else "no bank details noted"
            rows.append((f"{shown(item.amount)} to {item.household}", f"{item.what}; {where}"))
            if item.pk in changed:
                rows.append(("Look at this", f"{item.household}: {changed[item.pk]}"))
        return [*run_facts(target), *rows]

    def perform(self, *, target: PaymentRun, by: Any, key: Any) -> PaymentRun:
        return services.release_run(run=target, on=clock.today(), by=by)

    def done(self, result: PaymentRun) -> str:
        return f"{result} is released. The treasurer can pay it now."


class FilePage(VerbPage):
    slug = "make-file"
    title = "Make the payment file"
    button = "Make the file"
    permission = "bank.change_paymentrun"

    def applies(self, target: PaymentRun) -> bool:
        waiting = target.items.filter(state=ItemState.WAITING).exists()
        return target.state == RunState.RELEASED and target.method == HowPaid.FILE and waiting

    def facts(self, target: PaymentRun) -> list[tuple[str, Any]]:
        made = target.files.count()
        warning = f"{made_before(made)} The bank must get it once." if made else "This is the first time."
        return [*run_facts(target), ("Made before", warning)]

    def perform(self, *, target: PaymentRun, by: Any, key: Any) -> PaymentFile:
        return services.make_file(run=target, by=by, key=key)

    def done(self, result: PaymentFile) -> str:
        earlier = result.run.files.filter(pk__lt=result.pk).count()
        if not earlier:
            return f"The file of {result.run} is made. Download it below and give it to the bank."
        return f"The same file again. {made_before(earlier)} It has the same number; the bank must get it only once."

    def destination(self, result: PaymentFile) -> str:
        return page_of(result.run)


def made_before(times: int) -> str:
    return "It was made once before." if times == 1 else f"It was made {times} times before."


class PaidForm(VerbForm):
    items = Choice(PaymentItem.objects.none(), label="The bank paid")
    on = HappenedField(label="Paid on")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["items"]
        assert isinstance(field, Choice)
        field.queryset = self.target.items.filter(state=ItemState.WAITING).select_related(
            "household", "claim", "expense"
        )
        field.initial = field.queryset


class PaidPage(VerbPage):
    slug = "paid"
    title = "Record what the bank paid"
    intro = "Each payment ticked is posted as paid. What the bank returns later is recorded payment by payment."
    button = "Record the payments"
    permission = "bank.change_paymentrun"
    form_class = PaidForm

    def applies(self, target: PaymentRun) -> bool:
        return target.state == RunState.RELEASED and target.items.filter(state=ItemState.WAITING).exists()

    def facts(self, target: PaymentRun) -> list[tuple[str, Any]]:
        return run_facts(target)

    def initial(self, request: HttpRequest, target: PaymentRun) -> dict[str, Any]:
        days = [day for day in (target.pay_on, target.released_on) if day]
        return {"on": min(max(days), clock.today())}

    def perform(self, *, target: PaymentRun, by: Any, items: Any, on: Any, key: Any) -> PaymentRun:
        return services.record_paid(run=target, items=list(items), on=on, by=by)

    def done(self, result: PaymentRun) -> str:
        paid = [item.amount for item in result.items.filter(state=ItemState.PAID)]
        count = "1 payment" if len(paid) == 1 else f"{len(paid)} payments"
        return f"{shown(total(paid))} of payment run {result.number} is paid, {count}."


class WithdrawForm(VerbForm):
    reason = reason_field()


class WithdrawPage(VerbPage):
    slug = "withdraw"
    title = "Withdraw this run"
    intro = "What it held can go into another run. If its file was made, make sure that the bank does not have it."
    button = "Withdraw the run"
    permission = "bank.change_paymentrun"
    form_class = WithdrawForm

    def applies(self, target: PaymentRun) -> bool:
        went_out = target.items.filter(state__in=(ItemState.PAID, ItemState.RETURNED)).exists()
        return target.state != RunState.WITHDRAWN and not went_out

    def facts(self, target: PaymentRun) -> list[tuple[str, Any]]:
        return run_facts(target)

    def perform(self, *, target: PaymentRun, by: Any, reason: str, key: Any) -> PaymentRun:
        return services.withdraw_run(run=target, on=clock.today(), reason=reason, by=by)

    def done(self, result: PaymentRun) -> str:
        return f"{result} is withdrawn."


def items_section(request: HttpRequest, run: PaymentRun) -> Section:
    full = request.user.has_perm("bank.see_bankdetails")
    rows = []
    for item in run.items.select_related("household", "claim", "expense", "details"):
        where = (item.details.in_full if full else item.details.masked) if item.details else "no bank details noted"
        state = f"{item.get_state_display()}: {item.reason}" if item.reason else item.get_state_display()
        rows.append((link_to(item, str(item.household)), item.what, where, state, item.amount))
    note = "For a payment that the bank returned or did not make, or one to leave out, open it by its household."
    return Section("Payments", ["To", "For", "Account", "State", "Amount"], rows, note=note)


def files_section(request: HttpRequest, run: PaymentRun) -> Section | None:
    files = list(run.files.select_related("recorded_by"))
    if not files or run.state != RunState.RELEASED or not request.user.has_perm("bank.see_bankdetails"):
        return None
    url = reverse("admin:bank_paymentrun_file", args=[run.pk])
    rows = [
        (
            f"{day_text(localtime(each.recorded_at))}, {localtime(each.recorded_at):%H:%M}",
            str(each.recorded_by),
            "first" if index == 0 else "the same again",
        )
        for index, each in enumerate(files)
    ]
    link = (Link("Download the file", url), "", "")
    return Section(f"File number {run.number}", ["Made", "By", "Which"], [*rows, link])


@admin.register(PaymentRun)
class PaymentRunAdmin(DocumentAdmin):
    list_display = ["number", "made_on", "in_all", "method", "standing", "pay_on", "released_by"]
    list_display_links = ["number", "made_on"]
    list_select_related = ["released_by"]
    list_filter = ["state", "method"]
    date_hierarchy = "made_on"
    fields = [
        "number", "bank_account", "method", "made_on", "recorded_by", "pay_on", "state", "released_by",
        "released_on", "withdraw_reason",
    ]  # fmt: skip
    readonly_fields = fields
    add_page = RunPage()
    pages = [ReleasePage(), FilePage(), PaidPage(), WithdrawPage()]
    section_makers = [files_section, items_section]
    sections_first = True

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).prefetch_related("items")

    @admin.display(description="In all")
    def in_all(self, run: PaymentRun) -> str:
        return shown(total(item.amount for item in run.items.all() if item.state not in GIVEN_UP))

    @admin.display(description="State", ordering="state")
    def standing(self, run: PaymentRun) -> str:
        """Released, and how many of its payments the bank has made."""
        items = [item for item in run.items.all() if item.state not in GIVEN_UP]
        made = sum(item.state != ItemState.WAITING for item in items)
        if run.state != RunState.RELEASED or not made:
            return run.get_state_display()
        return "Paid" if made == len(items) else f"{made} of {len(items)} paid"

    def get_urls(self) -> list[URLPattern]:
        view = self.admin_site.admin_view(self.file)
        return [path("<int:pk>/file/", view, name="bank_paymentrun_file"), *super().get_urls()]

    def file(self, request: HttpRequest, pk: int) -> HttpResponse:
        """The Direct Entry file, once it was made; for who may see bank details in full.

        That its name ends in .aba is common practice, no source.
        """
        run = self.get_object(request, str(pk))
        if run is None or not run.files.exists() or run.state != RunState.RELEASED:
            raise Http404
        if not request.user.has_perm("bank.see_bankdetails"):
            raise PermissionDenied
        try:
            content = made_file(run)
        except Refused as refusal:
            messages.error(request, refusal.sentence)
            return HttpResponseRedirect(page_of(run))
        response = HttpResponse(content, content_type="text/plain; charset=us-ascii")
        response["Content-Disposition"] = f'attachment; filename="payment-run-{run.number}.aba"'
        response["Cache-Control"] = "private, no-store"
        return response


class EndForm(VerbForm):
    on = HappenedField(label="On")
    reason = reason_field()


class ReturnedPage(VerbPage):
    slug = "returned"
    title = "The bank returned this payment"
    intro = "Its entry is reversed, and what it was for waits to be paid again."
    button = "Record the return"
    permission = "bank.change_paymentrun"
    form_class = EndForm

    def applies(self, target: PaymentItem) -> bool:
        return target.state == ItemState.PAID

    def facts(self, target: PaymentItem) -> list[tuple[str, Any]]:
        return [("Payment", target), ("Amount", target.amount), ("Paid on", target.paid_on)]

    def perform(self, *, target: PaymentItem, by: Any, on: Any, reason: str, key: Any) -> PaymentItem:
        return services.record_returned(item=target, on=on, reason=reason, by=by)

    def done(self, result: PaymentItem) -> str:
        return f"Returned: {shown(result.amount)}, {result}. Note new bank details before it is paid again."

    def destination(self, result: PaymentItem) -> str:
        return page_of(result.run)


class LeaveOutPage(VerbPage):
    slug = "leave-out"
    title = "This payment does not go out"
    intro = "Leave it out before the bank has it, or say that the bank did not make it. It can go into another run."
    button = "It does not go out"
    permission = "bank.change_paymentrun"
    form_class = EndForm

    def applies(self, target: PaymentItem) -> bool:
        return target.state == ItemState.WAITING

    def facts(self, target: PaymentItem) -> list[tuple[str, Any]]:
        return [("Payment", target), ("Amount", target.amount)]

    def perform(self, *, target: PaymentItem, by: Any, on: Any, reason: str, key: Any) -> PaymentItem:
        return services.leave_out(item=target, on=on, reason=reason, by=by)

    def done(self, result: PaymentItem) -> str:
        return f"{result.get_state_display()}: {result}."

    def destination(self, result: PaymentItem) -> str:
        return page_of(result.run)


@admin.register(PaymentItem)
class PaymentItemAdmin(DocumentAdmin):
    list_display = ["run", "household", "what", "amount_shown", "state"]
    list_select_related = ["run", "household"]
    list_filter = ["state"]
    search_fields = ["household__name"]
    fields = ["run", "household", "what", "amount_shown", "state", "paid_on", "ended_on", "reason"]
    readonly_fields = fields
    pages = [ReturnedPage(), LeaveOutPage()]
    amount_shown = amount_column("amount", "Amount")

    @admin.display(description="For")
    def what(self, item: PaymentItem) -> str:
        return item.what
