"""What the workbook shows of the bank: each month of each account as it was signed off."""

from clubdesk.bank.models import Reconciliation
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.selectors import ZERO
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Formula, Heading, Look, Named, Proved, Sheet, Term

MONTHS = Look(
    "Bank reconciliation",
    (
        Heading("Account", 22, "name"), Heading("Month to", 12, "date"),
        Heading("Bank's statement", 13, "amount"), Heading("Deposits not credited", 13, "amount"),
        Heading("Payments not presented", 13, "amount"), Heading("Adjusted statement", 13, "formula"),
        Heading("By the book", 13, "amount"), Heading("Recorded later", 13, "amount"),
        Heading("Adjusted book", 13, "formula"), Heading("Difference", 11, "formula"),
        Heading("Signed off", 12, "date"), Heading("By", 16, "name"),
    ),
    landscape=True,
)  # fmt: skip
MORE_THAN_MONTHS = 1000
"""A row that the months of a year never reach, however many accounts a club has."""


def write_months(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    first = sheet.top(beside.note("Each month that was signed off.")) + 1
    months = Reconciliation.objects.filter(reopened_on=None, month_end__range=(year.first_day, year.last_day))
    months = months.select_related("bank_account", "recorded_by").order_by("bank_account", "month_end")
    for month in months:
        row = sheet.row + 1
        figures = (month.statement_balance, month.deposits, month.payments, month.book_balance, month.recorded_later)
        stated, deposits, payments, book, later = (figure.amount for figure in figures)
        statement = Formula(f"=C{row}+D{row}-E{row}", stated + deposits - payments)
        ours = Formula(f"=G{row}+H{row}", book + later)
        gap = Formula(f"=ROUND(F{row}-I{row},2)", stated + deposits - payments - book - later)
        account, by = Named(str(month.bank_account)), Named(str(month.recorded_by))
        sheet.line(
            [account, month.month_end, stated, deposits, payments, statement, book, later, ours, gap,
             month.signed_on, by]
        )  # fmt: skip
    if sheet.row < first:
        sheet.line(["No month of this year was signed off."])
    gaps = sheet.apart("J", first, MORE_THAN_MONTHS)
    return Proved("Every month of the bank that was signed off reconciles to 0.00", gaps, Term.of(ZERO))


SHEETS = (SheetOf(MONTHS, write_months, tab=70, proof=90, goes_on=True),)
