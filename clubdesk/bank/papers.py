"""The papers of the bank room: a reconciled statement."""

from clubdesk import paper
from clubdesk.bank.reconciling import Reconciled
from clubdesk.clock import day_text
from clubdesk.money import shown

WIDTHS = [28.0, 110.0, 36.0]


def rows_of(figures: Reconciled) -> list[tuple[str, str, str]]:
    """The reconciled statement row by row: day, words, amount."""
    rows = [("", "Balance by the bank’s statement", shown(figures.statement_balance))]
    rows += [
        (day_text(each.entry.date), f"Deposit not credited: {each.entry.narration}", shown(each.amount))
        for each in figures.deposits
    ]
    rows.append(("", "Deposits not credited", shown(figures.deposits_not_credited)))
    rows += [
        (day_text(each.entry.date), f"Payment not presented: {each.entry.narration}", shown(each.amount))
        for each in figures.payments
    ]
    rows.append(("", "Less payments not presented", shown(figures.payments_not_presented)))
    rows.append(("", "Adjusted balance by the statement", shown(figures.adjusted_statement)))
    rows.append(("", "Balance by the book", shown(figures.book_balance)))
    rows += [(day_text(each.date), f"Not in the book yet: {each.text}", shown(each.amount)) for each in figures.lacking]
    rows.append(("", "Adjusted balance by the book", shown(figures.adjusted_book)))
    rows.append(("", "Difference", shown(figures.difference)))
    return rows


def reconciliation_pdf(figures: Reconciled, club_name: str, signed: str) -> bytes:
    """The reconciled statement to print; `signed` says by whom and when, or that it is not."""
    paper.use_fonts()
    month = f"{figures.month_end:%B %Y}"
    story = [
        paper.text(club_name, paper.HEADING),
        paper.text(f"Bank reconciliation: {figures.bank_account}, {month}"),
        paper.gap(),
        paper.table(["Day", "What", "Amount"], rows_of(figures), WIDTHS, {2}),
        paper.gap(),
        paper.text(signed, paper.STRONG),
    ]
    return paper.pdf(f"Reconciliation {month}", club_name, story)
