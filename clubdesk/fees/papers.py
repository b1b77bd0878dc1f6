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
from clubdesk.fees.asking import Asked
from clubdesk.fees.models import Receipt, Voucher
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import nil, shown, total
from clubdesk.paying import Code, PaidInto, Written
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
HOW: Columns[Written] = {
    "what": Column("", lambda row: row.label, width=34),
    "text": Column("", lambda row: row.text, width=90),
}
PAID_FOR: Columns[tuple[str, Money]] = {
    "what": Column("For", lambda part: part[0], width=134),
    "amount": Column("Amount", lambda part: part[1], "amount", 40),
}


AGED: Columns[Aged] = {
    "household": Column("Family", lambda row: row.household, "name", link=lambda row: page_of(row.household)),
    **by_age(),
    "unused": Column("Paid ahead", lambda row: row.unused, "amount"),
    "owed": Column("Owes", lambda row: row.owed, "amount"),
}
ACQUITTED: Columns[Acquittal] = {
    "scheme": Column("Scheme", lambda row: row.scheme, "name"),
    "year": Column("Year", lambda row: row.year, "number"),
    "accepted": Column("Accepted", lambda row: _counted(row.accepted), "figure"),
    "lodged": Column("Claimed", lambda row: _counted(row.lodged), "figure"),
    "paid": Column("Paid", lambda row: _counted(row.paid), "figure"),
    "short": Column("Paid short by", lambda row: row.short, "amount"),
    "refused": Column("Refused", lambda row: _counted(row.refused), "figure"),
    "released": Column("Not claimed", lambda row: _counted(row.released), "figure"),
    "given_back": Column("Given back", lambda row: _counted(row.given_back), "figure"),
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


def statement_pdf(statement: Statement, of: Book, account: PaidInto | None, page: Code | None = None) -> bytes:
    """A family's statement; `page` is the code of its own page, where it prints the statement itself."""
    return paper.pdf(f"Statement, {statement.household}", of.club_name, statement_story(statement, of, account, page))


def statements_pdf(statements: Iterable[Statement], of: Book, account: PaidInto | None) -> bytes:
    """Many statements in one file to print, each beginning on a page of its own."""
    story: list[Flowable] = []
    for statement in statements:
        story += [*statement_story(statement, of, account), PageBreak()]
    return paper.pdf("Statements", of.club_name, story)


def statement_story(
    statement: Statement, of: Book, account: PaidInto | None, page: Code | None = None
) -> list[Flowable]:
    """The statement as it is printed: what is owed and how to pay it first, then how it came to it."""
    paper.use_fonts()
    brought = FamilyLine(statement.since, "Brought forward", None, statement.opening)
    asks = statement.asks(account, of)
    story: list[Flowable] = [
        paper.text(of.club_name, paper.HEADING),
        paper.text(f"Statement for {statement.household}, {long_day(statement.until)}"),
        paper.gap(),
        paper.text(f"Your account stands at: {statement.in_words}", paper.STRONG),
        *(how_to_pay(asks, page) if asks else ()),
    ]
    story += [paper.gap(), paper.table(Table("Statement", LINES, [brought, *statement.lines]))]
    if any(statement.ages.values()):
        title = "Still to pay, by how long ago it was charged"
        ages: Columns[Statement] = by_age(43.5)
        story += [paper.gap(), paper.text(title, paper.STRONG), paper.table(Table(title, ages, [statement]))]
    if parts := statement.parts():
        title = "Agreed to be paid in parts"
        story += [paper.gap(), paper.text(title, paper.STRONG), paper.table(Table(title, PARTS, parts))]
    story += [paper.gap(), paper.text("Amounts above zero are owed to the club; below zero the club owes them to you.")]
    return [*story, *whom_to_ask(of)]


def whom_to_ask(of: Book) -> list[Flowable]:
    return [paper.gap(), paper.text(f"Questions? {of.contact}")] if of.contact else []


CODE_WIDTH = 38
"""Millimetres; 331 bytes at level M make 73 modules, half a millimetre each."""


def how_to_pay(asks: Asked, page: Code | None = None) -> list[Flowable]:
    """How to pay it, with the code that a bank's app reads beside it, else that of the family's own page."""
    said: list[Flowable] = [
        paper.text(asks.opening),
        *([paper.gap(1), paper.table(Table("", HOW, asks.rows))] if asks.rows else ()),
        *([paper.gap(1), paper.text(asks.closing)] if asks.closing else ()),
    ]
    code, words = (asks.code, "Scan it in your bank’s app.") if asks.code else (page, "Your own page, by phone.")
    if code is None:
        return [paper.gap(), *said]
    return [paper.gap(), paper.beside(said, [paper.code(code, CODE_WIDTH), paper.text(words, paper.SMALL)], CODE_WIDTH)]


def receipt_pdf(receipt: Receipt, of: Book, asks: Asked | None = None, page: Code | None = None) -> bytes:
    """A receipt to print: its number, from whom, how much, how it was paid and for what.

    `asks` is how the family pays what is left of its debt, None where nothing is.
    """
    paper.use_fonts()
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
        paper.text(of.club_name, paper.HEADING),
        paper.text(f"Receipt {receipt.number}", paper.STRONG),
        paper.gap(),
        paper.table(Table("", FACTS, facts)),
        paper.gap(),
    ]
    if (parts := _paid_for(receipt)) and not receipt.cancelled_on:
        story.append(paper.table(Table("", PAID_FOR, parts)))
    story += [paper.gap(), paper.text(f"Your reference: {payment_reference(receipt.household)}")]
    if asks:
        left = f"Still to pay on {long_day(clock.today())}: {shown(asks.amount)}"
        story += [paper.gap(), paper.text(left, paper.STRONG), *how_to_pay(asks, page)]
    return paper.pdf(f"Receipt {receipt.number}", of.club_name, [*story, *whom_to_ask(of)])


def _paid_for(receipt: Receipt) -> list[tuple[str, Money]]:
    """What the receipt pays, and what of it is the family's credit."""
    parts = [
        (str(part.charge) if part.charge else "Paid back to you", part.amount)
        for part in receipt.allocations.standing().select_related("charge", "repayment").order_by("pk")
    ]
    left = receipt.amount - total(amount for _, amount in parts)
    return [*parts, ("Kept as your credit", left)] if left > nil() else parts
