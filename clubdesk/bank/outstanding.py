"""What was on its way at each of many month ends, every posting of the account read once. Questions only."""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import accumulate
from typing import Any, NamedTuple

from django.db.models import F, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from djmoney.money import Money

from clubdesk.bank.models import BankAccount, ClearedLine, ClearedPosting
from clubdesk.bank.selectors import OPENS, statements_begin
from clubdesk.ledger.models import Posting
from clubdesk.money import from_cents, in_cents

SHOWN_ON = Coalesce(Min("clearing__lines__line__date"), Min("clearing__settled_on"))
"""The day on which the bank showed a posting, or from which it is matched with another that the bank never shows."""


@dataclass(frozen=True)
class Stood:
    """A month's end: what was on its way to the bank and from it, both above nil, what the book said, and what it got
    of the month later, money in positive.
    """

    deposits: Money
    payments: Money
    book_balance: Money
    recorded_later: Money


class Row(NamedTuple):
    """A posting of the account with what is known of it."""

    day: date
    cents: int
    shown: date | None
    matched_at: datetime | None
    reverses: int | None
    undone_by: int | None
    undone_on: date | None
    undone_at: datetime | None
    opens: bool


class Shown(NamedTuple):
    """On which day the bank showed an entry, and when that was found."""

    on: date | None
    matched_at: datetime | None


UNSHOWN = Shown(None, None)


class _Running:
    """A figure at each of the ends, in whole cents, to which amounts are added for some of them."""

    def __init__(self, count: int):
        self.steps = [0] * (count + 1)

    def add(self, first: int, beyond: int, cents: int) -> None:
        if first < beyond:
            self.steps[first] += cents
            self.steps[beyond] -= cents

    def figures(self) -> list[Money]:
        return [from_cents(cents) for cents in accumulate(self.steps[:-1])]


class _Account:
    """The account's figures at each of the ends, as they are known at a moment for each."""

    def __init__(self, bank_account: BankAccount, ends: Sequence[date], known_at: Sequence[datetime]):
        self.ends, self.known_at, self.begun = ends, known_at, statements_begin(bank_account)
        self.deposits, self.payments, self.balance, self.later = (_Running(len(ends)) for _ in range(4))
        self.partners = _shown_of_undone(bank_account)
        self.place = {day: bisect_left(ends, day) for day in ends}

    def at(self, day: date | None) -> int:
        """The first of the ends that is not before the day; past them all where there is none."""
        if day is None:
            return len(self.ends)
        if day not in self.place:
            self.place[day] = bisect_left(self.ends, day)
        return self.place[day]

    def wait(self, first: int, beyond: int, cents: int, sign: int = 1) -> None:
        running = self.deposits if cents > 0 else self.payments
        running.add(first, beyond, sign * abs(cents))

    def take(self, row: Row) -> None:
        first, shown = self.at(row.day), self.at(row.shown)
        self.balance.add(first, len(self.ends), row.cents)
        self.later.add(shown, first, row.cents)
        partner = self.partners.get(row.reverses or row.undone_by or 0, UNSHOWN)
        older = row.opens or self.begun is None or row.day < self.begun
        if older or row.undone_by:
            self.take_as_known(row, partner, older)
            return
        self.wait(first, shown, row.cents)
        if row.reverses:
            self.wait(first, min(shown, self.at(partner.on)), row.cents, sign=-1)

    def take_as_known(self, row: Row, partner: Shown, older: bool) -> None:
        """What is taken as shown unless a line shows it, and what was undone: end by end, by what was known.

        An entry and its reversal cancel each other for as long as the bank showed neither.
        """
        first, beyond = self.at(row.day), self.at(row.shown)
        hidden, again = len(self.ends), self.at(partner.on)
        if row.reverses or row.undone_by:
            hidden = max(first, self.at(row.day if row.reverses else row.undone_on))
        elif row.shown is None:
            return
        for place in (*range(first, min(hidden, beyond)), *range(max(hidden, again), beyond)):
            known = self.known_at[place]
            matched = is_by(row.matched_at, known)
            if place < hidden and is_by(row.undone_at, known) and not matched and not is_by(partner.matched_at, known):
                self.later.add(place, place + 1, -row.cents)
            elif matched or not older:
                self.wait(place, place + 1, row.cents)


def is_by(moment: datetime | None, known: datetime) -> bool:
    return moment is not None and moment <= known


def stood_at(bank_account: BankAccount, ends: Sequence[date], known_at: Sequence[datetime]) -> list[Stood]:
    """How the account stood at each of the days, in their order, as `reconcile` says of one known at that moment."""
    account = _Account(bank_account, ends, known_at)
    for row in _postings(bank_account):
        account.take(row)
    for day, begun, cents in _rest_of_lines(bank_account):
        account.wait(account.at(begun), account.at(day), cents)
    figures = (account.deposits, account.payments, account.balance, account.later)
    return [Stood(*each) for each in zip(*(running.figures() for running in figures), strict=True)]


def _postings(bank_account: BankAccount) -> Iterable[Row]:
    shown = ClearedPosting.objects.filter(posting=OuterRef("pk"), stands=True).order_by().values("posting")
    rows: QuerySet[Any, Any] = Posting.objects.filter(account=bank_account.account_id, entry__sealed=True)
    rows = rows.order_by().annotate(
        shown=Subquery(shown.annotate(on=SHOWN_ON).values("on")),
        matched_at=Subquery(shown.values("clearing__recorded_at")[:1]),
        opens=OPENS,
    )
    columns = (
        "entry__date", in_cents("amount"), "shown", "matched_at", "entry__reverses", "entry__reversed_by",
        "entry__reversed_by__date", "entry__reversed_by__posted_at", "opens",
    )  # fmt: skip
    make: Callable[..., Row] = Row
    return (make(*each) for each in rows.values_list(*columns).iterator(chunk_size=5000))


def _rest_of_lines(bank_account: BankAccount) -> Iterable[tuple[date, date, int]]:
    """Each line of what the bank showed in several, but the first: its day, the day of the first, its cents."""
    first = ClearedLine.objects.filter(clearing=OuterRef("clearing"), stands=True).order_by().values("clearing")
    rows: QuerySet[Any, Any] = ClearedLine.objects.filter(stands=True, line__bank_account=bank_account).order_by()
    rows = rows.annotate(begun=Subquery(first.annotate(on=Min("line__date")).values("on")))
    return rows.filter(line__date__gt=F("begun")).values_list("line__date", "begun", in_cents("line__amount"))


def _shown_of_undone(bank_account: BankAccount) -> dict[int, Shown]:
    """When the bank showed entries that were reversed, or are reversals, by the entry's id."""
    rows: QuerySet[Any, Any] = ClearedPosting.objects.filter(
        Q(posting__entry__reverses__isnull=False) | Q(posting__entry__reversed_by__isnull=False),
        stands=True, posting__account=bank_account.account_id,
    )  # fmt: skip
    found = rows.order_by().values_list("posting__entry").annotate(on=SHOWN_ON, at=Min("clearing__recorded_at"))
    return {entry: Shown(on, at) for entry, on, at in found}
