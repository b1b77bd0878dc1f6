"""The figures of the reports. They only read the ledger; `Decimal` in the book's currency."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import QuerySet

from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import (
    YEARLY_KINDS,
    Account,
    FinancialYear,
    Fund,
    FundRole,
    JournalEntry,
    Kind,
    Party,
    Posting,
    Role,
)
from clubdesk.ledger.selectors import ZERO

Key = tuple[int, str]


def previous_year(year: FinancialYear) -> FinancialYear | None:
    return FinancialYear.objects.filter(last_day=year.first_day - timedelta(days=1)).first()


@dataclass
class YearFigures:
    """A year by account and fund, closing entries left out; debit positive.

    `opening` is what stood when the year began, with the income and expense of earlier years in Accumulated
    funds whether those years are closed yet or not; `movement` is what the year added.
    """

    year: FinancialYear
    accounts: list[Account] = field(default_factory=lambda: list(Account.objects.all()))
    funds: list[Fund] = field(default_factory=lambda: list(Fund.objects.all()))

    @cached_property
    def opening(self) -> dict[Key, Decimal]:
        found = ledger.balances(self.year.first_day - timedelta(days=1), ["account_id", "fund_id"])
        yearly = {account.pk for account in self.accounts if account.kind in YEARLY_KINDS}
        accumulated = next(account.pk for account in self.accounts if account.role == Role.ACCUMULATED)
        opening: dict[Key, Decimal] = {}
        for (account_id, fund_id), figure in found.after_closing.items():
            key = (accumulated if account_id in yearly else account_id, fund_id)
            opening[key] = opening.get(key, ZERO) + figure
        return opening

    @cached_property
    def movement(self) -> dict[Key, Decimal]:
        before = ledger.balances(self.year.first_day - timedelta(days=1), ["account_id", "fund_id"]).before_closing
        after = ledger.balances(self.year.last_day, ["account_id", "fund_id"]).before_closing
        return {key: after.get(key, ZERO) - before.get(key, ZERO) for key in after.keys() | before.keys()}

    def figure(self, which: dict[Key, Decimal], account: Account, fund: Fund | None = None) -> Decimal:
        """The account's figure of `opening` or `movement`, in one fund or in all."""
        funds = [fund] if fund else self.funds
        return sum((which.get((account.pk, each.pk), ZERO) for each in funds), ZERO)

    def closing(self, account: Account, fund: Fund | None = None) -> Decimal:
        return self.figure(self.opening, account, fund) + self.figure(self.movement, account, fund)

    def of_kind(self, *kinds: Kind) -> list[Account]:
        return [account for account in self.accounts if account.kind in kinds]

    def surplus(self, fund: Fund | None = None) -> Decimal:
        """Income less expense; negative is a deficit."""
        return -sum((self.figure(self.movement, each, fund) for each in self.of_kind(*YEARLY_KINDS)), ZERO)

    def net_assets(self, fund: Fund | None = None) -> Decimal:
        return sum((self.closing(each, fund) for each in self.of_kind(Kind.ASSET, Kind.LIABILITY)), ZERO)

    def used(self, accounts: Iterable[Account], other: "YearFigures | None" = None) -> list[Account]:
        """Those with an opening, a movement or a figure in the `other` year."""
        return [
            account
            for account in accounts
            if any(self.figure(which, account, fund) for which in (self.opening, self.movement) for fund in self.funds)
            or (other is not None and other.closing(account))
        ]


def lines_of_year(year: FinancialYear) -> QuerySet[Any, Any]:
    """Every line of the year in the order of entry numbers, as flat tuples to be streamed."""
    return (
        Posting.objects.filter(entry__year=year, entry__sealed=True)
        .order_by("entry__number", "pk")
        .values_list(
            "entry__number",
            "entry__date",
            "entry__narration",
            "account__code",
            "account__name",
            "fund__name",
            "party__name",
            "amount",
            "entry__is_closing",
            "entry__reverses__number",
        )
    )


def households_owing(as_at: date) -> list[tuple[Party, Decimal]]:
    """Each household with a balance and what it owes; negative is a credit. Largest first."""
    owing = ledger.party_balances(Role.FEES_OWED, as_at)
    parties = Party.objects.in_bulk(owing)
    return sorted(((parties[pk], figure) for pk, figure in owing.items()), key=lambda row: (-row[1], row[0].name))


@dataclass(frozen=True)
class FundMove:
    """One entry's effect on a fund: income positive in `came_in`, expense positive in `went_out`."""

    number: int
    on: date
    narration: str
    came_in: Decimal
    went_out: Decimal


def fund_moves(year: FinancialYear, role: FundRole) -> list[FundMove]:
    """What came into the fund and went out of it in the year, closing entries left out.

    What was brought straight into the fund, such as a first opening balance, counts as having come in.
    """
    rows: QuerySet[Any, Any] = (
        Posting.objects.filter(
            entry__year=year, entry__is_closing=False, fund_id=role, account__kind__in=(*YEARLY_KINDS, Kind.EQUITY)
        )
        .order_by("entry__number", "pk")
        .values_list("entry__number", "entry__date", "entry__narration", "amount")
    )
    return [FundMove(number, on, text, max(-amount, ZERO), max(amount, ZERO)) for number, on, text, amount in rows]


def last_entry() -> JournalEntry | None:
    return JournalEntry.objects.order_by("-number").first()
