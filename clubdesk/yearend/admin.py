"""Screens of the year's end: adjustments, equipment, budget, last year's figures, and the close."""

from datetime import date, timedelta
from typing import Any

from django.contrib import admin
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.fees.accounts import AGES, aged_balances
from clubdesk.fees.services import recognise_due
from clubdesk.ledger.admin import FinancialYearAdmin, JournalAdmin
from clubdesk.ledger.models import FinancialYear, Fund, FundRole, Journal, Role
from clubdesk.ledger.selectors import ZERO, balance
from clubdesk.money import as_amount, half_up, shown, total
from clubdesk.screens import (
    DocumentAdmin,
    Section,
    VerbPage,
    amount_column,
    link_to,
    page_of,
)
from clubdesk.yearend import checklist, forms, gst, register, selectors, services
from clubdesk.yearend.models import Disposal, Equipment, GstReturn
from clubdesk.yearend.register import Register


class AdjustmentPage(VerbPage):
    """A page beside the list of journals that writes one kind of adjustment."""

    permission = "ledger.add_journal"
    button = "Post the adjustment"

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Journal:
        return self.verb(by=by, **cleaned)

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        """What the book says now; nothing where it has no account for it yet."""
        try:
            return self.stands_now()
        except Refused:
            return []

    def stands_now(self) -> list[tuple[str, Any]]:
        return []

    @staticmethod
    def verb(**cleaned: Any) -> Journal:
        raise NotImplementedError

    def done(self, result: Journal) -> str:
        later = f" It is undone on {long_day(result.reverse_on)}." if result.reverse_on else ""
        return f"Posted: {result}.{later}"


class AccrualPage(AdjustmentPage):
    slug = "accrual"
    title = "A bill that has not come yet"
    intro = "For something the club had already: it counts in this period, and is undone when the bill is expected."
    form_class = forms.UndoneForm
    verb = staticmethod(services.accrue)


class PrepaymentPage(AdjustmentPage):
    slug = "prepayment"
    title = "A bill paid ahead"
    intro = "For something still to come, such as insurance of next year: it leaves this period and comes back later."
    form_class = forms.UndoneForm
    verb = staticmethod(services.prepay)


class StockPage(AdjustmentPage):
    slug = "stock"
    title = "Stock of course materials"
    intro = "What lies in the store is worth something still. The difference to what the book says is posted."
    form_class = forms.StockForm
    verb = staticmethod(services.count_stock)

    def stands_now(self) -> list[tuple[str, Any]]:
        today = clock.today()
        return [
            (f"In the book now, {fund}", as_amount(selectors.held_in(Role.STOCK, fund, today)))
            for fund in Fund.objects.filter(restricted=False)
        ]


class AllowancePage(AdjustmentPage):
    slug = "provision"
    title = "Fees not expected to be paid"
    intro = (
        "An allowance for debts that are doubtful. A debt that is given up is written off on the page of its charge."
    )
    form_class = forms.AllowanceForm
    verb = staticmethod(services.provide)

    def stands_now(self) -> list[tuple[str, Any]]:
        families = aged_balances(clock.today())
        ages = zip(*(family.ages for family in families), strict=True)
        owed = [(f"Owed, {name}", as_amount(sum(age))) for (_, name), age in zip(AGES, ages, strict=False)]
        credit = sum((family.unused for family in families), ZERO)
        allowed = as_amount(-balance(Role.ALLOWANCE, clock.today()))
        return [("Allowed for now", allowed), *owed, ("Families in credit, not taken off above", as_amount(credit))]


class DepreciationPage(AdjustmentPage):
    slug = "depreciation"
    title = "Depreciate the equipment"
    intro = (
        "Every thing of the register loses an equal part a month; what it has not lost yet is posted in one journal."
    )
    form_class = forms.DepreciationForm
    verb = staticmethod(services.depreciate)

    def stands_now(self) -> list[tuple[str, Any]]:
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


JournalAdmin.list_pages += [AccrualPage(), PrepaymentPage(), StockPage(), AllowancePage(), DepreciationPage()]


class EquipmentPage(VerbPage):
    title = "Put equipment in the register"
    intro = "What bought it stands in the ledger already, on Equipment at cost; here it gets its years."
    permission = "yearend.add_equipment"
    form_class = forms.EquipmentForm

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Equipment:
        return services.add_equipment(by=by, **cleaned)


class DisposePage(VerbPage):
    slug = "dispose"
    title = "It is gone"
    intro = "What it was still worth in the book, less the money that came for it, becomes a loss or a gain."
    button = "Take it out"
    permission = "yearend.add_equipment"
    form_class = forms.DisposeForm

    def applies(self, target: Equipment) -> bool:
        return target.withdrawn_on is None and register.disposal_of(target) is None

    def facts(self, target: Equipment) -> list[tuple[str, Any]]:
        worth = target.cost - register.depreciated(target)
        return [("It cost", target.cost), ("Worth in the book now", worth)]

    def perform(self, *, target: Equipment, by: Any, **cleaned: Any) -> Disposal:
        return services.dispose(equipment=target, by=by, **cleaned)

    def destination(self, result: Disposal) -> str:
        return page_of(result.equipment)


class WithdrawPage(VerbPage):
    slug = "withdraw"
    title = "It was typed wrongly"
    intro = "It leaves the register as if it had never been there; nothing is posted. Then put in what is right."
    button = "Take it out"
    permission = "yearend.add_equipment"
    form_class = forms.WithdrawForm

    def applies(self, target: Equipment) -> bool:
        return not (target.withdrawn_on or target.disposals.exists() or target.depreciation.exists())

    def perform(self, *, target: Equipment, by: Any, reason: str, key: Any) -> Equipment:
        return services.withdraw_equipment(equipment=target, on=clock.today(), reason=reason, by=by)


def depreciation_section(request: HttpRequest, thing: Equipment) -> Section:
    lines = register.stands(thing.depreciation.select_related("journal"))
    rows = [(line.until, link_to(line.journal), line.amount) for line in lines]
    gone = register.disposal_of(thing)
    worth = f"Worth {shown(thing.cost - register.depreciated(thing))} in the book."
    return Section("Depreciation", ["Up to", "Journal", "Amount"], rows, note="" if gone else worth)


def disposal_section(request: HttpRequest, thing: Equipment) -> Section | None:
    rows = []
    standing = register.disposal_of(thing)
    for each in thing.disposals.select_related("journal"):
        taken_back = "" if each == standing else "reversed: the club has it again"
        rows.append(
            (each.gone_on, each.reason, each.proceeds, -register.loss_of(each), link_to(each.journal), taken_back)
        )
    columns = ["On", "What became of it", "Received", "Gain (loss)", "Journal", "Now"]
    return Section("Gone", columns, rows) if rows else None


@admin.register(Equipment)
class EquipmentAdmin(DocumentAdmin):
    list_display = ["name", "bought_on", "cost_shown", "worth", "gone_on", "withdrawn_on"]
    search_fields = ["name"]
    fields = [
        "name", "bought_on", "cost_shown", "residual_shown", "years", "fund", "brought_in_shown", "withdrawn_on",
        "withdraw_reason", "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    add_page = EquipmentPage()
    pages = [DisposePage(), WithdrawPage()]
    section_makers = [depreciation_section, disposal_section]
    cost_shown = amount_column("cost", "Cost")
    residual_shown = amount_column("residual", "Worth at the end")
    brought_in_shown = amount_column("brought_in", "Depreciated before this book")

    def get_queryset(self, request: HttpRequest) -> Any:
        return register.with_worth_and_gone(super().get_queryset(request))

    @admin.display(description="Worth in the book")
    def worth(self, thing: Any) -> str:
        return "–" if thing.gone_on or thing.withdrawn_on else shown(as_amount(half_up(thing.worth)))

    @admin.display(description="Gone on")
    def gone_on(self, thing: Any) -> Any:
        return thing.gone_on


class GstPage(VerbPage):
    title = "Post the GST of a period"
    intro = (
        "The GST in sales and bills of these days leaves income and expenses and is owed to the tax office. Look at the"
        " figures first; whether they are what the return asks for is for the law and a registered tax agent to say."
    )
    button = "Post it"
    permission = "yearend.add_gstreturn"
    form_class = forms.GstForm

    def allowed(self, request: HttpRequest) -> bool:
        return gst.is_registered() and super().allowed(request)

    def perform(self, *, target: Any, by: Any, since: date, until: date, key: Any) -> GstReturn:
        return services.post_gst(first=since, last=until, by=by, key=key)


@admin.register(GstReturn)
class GstReturnAdmin(DocumentAdmin):
    """Only where the club is registered; otherwise nobody sees that there is such a thing."""

    list_display = ["__str__", "collected_shown", "credits_shown", "payable_shown", "journal"]
    list_select_related = ["journal"]
    fields = ["first_day", "last_day", "collected_shown", "credits_shown", "payable_shown", "journal", "recorded_by"]
    readonly_fields = fields
    add_page = GstPage()
    collected_shown = amount_column("collected", "GST in sales")
    credits_shown = amount_column("credits", "GST in bills")
    payable_shown = amount_column("payable", "Payable", sorts=False)

    def has_module_permission(self, request: HttpRequest) -> bool:
        return gst.is_registered() and super().has_module_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return gst.is_registered() and super().has_view_permission(request, obj)


class YearPage(VerbPage):
    """A page of a financial year that leads back to it."""

    def destination(self, result: FinancialYear) -> str:
        return page_of(result)


class BudgetPage(YearPage):
    slug = "budget"
    title = "Plan an account"
    intro = "What is planned for the year, income and expense alike above nil. It replaces what was planned before."
    permission = "yearend.add_budgetmonth"
    form_class = forms.BudgetForm

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed

    def initial(self, request: HttpRequest, target: FinancialYear) -> dict[str, Any]:
        asked = request.GET.get("account", "")
        if not (asked.isascii() and asked.isdigit() and len(asked) < 10):
            return {}
        planned = selectors.budget_by_month(target).get(int(asked), {})
        return {
            "account": asked,
            "seen": forms.seen_plan(int(asked), {month: as_amount(figure) for month, figure in planned.items()}),
            **{f"month_{month:%Y_%m}": figure for month, figure in planned.items()},
        }

    def perform(self, *, target: FinancialYear, by: Any, account: Any, months: Any, key: Any) -> FinancialYear:
        services.set_budget(year=target, account=account, months=months, by=by)
        return target

    def done(self, result: FinancialYear) -> str:
        return "The budget is kept."

    def destination(self, result: FinancialYear) -> str:
        return reverse("admin:budget", args=[result.last_day.year])


class CopyBudgetPage(BudgetPage):
    slug = "budget-copy"
    title = "Copy the budget from last year"
    intro = "Each account month by month as last year really was, at so many percent. It replaces the whole budget."
    form_class = forms.CopyBudgetForm

    def initial(self, request: HttpRequest, target: FinancialYear) -> dict[str, Any]:
        return {}

    def perform(self, *, target: FinancialYear, by: Any, percent: Any, key: Any) -> tuple[FinancialYear, Any]:
        return target, services.copy_budget(year=target, percent=percent, by=by)

    def done(self, result: Any) -> str:
        _, copied = result
        left_out = ", ".join(map(str, copied.below_nil))
        more = f" Not planned, since last year they came to less than nil: {left_out}." if left_out else ""
        return f"{copied.planned} accounts are planned as last year was.{more}"

    def destination(self, result: Any) -> str:
        return super().destination(result[0])


class ComparativesPage(YearPage):
    slug = "last-year"
    title = "Type last year’s figures"
    intro = (
        "For a club that begins here: what its statements of the year before printed, so that they stand beside."
        " Income, expense, assets and liabilities as printed, above nil; what has the other sign gets a minus."
    )
    permission = "yearend.add_comparative"
    form_class = forms.ComparativesForm

    def applies(self, target: FinancialYear) -> bool:
        return not FinancialYear.objects.filter(last_day__lt=target.first_day).exists()

    def initial(self, request: HttpRequest, target: FinancialYear) -> dict[str, Any]:
        fund = request.GET.get("fund", FundRole.GENERAL.value)
        rows = selectors.comparatives(target.first_day - timedelta(days=1))
        return {"fund": fund, **{f"account_{row.account_id}": row.amount for row in rows if row.fund_id == fund}}

    def perform(self, *, target: FinancialYear, by: Any, fund: Any, figures: Any, key: Any) -> FinancialYear:
        last_day = target.first_day - timedelta(days=1)
        services.set_comparatives(year_end=last_day, fund=fund, figures=figures, by=by)
        return target

    def done(self, result: FinancialYear) -> str:
        return "Last year’s figures stand beside this year’s now."


class RecognisePage(YearPage):
    slug = "recognise"
    title = "Let what has started become income"
    intro = "The night does this by itself; here it is done at once, up to the year’s last day."
    button = "Do it now"
    permission = "ledger.close_year"

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed and checklist.is_over(target, clock.today())

    def perform(self, *, target: FinancialYear, by: Any, key: Any) -> FinancialYear:
        recognise_due(on=target.last_day, by=by)
        return target

    def done(self, result: FinancialYear) -> str:
        return "What had started is income."


class ChecklistStep(VerbPage):
    slug = "checklist"
    routed = False
    title = "What is left before the close"
    permission = "ledger.view_financialyear"

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed

    def url(self, target: Any) -> str:
        return reverse("admin:closing", args=[target.last_day.year])


class ClosePage(YearPage):
    slug = "close"
    title = "Close this year"
    intro = (
        "Income and expense of each fund go to Accumulated funds and every month is locked. A closed year is never"
        " opened again. Have the books checked first, by your auditor where the club’s rules or the law ask for one."
    )
    button = "Close the year for good"
    permission = "ledger.close_year"
    form_class = forms.CloseForm

    def applies(self, target: FinancialYear) -> bool:
        return not target.is_closed and checklist.is_over(target, clock.today())

    def not_now(self, target: FinancialYear) -> str:
        if target.is_closed:
            return "it is closed already."
        return f"it is not over yet; it can be closed from {long_day(target.last_day + timedelta(days=1))}."

    def facts(self, target: FinancialYear) -> list[tuple[str, Any]]:
        open_items = [item for item in checklist.of_year(target) if not item.done]
        return [("Not passed", f"{item.title}: {item.said}") for item in open_items]

    def perform(self, *, target: FinancialYear, by: Any, sure: bool, key: Any) -> FinancialYear:
        return services.close_books(year=target, by=by, on=clock.today())

    def done(self, result: FinancialYear) -> str:
        return f"{result} is closed."


FinancialYearAdmin.pages += [
    ChecklistStep(), BudgetPage(), CopyBudgetPage(), ComparativesPage(), RecognisePage(), ClosePage(),
]  # fmt: skip
