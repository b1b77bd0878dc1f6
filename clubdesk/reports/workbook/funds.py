"""The movement of each fund: what it began with, its surplus, corrections, transfers, and what it ends with."""

from collections.abc import Mapping
from dataclasses import dataclass

from clubdesk.ledger.models import Fund, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import IncomeAt, criterion
from clubdesk.reports.workbook.journal import JournalAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term

PARTS = ("At the start", "Surplus", "Corrections", "Transfers", "At the end")
LOOK = Look("Funds", (Heading("Fund", 30, "name"), *(Heading(part, 16, "amount") for part in PARTS)))


@dataclass(frozen=True)
class FundsAt:
    """What each fund ends with by its id; of all together what they began with, what was corrected, and the end."""

    ends: Mapping[str, Term]
    start: Term
    corrections: Term
    end: Term


def write(context: Context, sheet: Sheet, journal: JournalAt, income: IncomeAt) -> FundsAt:
    now = context.figures
    note = "Net assets by fund. Corrections of earlier years and transfers stand apart from the year's surplus."
    first = sheet.top(context.note(note)) + 1
    ends = dict[str, Term]()
    for fund in now.funds:
        row = sheet.row + 1
        name = criterion(f"A{row}", fund.name)
        moved = _of_the_journal(context, journal, Role.TRANSFERS, fund, name)
        surplus = income.surplus_of[fund.pk] - moved
        corrected = _of_the_journal(context, journal, Role.ACCUMULATED, fund, name)
        start = now.net_assets_before(fund)
        end = Formula(f"=ROUND(SUM(B{row}:E{row}),2)", now.net_assets(fund))
        sheet.line([Named(fund.name), start, surplus.formula, corrected.formula, moved.formula, end])
        ends[fund.pk] = sheet.term("F")
    sheet.total(["All funds", *sheet.sums(first, "BCDEF")])
    return FundsAt(ends, sheet.term("B"), sheet.term("D"), sheet.term("F"))


def _of_the_journal(context: Context, journal: JournalAt, role: Role, fund: Fund, name: str) -> Term:
    """What the year's entries put into the fund by that account, without its closing entries."""
    account = context.figures.by_role.get(role)
    if account is None:
        return Term.of(ZERO)
    code = f'"{account.code}"'
    figure = -context.figures.moved(account, fund) + ZERO
    return Term(f"{journal.credited(code, name)}-{journal.debited(code, name)}", figure)
