"""What the workbook shows of the year's end: the budget beside what was, journals by hand, the equipment register."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from clubdesk.ledger.models import Account, FinancialYear, Journal, JournalOrigin, Kind, Posting
from clubdesk.ledger.selectors import BY_HAND, ZERO
from clubdesk.money import figure_of
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Formula, Heading, Look, Named, Proved, Sheet, Term, letters
from clubdesk.yearend.register import Register
from clubdesk.yearend.selectors import budget_by_month, months_of

MONTH, OTHER = Heading("", 10, "amount"), Heading("", 12, "amount")
BUDGET = Look(
    "Budget", (Heading("Code", 8), Heading("Account", 28, "name"), *[MONTH] * 12, *[OTHER] * 3), landscape=True
)
ADJUSTMENTS = Look(
    "Adjustments",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("Kind", 20),
        Heading("Narration", 54), Heading("Code", 8), Heading("Account", 28, "name"),
        Heading("Fund", 15, "name"), Heading("Debit", 14, "amount"), Heading("Credit", 14, "amount"),
        Heading("Undoes", 12),
    ),
    landscape=True,
)  # fmt: skip
REGISTER = ["", "Bought", "", "Equipment", "", "", "Cost", "Lost before", "Lost this year", "Worth"]


def write_budget(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    """What was planned by account and month, what was, and the difference; accounts without a plan too."""
    months, planned = months_of(year), budget_by_month(year)
    header = ["Code", "Account", *(f"{month:%b %y}" for month in months), "Year", "Actual", "Difference"]
    note = "Planned by month, and what was; what was not planned stands with 0.00. What is usual is above 0.00."
    sheet.top(beside.note(note), header)
    columns = letters(len(months) + 3)
    totals, sums = [], []
    for kind, title in ((Kind.INCOME, "Income"), (Kind.EXPENSE, "Expenditure")):
        sheet.heading(title)
        first = sheet.row + 1
        for account in Account.objects.filter(kind=kind, pk__in=beside.income):
            figures = [planned.get(account.pk, {}).get(month, ZERO) for month in months]
            sheet.line(_planned_and_actual(sheet.row + 1, account, figures, beside.income[account.pk]))
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    came, went = totals
    left = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    sheet.total(["", "Surplus (deficit)", *left])
    return Proved("The budget's actual figures come to the surplus", sheet.term(columns[-2]), beside.surplus)


def _planned_and_actual(row: int, account: Account, figures: list[Decimal], actual: Term) -> list[Any]:
    """An account's plan by month and as a whole, what it came to by Income and expenditure, and the gap."""
    *months, year, shown, _ = letters(len(figures) + 3)
    whole = sum(figures, ZERO)
    return [
        account.code, Named(account.name), *figures, Formula(f"=SUM({months[0]}{row}:{months[-1]}{row})", whole),
        actual.formula, Formula(f"={shown}{row}-{year}{row}", actual.value - whole),
    ]  # fmt: skip


def write_adjustments(sheet: Sheet, year: FinancialYear, beside: Beside) -> None:
    """Every journal written by hand, line by line, and the equipment register."""
    sheet.top(beside.note("Every journal written by hand or from a file, and its reversals."))
    sheet.stream(_by_hand(year))
    sheet.blank()
    sheet.header(REGISTER)
    first = sheet.row + 1
    register = Register.at(year.last_day, as_posted_on=year.last_day, known_at=year.closed_at)
    for thing in register.things:
        this_year = register.posted_between(thing, year.first_day, year.last_day)
        before = register.posted_until(thing, year.last_day) - this_year
        row, cost = sheet.row + 1, thing.cost.amount
        worth = Formula(f"=G{row}-H{row}-I{row}", cost - before - this_year)
        sheet.line([None, thing.bought_on, None, thing.name, None, None, cost, before, this_year, worth])
    sheet.total(["", "", "", "Total", "", "", *sheet.sums(first, "GHIJ")])


def _by_hand(year: FinancialYear) -> Iterator[tuple[Any, ...]]:
    origins = dict(Journal.objects.values_list("pk", "origin"))
    rows = Posting.objects.filter(BY_HAND, entry__year=year, entry__is_closing=False)
    values = rows.order_by("entry__number", "pk").values_list(
        "entry__number", "entry__date", "entry__source_id", "entry__reverses__source_id", "entry__narration",
        "account__code", "account__name", "fund__name", figure_of("amount"), "entry__reverses__number",
    )  # fmt: skip
    for number, on, own, undone, narration, code, name, fund, amount, reverses in values.iterator(chunk_size=2000):
        origin = JournalOrigin(origins.get(undone or own, JournalOrigin.HAND)).label
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        undoes = f"entry {reverses}" if reverses else None
        yield number, on, origin, narration, code, name, fund, debit, credit, undoes


SHEETS = (
    SheetOf(BUDGET, write_budget, tab=80),
    SheetOf(ADJUSTMENTS, write_adjustments, tab=90, goes_on=True),
)
