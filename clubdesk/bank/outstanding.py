"""What was on its way at each of many month ends, every posting of the account read once. Questions only."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import accumulate
from typing import Any

from django.db.models import Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from djmoney.money import Money

from clubdesk.bank.models import BankAccount, ClearedPosting
from clubdesk.bank.selectors import statements_begin
from clubdesk.ledger.models import Posting
from clubdesk.money import from_cents, in_cents

SHOWN_ON = Coalesce(Min("clearing__lines__line__date"), Min("clearing__settled_on"))
"""The day on which the bank showed a posting, or from which it is matched with another that the bank never shows."""


@dataclass(frozen=True)
class Stood:
    """A month's end: what was on its way to the bank and from it, both above nil, and what the book said."""

    deposits: Money
    payments: Money
    book_balance: Money


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


def stood_at(bank_account: BankAccount, ends: Sequence[date]) -> list[Stood]:
    """How the account stood at each of the days, in their order, as `reconcile` says of one."""
    count, begun = len(ends), statements_begin(bank_account)
    deposits, payments, balance = (_Running(count) for _ in range(3))
    partners = _shown_of_undone(bank_account)
    place = {day: bisect_left(ends, day) for day in ends}

    def at(day: date | None) -> int:
        """The first of the ends that is not before the day; past them all where there is none."""
        if day is None:
            return count
        if day not in place:
            place[day] = bisect_left(ends, day)
        return place[day]

    for day, cents, shown, reverses, undone_by, undone_on in _postings(bank_account, ends[-1]):
        first = at(day)
        balance.add(first, count, cents)
        if begun is None or day < begun:
            continue
        running, amount, beyond = (deposits, cents, at(shown)) if cents > 0 else (payments, -cents, at(shown))
        running.add(first, beyond, amount)
        if reverses or undone_by:
            # An entry and its reversal cancel each other for as long as the bank showed neither.
            known = [partners[each] for each in (reverses, undone_by) if partners.get(each)]
            hidden, again = at(day if reverses else undone_on), at(min(known, default=None))
            running.add(max(first, hidden), min(beyond, again), -amount)
    figures = zip(deposits.figures(), payments.figures(), balance.figures(), strict=True)
    return [Stood(*each) for each in figures]


def _postings(bank_account: BankAccount, until: date) -> Any:
    shown = ClearedPosting.objects.filter(posting=OuterRef("pk"), stands=True).order_by().values("posting")
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        account=bank_account.account_id, entry__date__lte=until, entry__sealed=True
    )
    rows = rows.order_by().annotate(shown=Subquery(shown.annotate(on=SHOWN_ON).values("on")))
    return rows.values_list(
        "entry__date", in_cents("amount"), "shown", "entry__reverses", "entry__reversed_by", "entry__reversed_by__date"
    ).iterator(chunk_size=5000)


def _shown_of_undone(bank_account: BankAccount) -> dict[int, date]:
    """When the bank showed entries that were reversed, or are reversals, by the entry's id."""
    rows: QuerySet[Any, Any] = ClearedPosting.objects.filter(
        Q(posting__entry__reverses__isnull=False) | Q(posting__entry__reversed_by__isnull=False),
        stands=True, posting__account=bank_account.account_id,
    )  # fmt: skip
    return dict(rows.order_by().values_list("posting__entry").annotate(on=SHOWN_ON))
