"""The bridge: from receipts less payments to the surplus, first account by account, then line by line."""

from dataclasses import dataclass

from clubdesk.ledger.models import Account, Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.statements import SIDES, is_receipt, moved_accounts, side_name
from clubdesk.reports.tracing import LINE_KINDS
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import IncomeAt
from clubdesk.reports.workbook.moves import MoneyAt, OtherAt
from clubdesk.reports.workbook.parties import PartiesAt
from clubdesk.reports.workbook.receipts import ReceiptsAt, named_line
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term, letters, together

LOOK = Look("Bridge", (Heading("Code", 8), Heading("For", 40), *[Heading("", 15, "amount")] * 24), landscape=True)


@dataclass(frozen=True)
class BridgeAt:
    """What the bridge leaves between both, what its lines leave, and its columns against the accounts, each added up.

    All are zero by the book.
    """

    difference: Term
    gaps: Term
    columns: Term


def write(
    context: Context, sheet: Sheet, *, trial: TrialAt, income: IncomeAt, receipts: ReceiptsAt, money: MoneyAt,
    other: OtherAt, parties: PartiesAt,
) -> BridgeAt:  # fmt: skip
    now = context.figures
    note = "From money to the accrual surplus: what is owed adds at the end and is taken off at the start."
    sheet.top(context.note(note), ["Code", "", "Amount"], "Bridge from cash to accrual")
    equity = now.of_kind(Kind.EQUITY)
    found = [(line, receipts.lines[line.pk]) for line in equity if line.pk in receipts.lines]
    brought = together(term if is_receipt(line, now) else -term for line, term in found)
    first = sheet.line(["", "Receipts less payments", receipts.net.formula])
    sheet.line(["", "Less money of corrections of earlier years", (-brought).formula])
    accounts = moved_accounts(now)
    for account in accounts:
        if account.pk in trial.openings:
            _write_account(sheet, account, trial, parties)
    sheet.line(["", "Corrections of earlier years otherwise than as money", (brought + trial.moved(*equity)).formula])
    (whole,) = sheet.sums(first, "C")
    reached = sheet.total(["", "Surplus by this bridge", whole])
    sheet.line(["", "Surplus by the ledger", income.surplus.formula])
    gap = Formula(f"=ROUND(C{reached}-C{reached + 1},2)", whole.value - income.surplus.value)
    sheet.total(["", "Difference", gap])
    difference = sheet.term("C")
    sheet.blank()
    return BridgeAt(difference, *_write_lines(context, sheet, accounts, trial, money, other))


def _write_account(sheet: Sheet, account: Account, trial: TrialAt, parties: PartiesAt) -> None:
    """What stood at the start and stands at the end; of an account with parties, what is owed and what is owing."""
    if not account.needs_party:
        both = [(Kind(account.kind), trial.openings[account.pk], trial.balance(account))]
    else:
        both = [(among, parties.at_the_start(account, among), parties.at_the_end(account, among)) for among in SIDES]
    for among, start, end in both:
        name = side_name(account, among)
        if start.value or end.value:
            sheet.line([account.code, Named(f"{name}, at the start", account.name), (-start).formula])
            sheet.line([account.code, Named(f"{name}, at the end", account.name), end.formula])


def _write_lines(
    context: Context, sheet: Sheet, accounts: list[Account], trial: TrialAt, money: MoneyAt, other: OtherAt
) -> tuple[Term, Term]:
    """Each line from its rows of money and of what moved besides; below them what the accounts themselves moved."""
    now = context.figures
    sheet.header(["Code", "For", "Cash", *(Named(each.name) for each in accounts), "Between", "Accrual", "Difference"])
    columns = letters(len(accounts) + 4)
    between, accrual, gap = columns[-3:]
    first = sheet.row + 1
    for line in now.lines:
        row = sheet.row + 1
        code = f"$A{row}"
        moved = [money.of(line, code), *(other.of(line, code, each) for each in accounts), other.between(line, code)]
        accrued = -trial.moved(line) if line.kind in LINE_KINDS else Term.of(ZERO)
        if not (any(term.value for term in moved) or accrued.value):
            continue
        apart = sum((term.value for term in moved), ZERO) - accrued.value
        left = Formula(f"=ROUND(SUM(C{row}:{between}{row})-{accrual}{row},2)", apart)
        sheet.line([line.code, named_line(line, now), *(term.formula for term in moved), accrued.formula, left])
    gaps, sums = sheet.apart(gap, first), sheet.sums(first, columns)
    sheet.total(["", "Total", *sums])
    of_accounts = [trial.moved(*now.money), *(trial.moved(account) for account in accounts)]
    return gaps, _write_columns(sheet, columns, sums, of_accounts)


def _write_columns(sheet: Sheet, columns: list[str], sums: list[Formula], of_accounts: list[Term]) -> Term:
    """What the accounts moved by the trial balance, below what the rows of their columns come to; gives the gaps."""
    row = sheet.line(["", "Moved by the trial balance", *(term.formula for term in of_accounts)])
    gaps = [
        Formula(f"=ROUND({column}{row - 1}-{column}{row},2)", whole.value - moved.value)
        for column, whole, moved in zip(columns, sums, of_accounts, strict=False)
    ]
    row = sheet.total(["", "Difference", *gaps])
    apart = sum((abs(gap.value) for gap in gaps), ZERO)
    return Term(f"SUMPRODUCT(ABS({sheet.at('C', row)}:${columns[len(gaps) - 1]}${row}))", apart)
