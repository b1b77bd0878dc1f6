"""The figures of the reports. They only read the ledger; `Decimal` in the book's currency."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property, partial
from typing import Any

from django.db.models import BooleanField, Case, Q, QuerySet, When

from clubdesk import clock
from clubdesk.clock import day_before, day_text
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import (
    DEBIT_KINDS,
    YEARLY_KINDS,
    Account,
    FinancialYear,
    Fund,
    Kind,
    Party,
    Posting,
    Role,
)
from clubdesk.ledger.selectors import ZERO, month_end
from clubdesk.money import figure_of, sum_of
from clubdesk.reports import tracing
from clubdesk.yearend import selectors as yearend
from clubdesk.yearend.models import Comparative

Key = tuple[int, str]
HAND = Case(When(ledger.BY_HAND, then=True), default=False, output_field=BooleanField())
"""Whether a manual journal put a line there."""


def year_before(day: date) -> date:
    """The same day a year earlier; the last of February for the last of February."""
    if day == month_end(day):
        return month_end(day.replace(day=1, year=day.year - 1))
    return day.replace(year=day.year - 1)


@dataclass
class Figures:
    """A span of days by account and fund, closing entries left out; debit positive.

    `opening` is what stood when it began, with the income and expense of before in Accumulated funds whether those
    years are closed yet or not; `movement` is what the span added. With a `fund` only that one is looked at.
    """

    first: date
    last: date
    fund: Fund | None = None
    accounts: list[Account] = field(default_factory=lambda: list(Account.objects.all()))

    @classmethod
    def of_year(cls, year: FinancialYear, fund: Fund | None = None) -> "Figures":
        return cls(year.first_day, year.last_day, fund)

    def of_other_days(self, first: date, last: date) -> "Figures":
        """The same of another span; what documents are for is read once for both."""
        other = Figures(first, last, self.fund, self.accounts)
        other._chart = self._chart
        return other

    @property
    def is_over(self) -> bool:
        return self.last <= clock.today()

    @property
    def last_day_told(self) -> str:
        """The last day, as what stands on it is headed; days that are not over are told so far."""
        return day_text(self.last) if self.is_over else "so far"

    @property
    def at_the_end(self) -> str:
        """The same behind what it is of: money in hand on 30 Jun 2026, or so far."""
        return f"on {day_text(self.last)}" if self.is_over else "so far"

    @cached_property
    def funds(self) -> list[Fund]:
        return [self.fund] if self.fund else list(Fund.objects.all())

    @cached_property
    def by_role(self) -> dict[str, Account]:
        return {account.role: account for account in self.accounts if account.role}

    @cached_property
    def money(self) -> list[Account]:
        return [account for account in self.accounts if account.is_money]

    @cached_property
    def _before(self) -> ledger.Balances:
        return ledger.balances(day_before(self.first), ["account_id", "fund_id"])

    @cached_property
    def opening(self) -> dict[Key, Decimal]:
        yearly = {account.pk for account in self.accounts if account.kind in YEARLY_KINDS}
        accumulated = self.by_role[Role.ACCUMULATED].pk
        opening: dict[Key, Decimal] = {}
        for (account_id, fund_id), figure in self._before.after_closing.items():
            key = (accumulated if account_id in yearly else account_id, fund_id)
            opening[key] = opening.get(key, ZERO) + figure
        return opening

    @cached_property
    def movement(self) -> dict[Key, Decimal]:
        before = self._before.before_closing
        after = ledger.balances(self.last, ["account_id", "fund_id"]).before_closing
        return {key: after.get(key, ZERO) - before.get(key, ZERO) for key in after.keys() | before.keys()}

    @cached_property
    def by_hand(self) -> dict[int, Decimal]:
        """What manual journals, and reversals of them, moved of it in each account, by its id."""
        found = {each.pk: self.trace(each, tracing.HAND) for each in self.accounts}
        return {pk: figure for pk, figure in found.items() if figure}

    @cached_property
    def _chart(self) -> tracing.Chart:
        return tracing.Chart.of(self.accounts)

    @cached_property
    def traced_before(self) -> dict[tracing.Key, Decimal]:
        return self._traced_twice[0]

    @cached_property
    def traced(self) -> dict[tracing.Key, Decimal]:
        return self._traced_twice[1]

    @cached_property
    def _traced_twice(self) -> tuple[dict[tracing.Key, Decimal], dict[tracing.Key, Decimal]]:
        return tracing.traced_twice(day_before(self.first), self.last, self._chart)

    @property
    def tells_the_year(self) -> bool:
        """Whether income and expense of the span are known."""
        return True

    def figure(self, which: dict[Key, Decimal], account: Account, fund: Fund | None = None) -> Decimal:
        """The account's figure of `opening` or `movement`, in one fund or in all."""
        funds = [fund] if fund else self.funds
        return sum((which.get((account.pk, each.pk), ZERO) for each in funds), ZERO)

    def moved(self, account: Account, fund: Fund | None = None) -> Decimal:
        return self.figure(self.movement, account, fund)

    def closing(self, account: Account, fund: Fund | None = None) -> Decimal:
        return self.figure(self.opening, account, fund) + self.figure(self.movement, account, fund)

    @cached_property
    def sides(self) -> dict[Key, tuple[Decimal, Decimal]]:
        """What stands on the last day in each account with parties, and fund: what they owe, and what they are owed."""
        return _sides(self.last)

    @cached_property
    def sides_before(self) -> dict[Key, tuple[Decimal, Decimal]]:
        """The same on the day before the first."""
        return _sides(day_before(self.first))

    def stands(self, account: Account, among: Kind, fund: Fund | None = None) -> Decimal:
        """What of the account stands among the assets or among the liabilities on the last day, debit positive.

        An account with parties is never netted: in each fund, whoever owes stands among the assets and whoever is owed
        among the liabilities.
        """
        return self._standing(self.closing, self.sides, account, among, fund)

    def stood(self, account: Account, among: Kind, fund: Fund | None = None) -> Decimal:
        """The same on the day before the first."""
        return self._standing(partial(self.figure, self.opening), self.sides_before, account, among, fund)

    def _standing(
        self,
        net: Callable[[Account, Fund | None], Decimal],
        sides: dict[Key, tuple[Decimal, Decimal]],
        account: Account,
        among: Kind,
        fund: Fund | None,
    ) -> Decimal:
        if not account.needs_party:
            return net(account, fund) if account.kind == among else ZERO
        funds = [fund] if fund else self.funds
        both = [sides.get((account.pk, each.pk), (ZERO, ZERO)) for each in funds]
        return sum((owed if among == Kind.ASSET else owing for owed, owing in both), ZERO)

    def of_kind(self, *kinds: Kind) -> list[Account]:
        return [account for account in self.accounts if account.kind in kinds]

    def surplus(self, fund: Fund | None = None) -> Decimal:
        """Income less expense; negative is a deficit."""
        return -sum((self.figure(self.movement, each, fund) for each in self.of_kind(*YEARLY_KINDS)), ZERO)

    def put_in(self, fund: Fund | None = None) -> Decimal:
        """What came straight into the funds beside income: corrections of earlier years; below nil what was taken."""
        return -sum((self.moved(each, fund) for each in self.of_kind(Kind.EQUITY)), ZERO)

    def net_assets(self, fund: Fund | None = None) -> Decimal:
        return sum((self.closing(each, fund) for each in self.of_kind(Kind.ASSET, Kind.LIABILITY)), ZERO)

    def net_assets_before(self, fund: Fund | None = None) -> Decimal:
        accounts = self.of_kind(Kind.ASSET, Kind.LIABILITY)
        return sum((self.figure(self.opening, each, fund) for each in accounts), ZERO)

    def money_in_hand(self, fund: Fund | None = None) -> Decimal:
        return sum((self.closing(each, fund) for each in self.money), ZERO)

    def money_before(self, fund: Fund | None = None) -> Decimal:
        return sum((self.figure(self.opening, each, fund) for each in self.money), ZERO)

    def trace(self, line: Account, against: tracing.Against, fund: Fund | None = None) -> Decimal:
        """How much of the span's movement against `against` was for the line; what adds to the surplus is positive."""
        return self._trace(self.traced, line, against, fund) - self._trace(self.traced_before, line, against, fund)

    def trace_before(self, line: Account, against: tracing.Against, fund: Fund | None = None) -> Decimal:
        """How the line stood against `against` when the span began."""
        return self._trace(self.traced_before, line, against, fund)

    def _trace(
        self, which: dict[tracing.Key, Decimal], line: Account, against: tracing.Against, fund: Fund | None
    ) -> Decimal:
        funds = [fund] if fund else self.funds
        return sum((which.get((each.pk, line.pk, against), ZERO) for each in funds), ZERO)

    def cash(self, line: Account, fund: Fund | None = None) -> Decimal:
        """Money that came in for the line, less what went out."""
        return self.trace(line, tracing.CASH, fund)

    def accrual(self, line: Account, fund: Fund | None = None) -> Decimal:
        """What the line adds to the surplus or to the funds; nil where it is a balance sheet account itself."""
        return -self.moved(line, fund) if line.kind in tracing.LINE_KINDS else ZERO

    @cached_property
    def lines(self) -> list[Account]:
        """Each account that something was for in the span."""
        funds = {fund.pk for fund in self.funds}
        touched = {
            line
            for which in (self.traced, self.traced_before)
            for (fund, line, _), figure in which.items()
            if fund in funds and figure
        }
        touched |= {key[0] for key, figure in self.movement.items() if figure and key[1] in funds}
        return [account for account in self.accounts if account.pk in touched and not account.is_money]

    def used(self, accounts: Iterable[Account], other: "Figures | None" = None) -> list[Account]:
        """Those with an opening, a movement or a figure in the `other` span."""
        return [
            account
            for account in accounts
            if any(self.figure(which, account, fund) for which in (self.opening, self.movement) for fund in self.funds)
            or (other is not None and (other.closing(account) or other.moved(account)))
        ]


def _sides(as_at: date) -> dict[Key, tuple[Decimal, Decimal]]:
    found: dict[Key, tuple[Decimal, Decimal]] = {}
    standing = ledger.balances(as_at, ["account_id", "fund_id", "party_id"], account__needs_party=True)
    for (account, fund, _), figure in standing.after_closing.items():
        owed, owing = found.get((account, fund), (ZERO, ZERO))
        found[account, fund] = (owed + max(figure, ZERO), owing + min(figure, ZERO))
    return found


def by_party(now: Figures) -> Iterator[tuple[tuple[int, str, str], Decimal, Decimal]]:
    """By account, party and fund what stood at the start and stands at the end, of accounts that name who owes.

    In the order of the accounts' codes and of the parties as they came, whatever they are called since.
    """
    keys = ["account_id", "party_id", "fund_id"]
    start, end = (
        ledger.balances(day, keys, account__needs_party=True).after_closing for day in (day_before(now.first), now.last)
    )
    found = [key for key in start.keys() | end.keys() if start.get(key) or end.get(key)]
    names = dict(Party.objects.filter(pk__in={party for _, party, _ in found}).values_list("pk", "name"))
    codes = {account.pk: account.code for account in now.accounts}
    for key in sorted(found, key=lambda key: (codes[key[0]], *key[1:])):
        account, party, fund = key
        yield (account, names[party], fund), start.get(key, ZERO), end.get(key, ZERO)


class BeforeTheBook(Figures):
    """The year before the first one: income and expense as its statements printed them, where somebody typed them.

    What the club had and owed at its end is what was brought in; without that it is as printed. It has no cash basis.
    """

    @cached_property
    def printed(self) -> dict[Key, Decimal]:
        funds = {fund.pk for fund in self.funds}
        rows = [row for row in yearend.comparatives(self.last) if row.fund_id in funds]
        return {
            (row.account_id, row.fund_id): row.amount.amount
            * (1 if row.account.kind in DEBIT_KINDS else -1)
            * _usual(row)
            for row in rows
        }

    @property
    def tells_the_year(self) -> bool:
        """Whether its income and expense are known."""
        yearly = {each.pk for each in self.of_kind(*YEARLY_KINDS)}
        return any(account in yearly for account, _ in self.printed)

    @cached_property
    def opening(self) -> dict[Key, Decimal]:
        return {}

    def put_in(self, fund: Fund | None = None) -> Decimal:
        return ZERO

    @cached_property
    def movement(self) -> dict[Key, Decimal]:
        brought = ledger.balances(self.last, ["account_id", "fund_id"]).before_closing
        yearly = {each.pk for each in self.of_kind(*YEARLY_KINDS)}
        return {key: figure for key, figure in self.printed.items() if key[0] in yearly or not brought} | brought

    @cached_property
    def traced_before(self) -> dict[tracing.Key, Decimal]:
        return {}

    @cached_property
    def traced(self) -> dict[tracing.Key, Decimal]:
        return {}


def _usual(row: Comparative) -> int:
    """Depreciation and the allowance stand among the assets as what is taken off."""
    return -1 if row.account.role in (Role.DEPRECIATED, Role.ALLOWANCE) else 1


def a_year_earlier(now: Figures) -> Figures | None:
    """The same span of the year before, or what is known of the year before the first; None where that is nothing."""
    first, last = year_before(now.first), year_before(now.last)
    years = list(FinancialYear.objects.filter(first_day__lte=last, last_day__gte=first).order_by("first_day"))
    if years and years[0].first_day <= first and years[-1].last_day >= last:
        return now.of_other_days(first, last)
    if (last - first).days >= 364 and not years:
        before = BeforeTheBook(first, last, now.fund, now.accounts)
        return before if before.movement else None
    return None


def lines_of_year(year: FinancialYear) -> QuerySet[Any, Any]:
    """Every line of the year in the order of entry numbers, as flat tuples to be streamed."""
    return (
        Posting.objects.filter(entry__year=year, entry__sealed=True)
        .annotate(by_hand=HAND)
        .order_by("entry__number", "pk")
        .values_list(
            "entry__number",
            "entry__date",
            "entry__narration",
            "account__code",
            "account__name",
            "fund__name",
            "party__name",
            figure_of("amount"),
            "entry__is_closing",
            "entry__reverses__number",
            "by_hand",
        )
    )


def lines_by_account(year: FinancialYear) -> QuerySet[Any, Any]:
    """Every line of the year account by account in the order of their codes, closing entries left out."""
    rows = Posting.objects.filter(entry__year=year, entry__sealed=True, entry__is_closing=False)
    return (
        rows.annotate(by_hand=HAND)
        .order_by("account__code", "entry__date", "entry__number", "pk")
        .values_list(
            "account", "entry__number", "entry__date", "entry__narration", "fund__name", "party__name",
            figure_of("amount"), "entry__reverses__number", "by_hand",
        )
    )  # fmt: skip


def balances_at(year: FinancialYear, number: int) -> dict[str, Decimal]:
    """What each account stood at on the year's last day by the entries up to a number, by its code; debit positive.

    Closing entries are left out; income and expense of earlier years stand in Accumulated funds.
    """
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        entry__number__lte=number, entry__date__lte=year.last_day, entry__sealed=True
    ).exclude(entry__is_closing=True)
    rows = rows.order_by().values_list("account__code", "account__kind", "account__role", "entry__year")
    accumulated = ledger.account(Role.ACCUMULATED).code
    found: dict[str, Decimal] = {}
    for code, kind, _, its_year, figure in rows.annotate(figure=sum_of("amount")):
        place = accumulated if kind in YEARLY_KINDS and its_year != year.pk else code
        found[place] = found.get(place, ZERO) + figure
    return found


@dataclass(frozen=True)
class AccountLine:
    """A line of an account; `debit` or `credit` is nil, `balance` is debit positive."""

    entry: int
    number: int
    on: date
    narration: str
    who: str
    debit: Decimal
    credit: Decimal
    balance: Decimal


@dataclass(frozen=True)
class AccountLines:
    opening: Decimal
    lines: list[AccountLine]

    @property
    def closing(self) -> Decimal:
        return self.lines[-1].balance if self.lines else self.opening


def lines_of_account(account: Account, first: date, last: date, fund: Fund | None = None) -> AccountLines:
    """What was posted to the account in the span; a fund's alone where one is given.

    Income and expense are counted from the first day of the span, their closing entries left out.
    """
    only: dict[str, Any] = {"account": account, **({"fund": fund} if fund else {})}
    before, is_yearly = ZERO, account.kind in YEARLY_KINDS
    if is_yearly:
        only["entry__is_closing"] = False
    else:
        before = ledger.balances(day_before(first), ["account_id"], **only).after_closing.get((account.pk,), ZERO)
    rows = Posting.objects.filter(entry__sealed=True, entry__date__range=(first, last), **only)
    values: QuerySet[Any, Any] = rows.order_by("entry__date", "entry__number", "pk").values_list(
        "entry", "entry__number", "entry__date", "entry__narration", "party__name", figure_of("amount")
    )
    balance, found = before, []
    for entry, number, on, narration, who, amount in values:
        balance += amount
        found.append(
            AccountLine(entry, number, on, narration, who or "", max(amount, ZERO), max(-amount, ZERO), balance)
        )
    return AccountLines(before, found)


def turnover(year: FinancialYear) -> QuerySet[Any, Any]:
    """For each account's id what was debited, and what was credited (below nil); closing entries left out."""
    rows: QuerySet[Any, Any] = Posting.objects.filter(entry__year=year, entry__sealed=True, entry__is_closing=False)
    rows = rows.order_by().values_list("account")
    both: QuerySet[Any, Any] = rows.annotate(
        debits=sum_of("amount", Q(amount__gt=0)), credits=sum_of("amount", Q(amount__lt=0))
    )
    return both
