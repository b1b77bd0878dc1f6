"""What money was for, and what moved besides money, row by row: the rows that the statements' figures add up.

Each row says what it follows from, an entry or a receipt that came to pay a fee; such a receipt has two, since what a
family had paid ahead is less by what the fee's line is more.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from clubdesk.clock import day_before
from clubdesk.ledger.models import Account, Fund
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import decimal_of
from clubdesk.reports.statements import line_name
from clubdesk.reports.tracing import BETWEEN, CASH, HAND, Against, Chart, moves
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Heading, Look, Rows, Sheet, Term

SOURCE = (
    Heading("Date", 13, "date"), Heading("Entry", 8, "number"), Heading("Receipt", 9, "number"),
    Heading("What happened", 62), Heading("Code", 8), Heading("For", 36, "name"),
)  # fmt: skip
MONEY = Look(
    "Money by line", (*SOURCE, Heading("Fund", 15, "name"), Heading("In, or out (−)", 17, "amount")), landscape=True
)
OTHER = Look(
    "Bridge by line",
    (
        *SOURCE, Heading("Moved in", 10), Heading("Account", 30, "name"), Heading("Fund", 15, "name"),
        Heading("Debit, or credit (−)", 15, "amount"),
    ),
    landscape=True,
)  # fmt: skip
BETWEEN_LINES = "between"
SHIFTED = "A receipt that comes to pay a fee takes from what families paid ahead and gives to the fee’s line: two rows."


@dataclass(frozen=True)
class MoneyAt:
    """The rows of money, and what they come to in cents for each fund and line."""

    rows: Rows
    sums: Mapping[tuple[str, int], int]

    @property
    def whole(self) -> Term:
        """All money that came in, less what went out."""
        return Term(f"SUM({self.rows.column('H')})", decimal_of(sum(self.sums.values())))

    def of(self, line: Account, code_cell: str) -> Term:
        """Money for the line, whose code stands in a cell."""
        whole = sum(cents for (_, found), cents in self.sums.items() if found == line.pk)
        return Term(self._sum(code_cell), decimal_of(whole))

    def in_fund(self, line: Account, code_cell: str, fund: Fund, which: str) -> Term:
        """The same of one fund; `which` is what a formula compares with the fund's name."""
        return Term(self._sum(code_cell, which), decimal_of(self.sums.get((fund.pk, line.pk), 0)))

    def _sum(self, code_cell: str, which: str = "") -> str:
        parts = [self.rows.column("H"), self.rows.column("E"), code_cell]
        return f"SUMIFS({','.join([*parts, self.rows.column('G'), which] if which else parts)})"


@dataclass(frozen=True)
class OtherAt:
    """The rows of what moved besides money, and what they come to in cents for each line and what moved."""

    rows: Rows
    sums: Mapping[tuple[int, Against], int]

    def of(self, line: Account, code_cell: str, account: Account) -> Term:
        """What moved in an account of the balance sheet for the line, whose code stands in a cell; debit positive."""
        return self._term(line, code_cell, account.pk, account.code)

    def between(self, line: Account, code_cell: str) -> Term:
        """What was moved to the line from others."""
        return self._term(line, code_cell, BETWEEN, BETWEEN_LINES)

    def _term(self, line: Account, code_cell: str, against: Against, code: str) -> Term:
        column = self.rows.column
        text = f'SUMIFS({column("J")},{column("E")},{code_cell},{column("G")},"{code}")'
        return Term(text, decimal_of(self.sums.get((line.pk, against), 0)))


def write_money(context: Context, sheet: Sheet) -> MoneyAt:
    first = sheet.top(context.note(f"What each sum of money was for. {SHIFTED}")) + 1
    sums = defaultdict[tuple[str, int], int](int)
    sheet.stream(_money(context, sums))
    return MoneyAt(sheet.rows(first), sums)


def write_other(context: Context, sheet: Sheet) -> OtherAt:
    first = sheet.top(context.note(f"What is owed, owned or paid ahead, by what it was for. {SHIFTED}")) + 1
    sums = defaultdict[tuple[int, Against], int](int)
    sheet.stream(_other(context, sums))
    return OtherAt(sheet.rows(first), sums)


def _money(context: Context, sums: dict[tuple[str, int], int]) -> Iterator[tuple[Any, ...]]:
    for source, (fund, line, against), code, name, fund_name, cents, amount in _moves(context):
        if against == CASH:
            sums[fund, line] += cents
            yield *source, code, name, fund_name, amount


def _other(context: Context, sums: dict[tuple[int, Against], int]) -> Iterator[tuple[Any, ...]]:
    moved: dict[Against, tuple[str, str | None]] = {BETWEEN: (BETWEEN_LINES, None)}
    moved.update((account.pk, (account.code, account.name)) for account in context.figures.accounts)
    for source, (_, line, against), code, name, fund_name, cents, amount in _moves(context):
        if against not in (CASH, HAND):
            sums[line, against] += cents
            yield *source, code, name, *moved[against], fund_name, amount


def _moves(context: Context) -> Iterator[tuple[Any, ...]]:
    """Every move of the year: what it follows from, what moved, the line's code and name, the fund, and the amount."""
    now = context.figures
    lines = {account.pk: (account.code, line_name(account, now)) for account in now.accounts}
    funds = {fund.pk: fund.name for fund in now.funds}
    for day, key, cents, source in moves(day_before(now.first), now.last, Chart.of(now.accounts)):
        yield (day, *source), key, *lines[key[1]], funds[key[0]], cents, decimal_of(cents) + ZERO
