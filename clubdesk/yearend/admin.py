"""Screens of the year's end: adjustments, equipment, budget, last year's figures, and the close."""

from datetime import date, timedelta

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.fees.accounts import AGES, aged_balances
from clubdesk.ledger.models import FinancialYear, Fund, FundRole, Journal, Role
from clubdesk.ledger.selectors import ZERO, balance, held_in, is_registered
from clubdesk.money import as_amount, half_up, shown, total
from clubdesk.rooms import Done
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import Section, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, Result, VerbPage
from clubdesk.yearend import checklist, forms, found, register, selectors, services
from clubdesk.yearend.models import Disposal, Equipment, FoundTax, GstReturn
from clubdesk.yearend.register import Register


class AdjustmentPage(VerbPage[None, Journal]):
    """A page beside the list of journals that writes one kind of adjustment."""

    button = "Post the adjustment"

    def facts(self, target: None) -> Facts:
        """What the book says now; nothing where it has no account for it yet."""
        try:
            return self.stands_now()
        except Refused:
            return ()

    def stands_now(self) -> Facts:
        return ()

    def done(self, target: None, result: Journal) -> str:
        later = f" It is undone on {long_day(result.reverse_on)}." if result.reverse_on else ""
        return f"Posted: {result}.{later}"


class AccrualPage(AdjustmentPage):
    slug = "accrual"
    verb = services.accrue
    intro = "For something the club had already: it counts in this period, and is undone when the bill is expected."
    form_class = forms.UndoneForm


class PrepaymentPage(AdjustmentPage):
    slug = "prepayment"
    verb = services.prepay
    intro = "For something still to come, such as insurance of next year: it leaves this period and comes back later."
    form_class = forms.UndoneForm


class StockPage(AdjustmentPage):
    slug = "stock"
    verb = services.count_stock
    intro = "What lies in the store is worth something still. The difference to what the book says is posted."
    form_class = forms.StockForm

    def stands_now(self) -> Facts:
        today = clock.today()
        return [
            (f"In the book now, {fund}", as_amount(held_in(Role.STOCK, fund, today)))
            for fund in Fund.objects.filter(restricted=False)
        ]


class AllowancePage(AdjustmentPage):
    slug = "provision"
    verb = services.provide
    intro = (
        "An allowance for debts that are doubtful. A debt that is given up is written off on the page of its charge."
    )
    form_class = forms.AllowanceForm

    def stands_now(self) -> Facts:
        families = aged_balances(clock.today())
        owed = [
            (f"Owed, {name}", as_amount(sum((family.ages[name] for family in families), ZERO)))
            for _, name in (AGES if families else ())
        ]
        credit = sum((family.unused for family in families), ZERO)
        allowed = as_amount(-balance(Role.ALLOWANCE, clock.today()))
        return [("Allowed for now", allowed), *owed, ("Families in credit, not taken off above", as_amount(credit))]


class DepreciationPage(AdjustmentPage):
    slug = "depreciation"
    verb = services.depreciate
    intro = (
        "Every thing of the register loses an equal part a month; what it has not lost yet is posted in one journal."
    )
    form_class = forms.DepreciationForm

    def stands_now(self) -> Facts:
        today = clock.today()
        known = Register.at(today)
        lost = sum((known.posted_until(thing, date.max) for thing in known.things), ZERO)
        return [
            ("Things in the register", len(known.things)),
            ("Their cost", total(thing.cost for thing in known.things)),
            ("Equipment at cost by the ledger", as_amount(balance(Role.EQUIPMENT, today))),
            ("Lost in worth so far", as_amount(lost)),
            ("Accumulated depreciation by the ledger", as_amount(-balance(Role.DEPRECIATED, today))),
        ]


class EquipmentPage(VerbPage[None, Equipment]):
    verb = services.add_equipment
    intro = "What bought it stands in the ledger already, on Equipment at cost; here it gets its years."
    form_class = forms.EquipmentForm


class DisposePage(VerbPage[Equipment, Disposal]):
    slug = "dispose"
    verb = services.dispose
    target = "equipment"
    intro = "What it was still worth in the book, less the money that came for it, becomes a loss or a gain."
    button = "Record the disposal"
    form_class = forms.DisposeForm
    lands_on_target = True

    def applies(self, target: Equipment) -> bool:
        return target.withdrawn_on is None and register.disposal_of(target) is None

    def facts(self, target: Equipment) -> Facts:
        worth = target.cost - register.depreciated(target)
        return [("It cost", target.cost), ("Worth in the book now", worth)]


class WithdrawPage(VerbPage[Equipment, Equipment]):
    slug = "withdraw"
    verb = services.withdraw_equipment
    target = "equipment"
    intro = "It leaves the register as if it had never been there; nothing is posted. Then put in what is right."
    button = "Remove it"
    form_class = forms.WithdrawForm

    def applies(self, target: Equipment) -> bool:
        return not (target.withdrawn_on or target.disposals.exists() or target.depreciation.exists())


def depreciation_section(request: HttpRequest, thing: Equipment) -> Section:
    lines = register.stands(thing.depreciation.select_related("journal"))
    rows = [(line.until, link_to(line.journal), line.amount) for line in lines]
    gone = register.disposal_of(thing)
    worth = f"Worth {shown(thing.cost - register.depreciated(thing))} in the book."
    return Section("Depreciation", ["Up to", "Journal", "Amount"], rows, note="" if gone else worth)


def disposal_section(request: HttpRequest, thing: Equipment) -> Section | None:
    standing = register.disposal_of(thing)
    rows = [
        (each.gone_on, each.reason, each.proceeds, -register.loss_of(each), link_to(each.journal),
         "" if each == standing else "reversed: the club has it again")
        for each in thing.disposals.select_related("journal")
    ]  # fmt: skip
    columns = ["On", "What became of it", "Received", "Gain (loss)", "Journal", "Now"]
    return Section("Gone", columns, rows) if rows else None


@admin.register(Equipment)
class EquipmentAdmin(DocumentAdmin[Equipment]):
    list_display = ("name", "bought_on", "cost_shown", "worth", "gone_on", "withdrawn_on")
    search_fields = ("name",)
    search_help_text = "What it is, or what it cost"
    also_finds = (amount_in("cost"),)
    fields = (
        "name", "bought_on", "cost_shown", "residual_shown", "years", "fund", "brought_in_shown", "withdrawn_on",
        "withdraw_reason", "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    add_page = EquipmentPage()
    pages = (DisposePage(), WithdrawPage())
    section_makers = (depreciation_section, disposal_section)
    cost_shown = amount_column("cost", "Cost")
    residual_shown = amount_column("residual", "Worth at the end")
    brought_in_shown = amount_column("brought_in", "Depreciated before this book")

    def get_queryset(self, request: HttpRequest) -> QuerySet[Equipment]:
        return register.with_worth_and_gone(super().get_queryset(request))

    @admin.display(description="Worth in the book")
    def worth(self, thing: register.WithWorth) -> str:
        return "–" if thing.gone_on or thing.withdrawn_on else shown(as_amount(half_up(thing.worth)))

    @admin.display(description="Gone on")
    def gone_on(self, thing: register.WithWorth) -> date | None:
        return thing.gone_on


class GstPage(VerbPage[None, GstReturn]):
    verb = services.post_gst
    intro = (
        "What was collected in these days less the credits is owed to the tax office, on the club’s basis, with what"
        " of before is in no return yet. Whether it is what the return asks for is for a registered tax agent to say."
    )
    button = "Post it"
    form_class = forms.GstForm

    def allowed(self, request: HttpRequest) -> bool:
        return is_registered() and super().allowed(request)


class FoundPage(VerbPage[None, FoundTax]):
    slug = "found"
    verb = services.post_found_tax
    intro = (
        "Fees charged before the club registered here, and what was written by hand on an account with GST: the tax in"
        " them leaves income and expenses now."
    )
    button = "Post it"
    form_class = forms.FoundForm

    def allowed(self, request: HttpRequest) -> bool:
        return is_registered() and super().allowed(request)

    def facts(self, target: None) -> Facts:
        there = found.find(clock.today())
        fees_found = f"{len(there.charges)} fees and {len(there.lines())} lines of other entries"
        return [("Found", fees_found), ("GST in sales", there.collected), ("GST in bills", there.credits)]

    def done(self, target: None, result: FoundTax) -> str:
        return f"Posted: {shown(result.collected)} of GST in sales and {shown(result.credits)} in bills."

    def destination(self, target: None, result: FoundTax) -> str:
        return reverse("admin:gst_figures")


@admin.register(GstReturn)
class GstReturnAdmin(DocumentAdmin[GstReturn]):
    """Only where the club is registered; otherwise nobody sees that there is such a thing."""

    list_display = ("__str__", "basis", "collected_shown", "credits_shown", "payable_shown", "journal")
    list_select_related = ("journal",)
    fields = (
        "first_day", "last_day", "basis", "collected_shown", "credits_shown", "payable_shown", "journal", "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    add_page = GstPage()
    list_pages = (FoundPage(),)
    collected_shown = amount_column("collected", "GST in sales")
    credits_shown = amount_column("credits", "GST in bills")
    payable_shown = amount_column("payable", "Payable", sorts=False)

    def has_module_permission(self, request: HttpRequest) -> bool:
        return is_registered() and super().has_module_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: GstReturn | None = None) -> bool:
        return is_registered() and super().has_view_permission(request, obj)


class YearPage(VerbPage[FinancialYear, Result]):
    """A page of a financial year that leads back to it."""

    target = "year"
    lands_on_target = True


class OpenYearPage(YearPage[Result]):
    """One of a year that is not closed."""

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed


class BudgetPage(OpenYearPage[None]):
    slug = "budget"
    verb = services.set_budget
    intro = "What is planned for the year, income and expense alike above zero. It replaces what was planned before."
    form_class = forms.BudgetForm

    def initial(self, request: HttpRequest, target: FinancialYear) -> dict[str, object]:
        asked = request.GET.get("account", "")
        if not (asked.isascii() and asked.isdigit() and len(asked) < 10):
            return {}
        planned = selectors.budget_by_month(target).get(int(asked), {})
        return {
            "account": asked,
            "seen": forms.seen_plan(int(asked), {month: as_amount(figure) for month, figure in planned.items()}),
            **{forms.month_field(month): figure for month, figure in planned.items()},
        }

    def arguments(self, target: FinancialYear, cleaned: dict[str, object]) -> dict[str, object]:
        return {"year": target, "account": cleaned["account"], "months": cleaned["months"]}

    def done(self, target: FinancialYear, result: None) -> str:
        return "The budget is saved."

    def destination(self, target: FinancialYear, result: None) -> str:
        return reverse("admin:budget", args=[target.last_day.year])


class CopyBudgetPage(OpenYearPage[services.CopiedBudget]):
    slug = "budget-copy"
    verb = services.copy_budget
    intro = "Each account month by month as last year really was, at so many percent. It replaces the whole budget."
    form_class = forms.CopyBudgetForm
    asks_only = ("replace",)

    def initial(self, request: HttpRequest, target: FinancialYear) -> dict[str, object]:
        return {}

    def done(self, target: FinancialYear, result: services.CopiedBudget) -> str:
        left_out = ", ".join(map(str, result.below_nil))
        more = f" Not planned, since last year they came to less than zero: {left_out}." if left_out else ""
        return f"{result.planned} accounts are planned as last year was.{more}"

    def destination(self, target: FinancialYear, result: services.CopiedBudget) -> str:
        return reverse("admin:budget", args=[target.last_day.year])


class ComparativesPage(YearPage[int]):
    slug = "last-year"
    verb = services.set_comparatives
    target = ""
    intro = (
        "For a club that begins here: what its statements of the year before printed, so that they stand beside."
        " Income, expense, assets and liabilities as printed, above zero; what has the other sign gets a minus."
    )
    form_class = forms.ComparativesForm

    def applies(self, target: FinancialYear) -> bool:
        return not FinancialYear.objects.filter(last_day__lt=target.first_day).exists()

    def initial(self, request: HttpRequest, target: FinancialYear) -> dict[str, object]:
        fund = request.GET.get("fund", FundRole.GENERAL.value)
        rows = selectors.comparatives(target.first_day - timedelta(days=1))
        return {"fund": fund, **{f"account_{row.account_id}": row.amount for row in rows if row.fund_id == fund}}

    def arguments(self, target: FinancialYear, cleaned: dict[str, object]) -> dict[str, object]:
        return {**super().arguments(target, cleaned), "year_end": target.first_day - timedelta(days=1)}

    def done(self, target: FinancialYear, result: int) -> str:
        return "Last year’s figures stand beside this year’s now."


class OverPage(YearPage[Result]):
    """One of a year that is over and not closed."""

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed and checklist.is_over(target, clock.today())


class RecognisePage(OverPage[Done]):
    slug = "recognise"
    verb = services.recognise_started
    intro = "The night does this by itself; here it is done at once, up to the year’s last day."
    button = "Do it now"

    def done(self, target: FinancialYear, result: Done) -> str:
        return "What had started is income."


class ChecklistLink(LinkPage[FinancialYear]):
    slug = "checklist"
    title = "What is left before the close"
    permission = "ledger.view_financialyear"

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed

    def url(self, target: FinancialYear) -> str:
        return reverse("admin:closing", args=[target.last_day.year])


class ClosePage(OverPage[FinancialYear]):
    slug = "close"
    verb = services.close_books
    intro = (
        "Income and expense of each fund go to Accumulated funds and every month is locked. A closed year is never"
        " opened again. Have the books checked first, by your auditor where the club’s rules or the law ask for one."
    )
    button = "Close the year for good"
    form_class = forms.CloseForm
    asks_only = ("sure",)
    decides_by_facts = False  # the verb asks the checklist itself, which is long

    def not_now(self, target: FinancialYear) -> str:
        if target.is_closed:
            return "it is closed already."
        return f"it is not over yet; it can be closed from {long_day(target.last_day + timedelta(days=1))}."

    def facts(self, target: FinancialYear) -> Facts:
        open_items = [item for item in checklist.of_year(target) if not item.done]
        return [("Not passed", f"{item.title}: {item.said}") for item in open_items]

    def done(self, target: FinancialYear, result: FinancialYear) -> str:
        return f"{result} is closed."
