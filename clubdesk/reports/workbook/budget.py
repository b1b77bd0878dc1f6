"""What was planned by account and month, what was, and the difference; accounts without a plan too."""

from decimal import Decimal
from typing import Any

from clubdesk.ledger.models import Account, Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import IncomeAt
from clubdesk.sheets import Formula, Heading, Look, Named, Proved, Sheet, Term, letters
from clubdesk.yearend import selectors as yearend

MONTH, OTHER = Heading("", 10, "amount"), Heading("", 12, "amount")
LOOK = Look("Budget", (Heading("Code", 8), Heading("Account", 28, "name"), *[MONTH] * 12, *[OTHER] * 3), landscape=True)


def write(context: Context, sheet: Sheet, income: IncomeAt) -> Proved:
    now, months = context.figures, yearend.months_of(context.year)
    header = ["Code", "Account", *(f"{month:%b %y}" for month in months), "Year", "Actual", "Difference"]
    note = "Planned by month, and what was; what was not planned stands with nil. What is usual is above nil."
    sheet.top(context.note(note), header)
    planned = yearend.budget_by_month(context.year)
    columns = letters(len(months) + 3)
    totals, sums = [], []
    for kind, title, sign in ((Kind.INCOME, "Income", -1), (Kind.EXPENSE, "Expenditure", 1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in (each for each in now.of_kind(kind) if each.pk in planned or each.pk in income.accounts):
            figures = [planned.get(account.pk, {}).get(month, ZERO) for month in months]
            actual = sign * now.moved(account) + ZERO
            sheet.line(_line(sheet.row + 1, account, figures, actual, income.accounts.get(account.pk)))
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    came, went = totals
    left = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    sheet.total(["", "Surplus (deficit)", *left])
    return Proved("The budget's actual figures come to the surplus", sheet.term(columns[-2]), income.surplus)


def _line(row: int, account: Account, figures: list[Decimal], actual: Decimal, place: Term | None) -> list[Any]:
    """An account's plan by month and as a whole, what it came to, from its `place` among the income, and the gap."""
    *months, year, shown, _ = letters(len(figures) + 3)
    whole = sum(figures, ZERO)
    return [
        account.code, Named(account.name), *figures, Formula(f"=SUM({months[0]}{row}:{months[-1]}{row})", whole),
        place.formula if place else actual, Formula(f"={shown}{row}-{year}{row}", actual - whole),
    ]  # fmt: skip
