"""Screens of payment runs: made by one, released by another, and what the bank then paid."""

from django import forms
from django.contrib import admin, messages
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import URLPattern, path, reverse
from django.utils.timezone import localtime

from clubdesk import clock
from clubdesk.bank import selectors, services
from clubdesk.bank.admin.choices import Choice, CreditChoice
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
from clubdesk.bank.services.runs import made_file, released_before
from clubdesk.clock import day_text
from clubdesk.entryfund.models import EntryClaim
from clubdesk.errors import Refused
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import GiveBack
from clubdesk.handing import file_answer, hand_out
from clubdesk.ledger.models import Role
from clubdesk.money import as_amount, nil, shown, total
from clubdesk.roll.models import Household
from clubdesk.screens.again import ask_again, said_lately
from clubdesk.screens.fields import Cleaned, DayField, HappenedField, VerbForm, choose_from, form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Link, Section, as_figure, link_to, page_of
from clubdesk.screens.verbs import Facts, VerbPage, signed_in
from clubdesk.verbs import may


class RunForm(VerbForm[None]):
    bank_account = forms.ModelChoiceField(BankAccount.objects.filter(account__role=Role.BANK))
    method = forms.ChoiceField(label="How", choices=HowPaid.choices, widget=forms.RadioSelect, initial=HowPaid.FILE)
    pay_on = DayField(label="The bank pays on")
    claims = Choice(EntryClaim.objects.none(), label="Entry fees to refund", required=False)
    expenses = Choice(Expense.objects.none(), label="Volunteers’ expenses", required=False)
    credits = CreditChoice(
        Household.objects.none(), label="Credits to repay", required=False, help_text="Only where the family asked."
    )

    give_backs = Choice(
        GiveBack.objects.none(), label="Vouchers to give back", required=False,
        help_text="By single transfers, each to the account on its invoice.",
    )  # fmt: skip

    beyond = forms.BooleanField(
        label="Make it though the bank holds less",
        required=False,
        help_text="Only where more money comes in before the bank pays.",
    )

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        account = cleaned.get("bank_account")
        credits = sum((as_amount(self.payable[home.pk]) for home in cleaned.get("credits") or ()), nil())
        owed = [each for name in ("claims", "expenses", "give_backs") for each in cleaned.get(name) or ()]
        asked = total(each.amount for each in owed) + credits
        if account and asked > (free := selectors.free_in_bank(account)) and not cleaned.get("beyond"):
            self.add_error(
                "beyond",
                f"This run comes to {shown(asked)}; {account} holds {shown(free)} beyond what other runs have still to"
                " pay. Choose fewer payments, or tick this if the money comes in before.",
            )
        return cleaned

    def prepare(self) -> None:
        if not self.is_bound:
            del self.fields["beyond"]  # asked only of a run that is too large
        self.payable = payable = selectors.credits_to_repay()
        claims = choose_from(self, "claims", selectors.claims_to_pay())
        expenses = choose_from(self, "expenses", selectors.expenses_to_pay())
        credits = choose_from(self, "credits", Household.objects.filter(pk__in=payable))
        homes = {claim.household_id for claim in claims} | {expense.household_id for expense in expenses} | set(payable)
        accounts = selectors.details_of_all(homes)
        if not choose_from(self, "give_backs", selectors.give_backs_to_pay()):
            del self.fields["give_backs"]
        for name, rows in (("claims", claims), ("expenses", expenses), ("credits", credits)):
            field = self.fields[name]
            assert isinstance(field, Choice)
            field.accounts = accounts
            if isinstance(field, CreditChoice):
                field.payable = payable
            if not rows:
                del self.fields[name]


class RunPage(VerbPage[None, PaymentRun]):
    verb = services.make_run
    intro = "Nothing goes out by this. A second person releases the run; then the bank gets it."
    button = "Make the run"
    form_class = RunForm
    asks_only = ("beyond",)

    def facts(self, target: None) -> Facts:
        accounts = BankAccount.objects.filter(account__role=Role.BANK)
        return [(f"{each} can pay", selectors.free_in_bank(each)) for each in accounts]

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        accounts = BankAccount.objects.filter(account__role=Role.BANK)[:2]
        known = set(BankDetails.objects.values_list("household", flat=True))
        chosen: dict[str, object] = {
            "claims": [each for each in selectors.claims_to_pay() if each.household_id in known],
            "expenses": [each for each in selectors.expenses_to_pay() if each.household_id in known],
        }
        if len(accounts) == 1:
            chosen["bank_account"] = accounts[0].pk
            chosen["method"] = HowPaid.FILE if accounts[0].makes_files else HowPaid.SINGLE
        return chosen

    def done(self, target: None, result: PaymentRun) -> str:
        return f"{result} is made. It waits for a second person to release it."


GIVEN_UP = (ItemState.LEFT_OUT, ItemState.REFUSED)


def standing_items(run: PaymentRun) -> list[PaymentItem]:
    rows = run.items.exclude(state__in=GIVEN_UP).select_related(*services.runs.OF_ITEMS)
    return list(rows.select_related("details__recorded_by"))


def run_facts(run: PaymentRun) -> Facts:
    items = standing_items(run)
    return [
        ("Run", run),
        ("Made by", f"{run.recorded_by}, {day_text(run.made_on)}"),
        ("How", run.get_method_display()),
        ("Payments", len(items)),
        ("In all", total(item.amount for item in items)),
    ]


class ReleasePage(VerbPage[PaymentRun, PaymentRun]):
    slug = "release"
    verb = services.release_run
    target = "run"
    asks_again = True
    intro = "You are the second person: look at each payment, and above all at bank details that are new."
    button = "Release the run"

    def not_now(self, target: PaymentRun) -> str:
        return released_before(target) if target.state == RunState.RELEASED else super().not_now(target)

    def applies(self, target: PaymentRun) -> bool:
        return target.state == RunState.MADE and target.items.filter(state=ItemState.WAITING).exists()

    def offered(self, request: HttpRequest, target: PaymentRun) -> bool:
        return super().offered(request, target) and target.recorded_by_id != signed_in(request).pk

    def facts(self, target: PaymentRun) -> Facts:
        items = standing_items(target)
        changed = selectors.changed_details(items)
        rows: list[tuple[str, object]] = []
        for item in items:
            where = item.details.masked if item.details else _not_noted(item)
            rows.append((f"{shown(item.amount)} to {item.payee}", f"{item.what}; {where}"))
            if item.pk in changed:
                rows.append(("Look at this", f"{item.payee}: {changed[item.pk]}"))
        return [*run_facts(target), *rows]

    def done(self, target: PaymentRun, result: PaymentRun) -> str:
        return f"{result} is released. The treasurer can pay it now."


class FilePage(VerbPage[PaymentRun, PaymentFile]):
    slug = "make-file"
    verb = services.make_file
    target = "run"
    button = "Make the file"
    lands_on_target = True

    def applies(self, target: PaymentRun) -> bool:
        waiting = target.items.filter(state=ItemState.WAITING).exists()
        return target.state == RunState.RELEASED and target.method == HowPaid.FILE and waiting

    def facts(self, target: PaymentRun) -> Facts:
        made = target.files.count()
        warning = f"{made_before(made)} The bank must get it once." if made else "This is the first time."
        return [*run_facts(target), ("Made before", warning)]

    def done(self, target: PaymentRun, result: PaymentFile) -> str:
        earlier = target.files.filter(pk__lt=result.pk).count()
        if not earlier:
            return f"The file of {target} is made. Download it below and give it to the bank."
        return f"The same file again. {made_before(earlier)} It has the same number; the bank must get it only once."


def made_before(times: int) -> str:
    return "It was made once before." if times == 1 else f"It was made {times} times before."


class PaidForm(VerbForm[PaymentRun]):
    items = Choice(PaymentItem.objects.none(), label="The bank paid")
    on = HappenedField(label="Paid on")

    def prepare(self) -> None:
        waiting = self.target.items.filter(state=ItemState.WAITING)
        rows = choose_from(self, "items", waiting.select_related("household", "claim", "expense"))
        self.fields["items"].initial = rows


class PaidPage(VerbPage[PaymentRun, PaymentRun]):
    slug = "paid"
    verb = services.record_paid
    target = "run"
    intro = "Each payment ticked is posted as paid. What the bank returns later is recorded payment by payment."
    button = "Record the payments"
    form_class = PaidForm

    def applies(self, target: PaymentRun) -> bool:
        return target.state == RunState.RELEASED and target.items.filter(state=ItemState.WAITING).exists()

    def facts(self, target: PaymentRun) -> Facts:
        return run_facts(target)

    def initial(self, request: HttpRequest, target: PaymentRun) -> dict[str, object]:
        days = [day for day in (target.pay_on, target.released_on) if day]
        return {"on": min(max(days), clock.today())}

    def done(self, target: PaymentRun, result: PaymentRun) -> str:
        paid = [item.amount for item in result.items.filter(state=ItemState.PAID)]
        count = "1 payment" if len(paid) == 1 else f"{len(paid)} payments"
        return f"{shown(total(paid))} of payment run {result.number} is paid, {count}."


class WithdrawPage(VerbPage[PaymentRun, PaymentRun]):
    slug = "withdraw"
    verb = services.withdraw_run
    target = "run"
    intro = "What it held can go into another run. If its file was made, make sure that the bank does not have it."
    button = "Withdraw the run"
    form_class = form_of(reason=reason_field())

    def applies(self, target: PaymentRun) -> bool:
        went_out = target.items.filter(state__in=(ItemState.PAID, ItemState.RETURNED)).exists()
        return target.state != RunState.WITHDRAWN and not went_out

    def facts(self, target: PaymentRun) -> Facts:
        return run_facts(target)

    def done(self, target: PaymentRun, result: PaymentRun) -> str:
        return f"{result} is withdrawn."


def _not_noted(item: PaymentItem) -> str:
    return item.give_back.pay_to if item.give_back else "no bank details noted"


def items_section(request: HttpRequest, run: PaymentRun) -> Section:
    full = may(request.user, "bank.see_bankdetails") and said_lately(request)
    rows = []
    items = list(run.items.select_related("details", *services.runs.OF_ITEMS))
    for item in items:
        where = (item.details.in_full if full else item.details.masked) if item.details else _not_noted(item)
        state = f"{item.get_state_display()}: {item.reason}" if item.reason else item.get_state_display()
        rows.append((link_to(item, str(item.payee)), item.what, where, state, item.amount))
    if full and any(item.details for item in items):
        hand_out(request, f"saw in full the bank details of payment run {run.number}", rows=len(items))
    note = "For a payment that the bank returned or did not make, or one to leave out, open it by its family."
    return Section("Payments", ["To", "For", "Account", "State", "Amount"], rows, note=note)


def files_section(request: HttpRequest, run: PaymentRun) -> Section | None:
    files = list(run.files.select_related("recorded_by"))
    if not files or run.state != RunState.RELEASED or not may(request.user, "bank.see_bankdetails"):
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
class PaymentRunAdmin(DocumentAdmin[PaymentRun]):
    list_display = ("number", "made_on", "in_all", "method", "standing", "pay_on", "released_by")
    list_display_links = ("number", "made_on")
    list_select_related = ("released_by",)
    list_filter = ("state", "method")
    search_fields = ("=number", "items__household__name")
    search_help_text = "A run’s number, or a family that it pays"
    date_hierarchy = "made_on"
    fields = (
        "number", "bank_account", "method", "made_on", "recorded_by", "pay_on", "state", "released_by",
        "released_on", "withdraw_reason",
    )  # fmt: skip
    readonly_fields = fields
    add_page = RunPage()
    pages = (ReleasePage(), FilePage(), PaidPage(), WithdrawPage())
    section_makers = (files_section, items_section)
    sections_first = True

    def get_queryset(self, request: HttpRequest) -> QuerySet[PaymentRun]:
        return super().get_queryset(request).prefetch_related("items")

    @admin.display(description="In all")
    def in_all(self, run: PaymentRun) -> str:
        return as_figure(total(item.amount for item in run.items.all() if item.state not in GIVEN_UP))

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
        if not may(request.user, "bank.see_bankdetails"):
            raise PermissionDenied
        ask_again(request)
        try:
            content = made_file(run)
        except Refused as refusal:
            messages.error(request, refusal.sentence)
            return HttpResponseRedirect(page_of(run))
        response = file_answer(
            request, content, kind="text/plain; charset=us-ascii", name=f"payment-run-{run.number}.aba",
            what=f"took the bank’s file of payment run {run.number}, with bank details in full", rows=run.items.count(),
        )  # fmt: skip
        response["Cache-Control"] = "private, no-store"
        return response
