"""Income and expenditure, by fund, from the journal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from clubdesk.ledger.models import Account, Kind, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.statements import line_name
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.journal import JournalAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term, letters
from clubdesk.yearend import selectors as yearend

LOOK = Look("Income and expenditure", (Heading("Code", 8), Heading("Account", 34, "name")), by_fund=14)
SPECIAL = "~*?"


@dataclass(frozen=True)
class IncomeAt:
    """Each account's figure of all funds by its id; the surplus of each fund by its id, of all, and last year's."""

    accounts: Mapping[int, Term]
    surplus_of: Mapping[str, Term]
    surplus: Term
    surplus_last_year: Term | None


def write(context: Context, sheet: Sheet, journal: JournalAt) -> IncomeAt:
    now = context.figures
    header = ["Code", "Account", *context.fund_names, "Total", "Last year", "Budget", "Of it by hand"]
    header_row = sheet.top(context.note("Accrual basis, by fund."), header)
    columns = letters(len(now.funds) + 4)
    all_funds, last_year = columns[-4:-2]
    planned = yearend.budget_of(now.first, now.last)
    accounts, totals, sums = dict[int, Term](), [], []
    for kind, title, sign in ((Kind.INCOME, "Income", 1), (Kind.EXPENSE, "Expenditure", -1)):
        sheet.heading(title)
        first = sheet.row + 1
        shown = now.used(now.of_kind(kind), context.last_year)
        shown += [each for each in now.of_kind(kind) if each.pk in planned and each not in shown]
        for account in sorted(shown, key=lambda each: each.code):
            more = [planned.get(account.pk, ZERO), -sign * now.by_hand.get(account.pk, ZERO) + ZERO]
            line = _line(context, account, sheet.row + 1, header_row, journal, sign)
            sheet.line([account.code, Named(account.name), *line, *more])
            accounts[account.pk] = sheet.term(all_funds)
        sums.append(sheet.sums(first, columns))
        shown_sums = _known(context, columns, last_year, sums[-1])
        totals.append(sheet.total(["", f"Total {title.lower()}", *shown_sums]))
        sheet.blank()
    came, went = totals
    surplus = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    sheet.total(["", "Surplus (deficit)", *_known(context, columns, last_year, surplus)[:-1], None])
    of_funds = {fund.pk: sheet.term(column) for column, fund in zip(columns, now.funds, strict=False)}
    reached = IncomeAt(accounts, of_funds, sheet.term(all_funds), _last(context, sheet, last_year))
    if any(now.put_in(fund) for fund in now.funds):
        _write_corrections(context, sheet, header_row, journal, surplus)
    return reached


def _write_corrections(
    context: Context, sheet: Sheet, header_row: int, journal: JournalAt, surplus: Sequence[Formula]
) -> None:
    """What earlier years got wrong, below the surplus and not in it."""
    (account,) = context.of_roles(Role.ACCUMULATED)
    *corrected, _ = _line(context, account, sheet.row + 1, header_row, journal, 1)
    row = sheet.line([account.code, line_name(account), *corrected])
    both = [
        Formula(f"={column}{row - 1}+{column}{row}", one.value + other.value)
        for column, one, other in zip(letters(len(corrected)), surplus, corrected, strict=False)
    ]
    sheet.total(["", "Surplus (deficit) and corrections", *both])


def _known(context: Context, columns: list[str], last_year: str, figures: Sequence[Formula]) -> list[Formula | None]:
    """The figures with last year's left blank where nobody knows it."""
    return [
        None if column == last_year and not context.tells_last_year else figure
        for column, figure in zip(columns, figures, strict=True)
    ]


def _last(context: Context, sheet: Sheet, last_year: str) -> Term | None:
    return sheet.term(last_year) if context.tells_last_year else None


def _line(context: Context, account: Account, row: int, header_row: int, journal: JournalAt, sign: int) -> list[Any]:
    """What the account came to in each fund, in all, and last year; what is usual is positive."""
    now, columns = context.figures, letters(len(context.figures.funds))
    plus, minus = (journal.credited, journal.debited) if sign > 0 else (journal.debited, journal.credited)
    funds = []
    for column, fund in zip(columns, now.funds, strict=True):
        which = criterion(f"{column}${header_row}", fund.name)
        moved = f"{plus(f'$A{row}', which)}-{minus(f'$A{row}', which)}"
        funds.append(Formula(f"={moved}", -sign * now.moved(account, fund) + ZERO))
    total = Formula(f"=SUM({columns[0]}{row}:{columns[-1]}{row})", -sign * now.moved(account) + ZERO)
    last = context.last_year if context.tells_last_year else None
    return [*funds, total, -sign * last.moved(account) + ZERO if last else None]


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
