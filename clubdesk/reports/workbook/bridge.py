"""The bridge: from receipts less payments to the surplus, first account by account, then line by line."""

from dataclasses import dataclass

from clubdesk.ledger.models import Account, Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.statements import SIDES, moved_accounts, side_name
from clubdesk.reports.tracing import BETWEEN
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import IncomeAt
from clubdesk.reports.workbook.parties import PartiesAt
from clubdesk.reports.workbook.receipts import ReceiptsAt, named_line
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term, letters

LOOK = Look("Bridge", (Heading("Code", 8), Heading("For", 40), *[Heading("", 12, "amount")] * 24), landscape=True)


@dataclass(frozen=True)
class BridgeAt:
    """What the bridge leaves between both, and what its lines leave, added up; zero by the book."""

    difference: Term
    gaps: Term


def write(
    context: Context, sheet: Sheet, trial: TrialAt, income: IncomeAt, receipts: ReceiptsAt, parties: PartiesAt
) -> BridgeAt:
    now = context.figures
    note = "From money to the accrual surplus: what is owed adds at the end and is taken off at the start."
    sheet.top(context.note(note), ["Code", "", "Amount"], "Bridge from cash to accrual")
    brought = sum((now.cash(line) for line in now.lines if line.kind == Kind.EQUITY), ZERO)
    first = sheet.line(["", "Receipts less payments", receipts.net.formula])
    sheet.line(["", "Less money of corrections of earlier years", -brought + ZERO])
    accounts = moved_accounts(now)
    for account in accounts:
        if account.pk in trial.openings:
            _write_account(sheet, account, trial, parties)
    sheet.line(["", "Corrections of earlier years otherwise than as money", brought - now.put_in() + ZERO])
    reached = sheet.total(["", "Surplus by this bridge", *sheet.sums(first, "C")])
    sheet.line(["", "Surplus by the ledger", income.surplus.formula])
    sheet.total(["", "Difference", Formula(f"=ROUND(C{reached}-C{reached + 1},2)", ZERO)])
    difference = sheet.term("C")
    sheet.blank()
    return BridgeAt(difference, _write_lines(context, sheet, accounts))


def _write_account(sheet: Sheet, account: Account, trial: TrialAt, parties: PartiesAt) -> None:
    """What stood at the start and stands at the end; of an account with parties, what is owed and what is owing."""
    if not account.needs_party:
        both = [(Kind(account.kind), trial.openings[account.pk], trial.balance(account))]
    else:
        both = [(among, parties.at_the_start(account, among), parties.at_the_end(account, among)) for among in SIDES]
    for among, start, end in both:
        name = side_name(account, among)
        if among == account.kind or start.value or end.value:
            sheet.line([account.code, Named(f"{name}, at the start", account.name), (-start).formula])
            sheet.line([account.code, Named(f"{name}, at the end", account.name), end.formula])


def _write_lines(context: Context, sheet: Sheet, accounts: list[Account]) -> Term:
    now = context.figures
    sheet.header(["Code", "For", "Cash", *(Named(each.name) for each in accounts), "Between", "Accrual", "Difference"])
    columns = letters(len(accounts) + 4)
    between, accrual, gap = columns[-3:]
    first = sheet.row + 1
    for line in now.lines:
        moved = [now.cash(line), *(now.trace(line, each.pk) for each in accounts), now.trace(line, BETWEEN)]
        accrued, row = now.accrual(line), sheet.row + 1
        if not (any(moved) or accrued):
            continue
        left = Formula(f"=ROUND(SUM(C{row}:{between}{row})-{accrual}{row},2)", sum(moved, ZERO) - accrued)
        sheet.line([line.code, named_line(line, now), *(figure + ZERO for figure in moved), accrued + ZERO, left])
    gaps = sheet.rows(first).column(gap)
    sheet.total(["", "Total", *sheet.sums(first, columns)])
    return Term(f"SUMPRODUCT(ABS({gaps}))", ZERO)
