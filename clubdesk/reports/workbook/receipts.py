"""Receipts and payments: money in and out, by fund."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from clubdesk.clock import day_text
from clubdesk.ledger.models import Account
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.selectors import Figures
from clubdesk.reports.statements import is_receipt, line_name
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import criterion
from clubdesk.reports.workbook.moves import MONEY, MoneyAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term, letters
from clubdesk.sheets.cells import plain_value

LOOK = Look("Receipts and payments", (Heading("Code", 8), Heading("For", 38, "name")), by_fund=14)


@dataclass(frozen=True)
class ReceiptsAt:
    """Each line's money by its id, receipts less payments, and the money in hand after them, of all funds."""

    lines: Mapping[int, Term]
    net: Term
    money_after: Term


def write(context: Context, sheet: Sheet, money: MoneyAt) -> ReceiptsAt:
    now, last_year = context.figures, context.cash_of_last_year
    header = ["Code", "For", *context.fund_names, "Total", *(["Last year"] if last_year else [])]
    note = f"Cash basis: money in and out, each receipt by what it paid; its rows are on the sheet {MONEY.title}."
    header_row = sheet.top(context.note(note), header)
    columns = letters(len(header) - 2)
    totals, sums, lines = [], [], dict[int, Term]()
    for title, wanted, sign in (("Receipts", True, 1), ("Payments", False, -1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in now.accounts:
            if account.is_money or is_receipt(account, now) != wanted:
                continue
            funds = _by_fund(context, account, sheet.row + 1, header_row, money, sign)
            last = [sign * last_year.cash(account) + ZERO] if last_year else []
            if any(figure.value for figure in funds) or any(last):
                total = _across(columns[: len(funds)], sheet.row + 1, funds)
                sheet.line([account.code, named_line(account, now), *funds, total, *last])
                lines[account.pk] = sheet.term(columns[len(funds)])
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    came, went = totals
    net = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    return ReceiptsAt(lines, *_write_money(context, sheet, net))


def _by_fund(context: Context, line: Account, row: int, header_row: int, money: MoneyAt, sign: int) -> list[Formula]:
    """The line's money in each fund, from the rows of money; what is usual on its side of the sheet is positive."""
    funds = context.figures.funds
    found = []
    for column, fund in zip(letters(len(funds)), funds, strict=True):
        term = money.in_fund(line, f"$A{row}", fund, criterion(f"{column}${header_row}", fund.name))
        found.append((term if sign > 0 else -term).formula)
    return found


def _across(columns: Sequence[str], row: int, figures: Sequence[Formula | Decimal]) -> Formula:
    """All funds together."""
    return Formula(f"=SUM({columns[0]}{row}:{columns[-1]}{row})", sum(map(plain_value, figures), ZERO))


def _write_money(context: Context, sheet: Sheet, net: list[Formula]) -> tuple[Term, Term]:
    """What was in hand before, and after the year's receipts less payments."""
    now, last_year = context.figures, context.cash_of_last_year
    columns = letters(len(net))
    all_funds = columns[len(now.funds)]
    sheet.total(["", "Receipts less payments", *net])
    net_of_all = sheet.term(all_funds)
    funds = [now.money_before(fund) for fund in now.funds]
    before: list[Any] = [*funds, _across(columns[: len(funds)], sheet.row + 1, funds)]
    before += [last_year.money_before()] if last_year else []
    row = sheet.line(["", f"Money in hand before {day_text(now.first)}", *before])
    figures = zip(columns, net, map(plain_value, before), strict=True)
    after = [Formula(f"={c}{row - 1}+{c}{row}", a.value + b) for c, a, b in figures]
    sheet.total(["", f"Money in hand {context.at_the_end}", *after])
    return net_of_all, sheet.term(all_funds)


def named_line(account: Account, now: Figures) -> str:
    """What a line of money is called, known as the account's name where it is that."""
    text = line_name(account, now)
    return Named(text) if text == account.name else text
