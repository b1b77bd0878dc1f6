"""Receipts and payments: money in and out, by fund."""

from dataclasses import dataclass

from clubdesk.clock import day_text
from clubdesk.ledger.models import Account
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.selectors import Figures
from clubdesk.reports.statements import is_receipt, line_name
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term, letters

LOOK = Look("Receipts and payments", (Heading("Code", 8), Heading("For", 38, "name")), by_fund=14)


@dataclass(frozen=True)
class ReceiptsAt:
    """Receipts less payments, and the money in hand after them, of all funds."""

    net: Term
    money_after: Term


def write(context: Context, sheet: Sheet) -> ReceiptsAt:
    now, last_year = context.figures, context.cash_of_last_year
    header = ["Code", "For", *context.fund_names, "Total", *(["Last year"] if last_year else [])]
    sheet.top(context.note("Cash basis: money in and out, each receipt by what it paid."), header)
    columns = letters(len(header) - 2)
    totals, sums = [], []
    for title, wanted, sign in (("Receipts", True, 1), ("Payments", False, -1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in now.accounts:
            if account.is_money or is_receipt(account, now) != wanted:
                continue
            funds = [sign * now.cash(account, fund) + ZERO for fund in now.funds]
            last = [sign * last_year.cash(account) + ZERO] if last_year else []
            if any(funds) or any(last):
                row, to = sheet.row + 1, columns[len(funds) - 1]
                total = Formula(f"=SUM({columns[0]}{row}:{to}{row})", sum(funds, ZERO))
                sheet.line([account.code, named_line(account, now), *funds, total, *last])
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    came, went = totals
    net = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    return _write_money(context, sheet, net)


def _write_money(context: Context, sheet: Sheet, net: list[Formula]) -> ReceiptsAt:
    """What was in hand before, and after the year's receipts less payments."""
    now, last_year = context.figures, context.cash_of_last_year
    columns = letters(len(net))
    all_funds = columns[len(now.funds)]
    sheet.total(["", "Receipts less payments", *net])
    net_of_all = sheet.term(all_funds)
    before = [*(now.money_before(fund) for fund in now.funds), now.money_before()]
    before += [last_year.money_before()] if last_year else []
    row = sheet.line(["", f"Money in hand before {day_text(now.first)}", *before])
    after = [Formula(f"={c}{row - 1}+{c}{row}", a.value + b) for c, a, b in zip(columns, net, before, strict=True)]
    sheet.total(["", f"Money in hand on {day_text(now.last)}", *after])
    return ReceiptsAt(net_of_all, sheet.term(all_funds))


def named_line(account: Account, now: Figures) -> str:
    """What a line of money is called, known as the account's name where it is that."""
    text = line_name(account, now)
    return Named(text) if text == account.name else text
