"""The entry fund by its movements: containers in, entry fees refunded."""

from clubdesk.ledger.models import FundRole, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.position import PositionAt
from clubdesk.sheets import Formula, Heading, Look, Proved, Sheet

LOOK = Look(
    "Entry fund",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("What", 64),
        Heading("In", 14, "amount"), Heading("Out", 14, "amount"), Heading("Balance", 14, "formula"),
    ),
    landscape=True,
)  # fmt: skip


def write(context: Context, sheet: Sheet, position: PositionAt) -> Proved:
    fund, now = context.entry_fund, context.figures
    sheet.top(context.note("Containers in, entry fees refunded."))
    balance = context.opening_of(fund)
    first = sheet.line([None, context.year.first_day, "Opening balance", None, None, balance])
    for move in selectors.fund_moves(context.year, FundRole.ENTRY):
        row = sheet.row + 1
        balance += move.came_in - move.went_out
        running = Formula(f"=F{row - 1}+N(D{row})-N(E{row})", balance)
        sheet.line([move.number, move.on, move.narration, move.came_in or None, move.went_out or None, running])
    sums, last = sheet.sums(first, "DE"), sheet.row
    closing = Formula(f"=F{first}+D{last + 1}-E{last + 1}", balance)
    sheet.total(["", "", "Closing balance", *sums, closing])
    reached = sheet.term("F")
    sheet.blank()
    promised = sum((-now.closing(payable, fund) for payable in context.of_roles(Role.REFUNDS_PAYABLE)), ZERO)
    sheet.line(["", "", "Of which approved and not yet paid out", None, None, promised])
    return Proved("Entry fund by its movements equals the entry fund among the funds", reached, position.funds[fund.pk])
