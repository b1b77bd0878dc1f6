"""The papers of the fees room: a household's statement and a receipt."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Protocol, TypeVar

from djmoney.money import Money
from reportlab.platypus import Flowable, PageBreak

from clubdesk import clock, paper
from clubdesk.clock import long_day
from clubdesk.fees.accounts import AGES, Acquittal, Aged, FamilyLine, Statement
from clubdesk.fees.models import Receipt, Voucher
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import as_amount, shown
from clubdesk.roll.selectors import payment_reference
from clubdesk.screens.tables import page_of
from clubdesk.tables import Column, Columns, Labelled, Table, pick, together


class Aging(Protocol):
    """What is open, by how old it is."""

    @property
    def ages(self) -> Mapping[str, Decimal]: ...


AgingRow = TypeVar("AgingRow", bound=Aging)


def by_age(width: float = 0) -> dict[str, Column[AgingRow]]:
    """A column an age."""

    def column(name: str) -> Column[AgingRow]:
        return Column(name.capitalize(), lambda row: row.ages[name], "amount", width)

    return {name: column(name) for _, name in AGES}


LINES: Columns[FamilyLine] = {
    "on": Column("Day", lambda line: line.on, "date", 26),
    "what": Column("What", lambda line: line.text, width=94),
    "amount": Column("Amount", lambda line: line.amount, "amount", 27),
    "balance": Column("Balance", lambda line: line.balance, "amount", 27),
}
PARTS: Columns[tuple[date, Decimal, str]] = {
    "due": Column("By", lambda part: part[0], "date", 40),
    "amount": Column("Amount", lambda part: part[1], "amount", 40),
    "state": Column("", lambda part: part[2], width=94),
}
FACTS: Columns[tuple[str, object]] = {
    "what": Column("", lambda fact: fact[0], width=60),
    "fact": Column("", lambda fact: fact[1], width=114),
}
PAID_FOR: Columns[tuple[str, Money]] = {
    "what": Column("For", lambda part: part[0], width=134),
    "amount": Column("Amount", lambda part: part[1], "amount", 40),
}


AGED: Columns[Aged] = {
    "household": Column("Household", lambda row: row.household, "name", link=lambda row: page_of(row.household)),
    **by_age(),
    "unused": Column("Paid ahead", lambda row: row.unused, "amount"),
    "owed": Column("Owes", lambda row: row.owed, "amount"),
}
ACQUITTED: Columns[Acquittal] = {
    "scheme": Column("Scheme", lambda row: row.scheme, "name"),
    "year": Column("Year", lambda row: row.year, "number"),
    "accepted": Column("Accepted", lambda row: _counted(row.accepted), "figure"),
    "lodged": Column("Lodged", lambda row: _counted(row.lodged), "figure"),
    "paid": Column("Paid", lambda row: _counted(row.paid), "figure"),
    "short": Column("Paid short by", lambda row: row.short, "amount"),
    "refused": Column("Refused", lambda row: _counted(row.refused), "figure"),
    "released": Column("Not claimed", lambda row: _counted(row.released), "figure"),
    "outstanding": Column("Outstanding", lambda row: row.outstanding, "amount"),
}
LODGED: Columns[Voucher] = {
    "given_name": Column("Given name", lambda voucher: voucher.person.given_name),
    "family_name": Column("Family name", lambda voucher: voucher.person.family_name),
    "born": Column("Date of birth", lambda voucher: voucher.person.birth_date, "date"),
    "code": Column("Voucher code", lambda voucher: voucher.code),
    "fee": Column("Fee", lambda voucher: voucher.charge.amount, "amount"),
    "claimed": Column("Claimed", lambda voucher: voucher.claimed, "amount"),
    "accepted": Column("Accepted on", lambda voucher: voucher.accepted_on, "date"),
}


TO_CLAIM: Columns[Voucher] = {
    "child": Column("Child", lambda voucher: voucher.person, "name", link=lambda voucher: page_of(voucher)),
    "claim_by": Column("Claim by", lambda voucher: voucher.claim_by, "date"),
    "left": Column("Days left", lambda voucher: _days_left(voucher), "number"),
    "amount": Column("Amount", lambda voucher: voucher.amount, "amount"),
    "scheme": Column("Scheme", lambda voucher: voucher.scheme, "name"),
    "accepted": Column("Accepted on", lambda voucher: voucher.accepted_on, "date"),
}


def _days_left(voucher: Voucher) -> int | None:
    """How many days are left to claim it in; below zero where they have passed."""
    return (voucher.claim_by - clock.today()).days if voucher.claim_by else None


def _counted(found: tuple[int, Decimal]) -> str:
    count, figure = found
    return f"{count}: {shown(figure)}"


def aged_table(rows: Sequence[Aged]) -> Table[Aged]:
    """Who owes what, and since when."""
    figures = [name for name in AGED if name != "household"]
    return Table("Balances by age", AGED, rows, [together("All", AGED, rows, *figures)])


def outstanding_table(rows: Sequence[Acquittal], by_ledger: Decimal) -> Table[Acquittal]:
    """What of the vouchers is not answered, by its age, beside what the ledger says."""
    columns = {**pick(ACQUITTED, "scheme", "year"), **by_age()}
    outstanding, last = sum((row.outstanding for row in rows), ZERO), [*columns][-1]
    feet = [
        Labelled("Outstanding", {last: outstanding}, is_total=True),
        Labelled("Vouchers owed in the ledger", {last: by_ledger}),
        Labelled("Difference", {last: outstanding - by_ledger}),
    ]
    return Table("Outstanding by age", columns, [row for row in rows if row.outstanding], feet)


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
    brought = FamilyLine(statement.since, "Brought forward", None, statement.opening)
    story: list[Flowable] = [
        paper.text(club_name, paper.HEADING),
        paper.text(f"Statement for {statement.household}, {long_day(statement.until)}"),
        paper.gap(),
        paper.text(f"Your account stands at: {statement.in_words}", paper.STRONG),
    ]
    if statement.closing > 0:
        story.append(paper.text(f"Please write this reference with a bank transfer: {statement.reference}"))
    story += [paper.gap(), paper.table(Table("Statement", LINES, [brought, *statement.lines]))]
    if any(statement.ages.values()):
        title = "Still to pay, by how long ago it was charged"
        ages: Columns[Statement] = by_age(43.5)
        story += [paper.gap(), paper.text(title, paper.STRONG), paper.table(Table(title, ages, [statement]))]
    if parts := statement.parts():
        title = "Agreed to be paid in parts"
        story += [paper.gap(), paper.text(title, paper.STRONG), paper.table(Table(title, PARTS, parts))]
    story += [paper.gap(), paper.text("Amounts above nil are owed to the club; below nil the club owes them to you.")]
    return story


def receipt_pdf(receipt: Receipt, club_name: str) -> bytes:
    """A receipt to print: its number, from whom, how much, how it was paid and for what."""
    paper.use_fonts()
    parts = [
        (str(part.charge) if part.charge else "Paid back to you", part.amount)
        for part in receipt.allocations.standing().select_related("charge", "repayment").order_by("pk")
    ]
    used = sum(part.amount.amount for part in receipt.allocations.standing())
    if used < receipt.amount.amount:
        parts.append(("Kept as your credit", as_amount(receipt.amount.amount - used)))
    facts: list[tuple[str, object]] = [
        ("Received from", str(receipt.household)),
        ("On", long_day(receipt.received_on)),
        ("By", receipt.get_method_display()),
        ("Amount settled", receipt.amount),
    ]
    if receipt.rounding.amount:
        facts.append(("Handed over, rounded to five cents", receipt.handed_over))
    if receipt.cancelled_on:
        facts.append(("CANCELLED", f"{long_day(receipt.cancelled_on)}: {receipt.cancel_reason}"))
    story: list[Flowable] = [
        paper.text(club_name, paper.HEADING),
        paper.text(f"Receipt {receipt.number}", paper.STRONG),
        paper.gap(),
        paper.table(Table("", FACTS, facts)),
        paper.gap(),
    ]
    if parts and not receipt.cancelled_on:
        story.append(paper.table(Table("", PAID_FOR, parts)))
    story += [paper.gap(), paper.text(f"Your reference: {payment_reference(receipt.household)}")]
    return paper.pdf(f"Receipt {receipt.number}", club_name, story)
