"""A family's own page, by a guardian's link: what it owes and how to pay, its children, its papers, its details."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.families import OfChild, Part
from clubdesk.fees import accounts, advising, papers
from clubdesk.fees.asking import Asked, paid_into, pay_by
from clubdesk.fees.models import Receipt
from clubdesk.fees.views import receipt_asks
from clubdesk.handing import PDF, file_answer
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.paying import Code
from clubdesk.roll import links
from clubdesk.roll.models import Guardian, Person
from clubdesk.roll.views import family_page, for_family
from clubdesk.rooms import in_order
from clubdesk.screens.pages import at_one_moment

MOST_LINES, MOST_RECEIPTS, MOST_CONSENTS = 15, 10, 5
"""How much of what grows stands on the page; the whole account stands in the statement."""


@dataclass(frozen=True)
class ToPay:
    """A fee that is not paid: what for, how much of it is left, and by when."""

    what: str
    left: Decimal
    by: date
    is_late: bool


@dataclass(frozen=True)
class Child:
    """One of the family, and what every room says of them."""

    person: Person
    age: int
    lines: Sequence[OfChild]


@for_family
@at_one_moment
def own(request: HttpRequest, guardian: Guardian) -> HttpResponse:
    """The page: nothing on it is of another family, and it asks the book as often for one child as for many."""
    home, today, of = guardian.household, clock.today(), book()
    people = list(home.people.filter(erased_on=None).order_by("birth_date", "pk"))
    parts = [room.of_family(home, people, today) for room in in_order() if room.of_family]
    statement = accounts.statement(home, today)
    owed, due = list(advising.fees_of(home)), due_days(parts)
    fees = to_pay(owed, due, of, today)
    to_come = [fee for part in parts for fee in part.to_come]
    vouchers = advising.advice(home, people, today, pay_days=of.pay_days, open_fees=owed, due=due, to_come=to_come)
    asks = statement.asks(paid_into(), of)
    if asks and not statement.arrangement:
        asks = replace(asks, when=when_of(fees, today))
    return family_page(
        request,
        "fees/own.html",
        home.name,
        of=of,
        home=home,
        statement=statement,
        lines=statement.lines[: -MOST_LINES - 1 : -1],
        fees=fees,
        vouchers=[sentence for child in vouchers for sentence in child.sentences],
        vouchers_are=advising.AS_THE_DEPARTMENT_SAYS,
        asks=asks,
        page=page_code(request),
        answers=[each for part in parts for each in part.to_answer],
        children=children_of(people, parts, today),
        acts=sorted((each for part in parts for each in part.acts), key=lambda act: act.is_quiet),
        receipts=home.receipts.filter(cancelled_on=None)[:MOST_RECEIPTS],
        guardians=home.guardians.all(),
        consents=home.consents.all()[:MOST_CONSENTS],
    )


def to_pay(rows: Sequence[Any], due: Mapping[int, date], of: Book, today: date) -> list[ToPay]:
    """What is to pay, each fee with its day, the most pressing first."""
    found = []
    for row in rows:
        by = due.get(row.pk) or pay_by(row.charged_on, of)
        found.append(ToPay(row.description, row.open_amount, by, by < today))
    return sorted(found, key=lambda fee: fee.by)


def due_days(parts: Sequence[Part]) -> dict[int, date]:
    """By when charges are paid, by their ids, where a room says so."""
    return {charge: day for part in parts for charge, day in part.due.items()}


def when_of(fees: Sequence[ToPay], today: date) -> str:
    """By when all of it is paid, as the end of a sentence."""
    days = {max(fee.by, today) if not fee.is_late else None for fee in fees}
    if days == {None} or not days:
        return "now"
    only = days.pop()
    return f"by {long_day(only)}" if only and not days else "in all, each fee by its day"


def children_of(people: Sequence[Person], parts: Sequence[Part], today: date) -> list[Child]:
    lines: dict[int, list[OfChild]] = {each.pk: [] for each in people}
    for part in parts:
        for line in part.children:
            lines.setdefault(line.person, []).append(line)
    return [Child(each, each.age_on(today), lines[each.pk]) for each in people]


def page_code(request: HttpRequest) -> Code:
    """The address of this page for another phone; it works no longer than the link that opened this one."""
    return Code(f"{settings.SITE_URL}{links.path_of(links.opened(request), reverse('account:own'))}")


@for_family
@at_one_moment
def own_statement(request: HttpRequest, guardian: Guardian) -> HttpResponse:
    statement = accounts.statement(guardian.household, clock.today())
    content = papers.statement_pdf(statement, book(), paid_into(), page_code(request))
    return file_answer(request, content, kind=PDF, name="statement.pdf", is_shown=True)


@for_family
@at_one_moment
def own_receipt(request: HttpRequest, guardian: Guardian, number: int) -> HttpResponse:
    receipt = get_object_or_404(Receipt, household=guardian.household, number=number)
    asks: Asked | None = receipt_asks(receipt)
    content = papers.receipt_pdf(receipt, book(), asks, page_code(request))
    return file_answer(request, content, kind=PDF, name=f"receipt-{number}.pdf", is_shown=True)
