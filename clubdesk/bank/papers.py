"""The papers of the bank room: a reconciled statement."""

from dataclasses import dataclass
from datetime import date

from djmoney.money import Money

from clubdesk import paper
from clubdesk.bank.models import StatementLine
from clubdesk.bank.reconciling import Reconciled
from clubdesk.tables import Column, Columns, Table


@dataclass(frozen=True)
class Row:
    """A line of a reconciled statement: what it adds up from, or what it comes to."""

    words: str
    amount: Money
    day: date | None = None
    is_total: bool = False


COLUMNS: Columns[Row] = {
    "day": Column("Day", lambda row: row.day, "date", 28),
    "what": Column("What", lambda row: row.words, width=110),
    "amount": Column("Amount", lambda row: row.amount, "amount", 36),
}
LINES: Columns[StatementLine] = {
    "account": Column("Account", lambda line: str(line.bank_account)),
    "date": Column("Date", lambda line: line.date, "date"),
    "text": Column("Text", lambda line: line.text),
    "amount": Column("Amount", lambda line: line.amount, "amount"),
    "balance": Column("Balance", lambda line: line.balance, "amount"),
}


def reconciled_table(figures: Reconciled) -> Table[Row]:
    """The reconciled statement row by row."""
    rows = [
        Row("Balance by the bank’s statement", figures.statement_balance),
        *(Row(f"Deposit not credited: {each.words}", each.amount, each.day) for each in figures.deposits),
        Row("Deposits not credited", figures.deposits_not_credited),
        *(Row(f"Payment not presented: {each.words}", each.amount, each.day) for each in figures.payments),
        Row("Less payments not presented", figures.payments_not_presented),
        Row("Adjusted balance by the statement", figures.adjusted_statement, is_total=True),
        Row("Balance by the book", figures.book_balance),
        *(Row(each.words, each.amount, each.day) for each in figures.recorded_later),
        Row("Recorded or undone in a later month", figures.adjustments),
        *(Row(f"Not in the book yet: {each.text}", each.amount, each.date) for each in figures.lacking),
        Row("Adjusted balance by the book", figures.adjusted_book, is_total=True),
        Row("Difference", figures.difference, is_total=True),
    ]  # fmt: skip
    return Table("The reconciled statement", COLUMNS, rows, heads="what", strong=lambda row: row.is_total)


def reconciliation_pdf(figures: Reconciled, club_name: str, signed: str) -> bytes:
    """The reconciled statement to print; `signed` says by whom and when, or that it is not."""
    paper.use_fonts()
    month = f"{figures.month_end:%B %Y}"
    story = [
        paper.text(club_name, paper.HEADING),
        paper.text(f"Bank reconciliation: {figures.bank_account}, {month}"),
        paper.gap(),
        paper.table(reconciled_table(figures)),
        paper.gap(),
        paper.text(signed, paper.STRONG),
    ]
    return paper.pdf(f"Reconciliation {month}", club_name, story)
