"""The papers of the fees room: a household's statement and a receipt."""

from collections.abc import Iterable

from reportlab.platypus import Flowable, PageBreak

from clubdesk import paper
from clubdesk.clock import day_text, long_day
from clubdesk.fees.accounts import Statement, payment_reference
from clubdesk.fees.models import Receipt
from clubdesk.money import shown


def statement_pdf(statement: Statement, club_name: str) -> bytes:
    return paper.pdf(f"Statement, {statement.household}", club_name, statement_story(statement, club_name))


def statements_pdf(statements: Iterable[Statement], club_name: str) -> bytes:
    """Many statements in one file to print, each beginning on a page of its own."""
    story: list[Flowable] = []
    for statement in statements:
        story += [*statement_story(statement, club_name), PageBreak()]
    return paper.pdf("Statements", club_name, story)


def statement_story(statement: Statement, club_name: str) -> list[Flowable]:
    """The statement as it is printed: what is owed first, then how it came to it."""
    paper.use_fonts()
    rows = [(day_text(statement.since), "Brought forward", "", shown(statement.opening))]
    rows += [(day_text(line.on), line.text, shown(line.amount), shown(line.balance)) for line in statement.lines]
    story: list[Flowable] = [
        paper.text(club_name, paper.HEADING),
        paper.text(f"Statement for {statement.household}, {long_day(statement.until)}"),
        paper.gap(),
        paper.text(f"Your account stands at: {statement.in_words}", paper.STRONG),
    ]
    if statement.closing > 0:
        story.append(paper.text(f"Please write this reference with a bank transfer: {statement.reference}"))
    story += [paper.gap(), paper.table(["Day", "What", "Amount", "Balance"], rows, [26, 94, 27, 27], {2, 3})]
    if any(statement.ages.values()):
        ages = [[shown(figure) for figure in statement.ages.values()]]
        story += [paper.gap(), paper.text("Still to pay, by how long ago it was charged", paper.STRONG)]
        story.append(paper.table(list(statement.ages), ages, [43.5] * 4, set(range(4))))
    if parts := statement.parts():
        story += [paper.gap(), paper.text("Agreed to be paid in parts", paper.STRONG)]
        rows_of_parts = [(day_text(due), shown(amount), state) for due, amount, state in parts]
        story.append(paper.table(["By", "Amount", ""], rows_of_parts, [40, 40, 94], {1}))
    story += [paper.gap(), paper.text("Amounts above nil are owed to the club; below nil the club owes them to you.")]
    return story


def receipt_pdf(receipt: Receipt, club_name: str) -> bytes:
    """A receipt to print: its number, from whom, how much, how it was paid and for what."""
    paper.use_fonts()
    parts = [
        (str(part.charge) if part.charge else "Paid back to you", shown(part.amount))
        for part in receipt.allocations.standing().select_related("charge", "repayment").order_by("pk")
    ]
    used = sum(part.amount.amount for part in receipt.allocations.standing())
    if used < receipt.amount.amount:
        parts.append(("Kept as your credit", shown(receipt.amount.amount - used)))
    facts = [
        ("Received from", str(receipt.household)),
        ("On", long_day(receipt.received_on)),
        ("By", receipt.get_method_display()),
        ("Amount settled", shown(receipt.amount)),
    ]
    if receipt.rounding.amount:
        facts.append(("Handed over, rounded to five cents", shown(receipt.handed_over)))
    if receipt.cancelled_on:
        facts.append(("CANCELLED", f"{long_day(receipt.cancelled_on)}: {receipt.cancel_reason}"))
    story: list[Flowable] = [
        paper.text(club_name, paper.HEADING),
        paper.text(f"Receipt {receipt.number}", paper.STRONG),
        paper.gap(),
        paper.table(["", ""], facts, [60, 114], set()),
        paper.gap(),
    ]
    if parts and not receipt.cancelled_on:
        story.append(paper.table(["For", "Amount"], parts, [134, 40], {1}))
    story += [paper.gap(), paper.text(f"Your reference: {payment_reference(receipt.household)}")]
    return paper.pdf(f"Receipt {receipt.number}", club_name, story)
