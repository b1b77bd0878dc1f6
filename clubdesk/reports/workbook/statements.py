"""The sheets of the statements: trial balance, income and expenditure, position, receipts and payments, the bridge."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from openpyxl.utils import get_column_letter

from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, Fund, Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.selectors import Figures, TypedFigures
from clubdesk.reports.sheets import Formula, Jump, Named, number
from clubdesk.reports.statements import is_receipt, line_name, moved_accounts
from clubdesk.reports.tracing import BETWEEN
from clubdesk.yearend import selectors as yearend

if TYPE_CHECKING:
    from clubdesk.reports.workbook.book import TreasurersWorkbook


def letters(count: int, first: str = "C") -> list[str]:
    return [get_column_letter(ord(first) - ord("A") + 1 + place) for place in range(count)]


def fund_names(w: TreasurersWorkbook) -> list[str]:
    return [Named(fund.name) for fund in w.figures.funds]


def named_line(account: Account) -> str:
    """What a line of money is called, known as the account's name where it is that."""
    text = line_name(account)
    return Named(text) if text == account.name else text


def write_trial_balance(w: TreasurersWorkbook) -> None:
    header = ["Code", "Account", "Kind", "Opening", "Debits", "Credits", "Debit", "Credit", "Last year", "Ledger",
              "By hand", "By account", ""]  # fmt: skip
    note = (
        "Debit positive; closing entries left out. Ledger is what the ledger itself says; by hand what journals moved."
    )
    sheet, now = w.trial, w.figures
    first = sheet.top("Trial balance", w.note(note), header) + 1
    for account in w.accounts:
        row = sheet.row + 1
        w.at.trial_rows[account.pk] = row
        debits, credits = w.turnover.get(account.pk, (ZERO, ZERO))
        opening, closing = now.figure(now.opening, account), now.closing(account)
        balance = f"D{row}+E{row}-F{row}"
        sheet.line(
            [
                account.code,
                Named(account.name),
                account.get_kind_display(),
                opening,
                Formula(f"={w.in_journal('H', f'A{row}')}", debits),
                Formula(f"={w.in_journal('I', f'A{row}')}", credits),
                Formula(f"=MAX(ROUND({balance},2),0)", max(closing, ZERO)),
                Formula(f"=MAX(-ROUND({balance},2),0)", max(-closing, ZERO)),
                w.last_years(account),
                closing,
                now.by_hand.get(account.pk, ZERO),
                Formula(f"={w.ledger.at('H', w.at.ledger_closings[account.pk])}", closing),
                Jump(w.ledger.at("A", w.at.ledger_headings[account.pk]), "open"),
            ]
        )
    total = sheet.total(["", "Total", "", *sheet.sums(first, "DEFGHIJKL")])
    w.at.trial_first, w.at.trial_last, w.at.trial_total = first, total - 1, total


def write_income(w: TreasurersWorkbook) -> None:
    sheet, now = w.income, w.figures
    header = ["Code", "Account", *fund_names(w), "Total", "Last year", "Budget", "Of it by hand"]
    header_row = sheet.top("Income and expenditure", w.note("Accrual basis, by fund."), header)
    columns = letters(len(now.funds) + 4)
    planned = yearend.budget_of(now.first, now.last)
    totals, sums = [], []
    for kind, title, sign in ((Kind.INCOME, "Income", 1), (Kind.EXPENSE, "Expenditure", -1)):
        sheet.heading(title)
        first = sheet.row + 1
        shown = now.used(now.of_kind(kind), w.last_year)
        shown += [each for each in now.of_kind(kind) if each.pk in planned and each not in shown]
        for account in sorted(shown, key=lambda each: each.code):
            more = [planned.get(account.pk, ZERO), -sign * now.by_hand.get(account.pk, ZERO) + ZERO]
            row = [*_income_line(w, account, sheet.row + 1, header_row, columns[: len(now.funds) + 1], sign), *more]
            w.at.income_rows[account.pk] = sheet.line(row)
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    came, went = totals
    surplus = [
        Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, sums[0], sums[1], strict=True)
    ]
    w.at.surplus = sheet.total(["", "Surplus (deficit)", *surplus[:-1], None])


SPECIAL = "~*?"


def criterion(cell: str, text: str) -> str:
    """What a formula compares with the text in a cell, taken as it is written where it has signs that stand for others.

    Source of the signs: OpenFormula, wildcards in criteria (from memory).
    """
    if text[0] not in "=<>" and not any(sign in text for sign in SPECIAL):
        return cell
    escaped = cell
    for sign in SPECIAL:
        escaped = f'SUBSTITUTE({escaped},"{sign}","~{sign}")'
    return f'"="&{escaped}'


def _income_line(
    w: TreasurersWorkbook, account: Account, row: int, header_row: int, columns: list[str], sign: int
) -> list[Any]:
    now = w.figures
    plus, minus = ("I", "H") if sign > 0 else ("H", "I")
    funds = []
    for c, fund in zip(columns[:-1], now.funds, strict=True):
        which = criterion(f"{c}${header_row}", fund.name)
        figure = -sign * now.moved(account, fund) + ZERO
        moved = (w.in_journal(side, f"$A{row}", which) for side in (plus, minus))
        funds.append(Formula(f"={'-'.join(moved)}", figure))
    total = Formula(f"=SUM({columns[0]}{row}:{columns[-2]}{row})", -sign * now.moved(account) + ZERO)
    last = -sign * w.last_year.moved(account) + ZERO if w.last_year else ZERO
    return [account.code, Named(account.name), *funds, total, last]


def write_position(w: TreasurersWorkbook) -> None:
    sheet = w.position
    header = ["Code", "Account", day_text(w.year.last_day), "Last year"]
    sheet.top("Assets and liabilities", w.note("What the club holds and owes at the year's end."), header)
    totals, sums = [], []
    for kind, title, sign in ((Kind.ASSET, "Assets", 1), (Kind.LIABILITY, "Liabilities", -1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in w.figures.used(w.figures.of_kind(kind), w.last_year):
            sheet.line(
                [account.code, Named(account.name), _from_trial(w, account, sign), sign * w.last_years(account) + ZERO]
            )
        sums.append(sheet.sums(first, "CD"))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    assets, liabilities = totals
    net = [
        Formula(f"={c}{assets}-{c}{liabilities}", a.value - b.value)
        for c, a, b in zip("CD", sums[0], sums[1], strict=True)
    ]
    w.at.net_assets = sheet.total(["", "Net assets", *net])
    sheet.blank()
    _write_funds(w)


def _from_trial(w: TreasurersWorkbook, account: Account, sign: int) -> Formula:
    row = w.at.trial_rows[account.pk]
    debit, credit = w.trial.at("G", row), w.trial.at("H", row)
    figure = sign * w.figures.closing(account) + ZERO
    return Formula(f"={debit}-{credit}" if sign > 0 else f"={credit}-{debit}", figure)


def _write_funds(w: TreasurersWorkbook) -> None:
    """Net assets again, as the funds they are kept in: what each began with and this year's surplus."""
    sheet, now = w.position, w.figures
    sheet.heading("Kept in these funds")
    first = sheet.row + 1
    for index, fund in enumerate(now.funds):
        surplus = w.income.at(chr(ord("C") + index), w.at.surplus)
        figure = Formula(f"={number(capital_of(w, fund))}+{surplus}", now.net_assets(fund))
        last = w.last_year.net_assets(fund) if w.last_year else ZERO
        w.at.fund_rows[fund.pk] = sheet.line(["", Named(fund.name), figure, last])
    w.at.funds_total = sheet.total(["", "Total of the funds", *sheet.sums(first, "CD")])


def capital_of(w: TreasurersWorkbook, fund: Fund) -> Decimal:
    """What the fund began the year with, and what was brought into it beside income, such as a first opening."""
    return -sum((w.figures.closing(account, fund) for account in w.figures.of_kind(Kind.EQUITY)), ZERO)


def opening_of(w: TreasurersWorkbook, fund: Fund) -> Decimal:
    kinds = w.figures.of_kind(Kind.EQUITY)
    return -sum((w.figures.figure(w.figures.opening, account, fund) for account in kinds), ZERO)


def write_receipts(w: TreasurersWorkbook) -> None:
    sheet, now = w.receipts, w.figures
    last_year = _cash_of_last_year(w)
    header = ["Code", "For", *fund_names(w), "Total", *(["Last year"] if last_year else [])]
    note = "Cash basis: money in and out, each receipt by what it paid."
    sheet.top("Receipts and payments", w.note(note), header)
    columns = letters(len(header) - 2)
    totals, sums = [], []
    for title, wanted, sign in (("Receipts", True, 1), ("Payments", False, -1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in now.accounts:
            if account.is_money or is_receipt(account) != wanted:
                continue
            funds = [sign * now.cash(account, fund) + ZERO for fund in now.funds]
            last = [sign * last_year.cash(account) + ZERO] if last_year else []
            if any(funds) or any(last):
                row, to = sheet.row + 1, columns[len(now.funds) - 1]
                total = Formula(f"=SUM({columns[0]}{row}:{to}{row})", sum(funds, ZERO))
                sheet.line([account.code, named_line(account), *funds, total, *last])
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    _write_money(w, columns, totals, sums)


def _cash_of_last_year(w: TreasurersWorkbook) -> Figures | None:
    """Last year's figures where the ledger has them; typed ones say nothing of money received for what."""
    return None if isinstance(w.last_year, TypedFigures) else w.last_year


def _write_money(w: TreasurersWorkbook, columns: list[str], totals: list[int], sums: list[list[Formula]]) -> None:
    """What was in hand before, and after the year's receipts less payments."""
    sheet, now, last = w.receipts, w.figures, _cash_of_last_year(w)
    came, went = totals
    net = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    w.at.net_money = sheet.total(["", "Receipts less payments", *net])
    before = [*(now.money_before(fund) for fund in now.funds), now.money_before()]
    before += [last.money_before()] if last else []
    row = sheet.line(["", f"Money in hand before {day_text(now.first)}", *before])
    after = [Formula(f"={c}{row - 1}+{c}{row}", a.value + b) for c, a, b in zip(columns, net, before, strict=True)]
    w.at.money_after = sheet.total(["", f"Money in hand on {day_text(now.last)}", *after])


def write_bridge(w: TreasurersWorkbook) -> None:
    """From receipts less payments to the surplus, first account by account, then line by line."""
    sheet, now = w.bridge, w.figures
    note = "From money to the accrual surplus: what is owed adds at the end and is taken off at the start."
    sheet.top("Bridge from cash to accrual", w.note(note), ["Code", "", "Amount"])
    equity = [line for line in now.lines if line.kind == Kind.EQUITY]
    brought = sum((now.cash(line) for line in equity), ZERO)
    cash = w.receipts.at(w.total_column(), w.at.net_money)
    net = sum((now.cash(line) for line in now.lines), ZERO)
    first = sheet.line(["", "Receipts less payments", Formula(f"={cash}", net)])
    sheet.line(["", "Less money brought in when the book began", -brought + ZERO])
    accounts = moved_accounts(now)
    for account in accounts:
        row, closing = w.at.trial_rows.get(account.pk), now.closing(account)
        if row is None:
            continue
        opening = Formula(f"=-{w.trial.at('D', row)}", -now.figure(now.opening, account) + ZERO)
        start, end = (Named(f"{account.name}, at the {when}", account.name) for when in ("start", "end"))
        sheet.line([account.code, start, opening])
        sheet.line([account.code, end, Formula(f"={w.balance_of(account)}", closing)])
    sheet.line(["", "Brought in otherwise than as money", brought - now.brought_in() + ZERO])
    reached = sheet.total(["", "Surplus by this bridge", *sheet.sums(first, "C")])
    by_ledger = Formula(f"={w.income.at(w.total_column(), w.at.surplus)}", now.surplus())
    sheet.line(["", "Surplus by the ledger", by_ledger])
    difference = Formula(f"=ROUND(C{reached}-C{reached + 1},2)", ZERO)
    w.at.bridge_difference = sheet.total(["", "Difference", difference])
    sheet.blank()
    _write_bridge_lines(w, accounts)


def _write_bridge_lines(w: TreasurersWorkbook, accounts: list[Account]) -> None:
    sheet, now = w.bridge, w.figures
    sheet.header(["Code", "For", "Cash", *(Named(each.name) for each in accounts), "Between", "Accrual", "Difference"])
    columns = letters(len(accounts) + 4)
    w.at.bridge_column, w.at.bridge_first = columns[-1], sheet.row + 1
    for line in now.lines:
        moved = [now.cash(line), *(now.trace(line, each.pk) for each in accounts), now.trace(line, BETWEEN)]
        accrual, row = now.accrual(line), sheet.row + 1
        if not (any(moved) or accrual):
            continue
        gap = Formula(f"=ROUND(SUM(C{row}:{columns[-3]}{row})-{columns[-2]}{row},2)", sum(moved, ZERO) - accrual)
        sheet.line([line.code, named_line(line), *(figure + ZERO for figure in moved), accrual + ZERO, gap])
    w.at.bridge_last = max(sheet.row, w.at.bridge_first)
    sheet.total(["", "Total", *sheet.sums(w.at.bridge_first, columns)])
