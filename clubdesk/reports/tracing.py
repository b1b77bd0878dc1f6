"""What money was for: every entry traced to the line of the statements behind it.

A *line* is the account that something was for: mostly income or expense, and where there is none (money passed on to
an association, a family's credit that pays nothing yet) the balance sheet account itself. For each line and fund,

    accrual = cash + what moved in each balance sheet account for it + what was moved between lines

with all that adds to the surplus positive. That holds entry by entry (`moves_of`), and so for any period: it is the
bridge between the two bases. Receipts and vouchers are traced through what they paid: from a day on the money of a
receipt is for the fee that it pays (`Allocation.used_on`), before that a family's credit.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from itertools import chain, groupby
from operator import itemgetter
from typing import Any, NamedTuple

from django.db.models import BooleanField, Case, Max, Q, QuerySet, When
from django.db.models.functions import Coalesce

from clubdesk.entryfund.models import EntryClaim
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import (
    PAID_IN,
    Allocation,
    Charge,
    ChargeCredit,
    GiveBack,
    OpeningBalances,
    Receipt,
    Voucher,
    WriteOff,
)
from clubdesk.ledger.models import Account, FundRole, Journal, JournalEntry, JournalOrigin, Kind, Posting, Role
from clubdesk.ledger.selectors import ZERO, source_type
from clubdesk.money import as_amount, decimal_of, figure_of, in_cents
from clubdesk.reports.models import MonthTrace, What
from clubdesk.yearend.models import Disposal

CASH, BETWEEN, HAND = What.CASH.value, What.BETWEEN.value, What.HAND.value
Against = int | str
Key = tuple[str, int, Against]
"""Fund, line, and what moved: an account's id, CASH or BETWEEN; HAND is what manual journals moved in the line."""
Move = tuple[int, Against, int]
"""A line, what moved in it, and whole cents."""


class Source(NamedTuple):
    """What a move follows from, for whoever follows a figure: an entry by its number, or a receipt by its own.

    The money of a receipt or of vouchers comes to be for a fee without an entry; `words` say so. No person's name
    stands in them that is not in the journal.
    """

    entry: int | None
    receipt: int | None
    words: str


Moves = Iterator[tuple[date, Key, int, Source]]
"""Each on its day, in whole cents, with what it follows from."""
JOURNAL = source_type(Journal)
INCOME_OF_A_CHARGE = ("price__item__income_account", "opened_for")
"""Where the club's part of a fee goes; of one that was brought in, what it is owed for."""
LINE_KINDS = (Kind.INCOME, Kind.EXPENSE, Kind.EQUITY)


@dataclass
class Chart:
    """Which accounts are money, and which are lines of the statements by themselves; by their ids."""

    money: frozenset[int]
    lines: frozenset[int]
    by_role: dict[str, int]
    expenses: frozenset[int]
    income: frozenset[int]
    taxes: frozenset[int] = frozenset()
    """GST collected and paid: it is for what it was in, as the money that it came with."""

    @cached_property
    def documents(self) -> "Documents":
        return Documents(self)

    @classmethod
    def read(cls) -> "Chart":
        return cls.of(list(Account.objects.all()))

    @classmethod
    def of(cls, accounts: Sequence[Account]) -> "Chart":
        return cls(
            frozenset(each.pk for each in accounts if each.is_money),
            frozenset(each.pk for each in accounts if each.kind in LINE_KINDS),
            {each.role: each.pk for each in accounts if each.role},
            frozenset(each.pk for each in accounts if each.kind == Kind.EXPENSE),
            frozenset(each.pk for each in accounts if each.kind == Kind.INCOME),
            frozenset(each.pk for each in accounts if each.role in (Role.GST_COLLECTED, Role.GST_PAID)),
        )

    def says_what_money_was_for(self, rows: Sequence[tuple[int, int]]) -> bool:
        """Whether a journal by hand tells anew what money was for: between lines of income and expense, or out of what
        was not explained yet.

        What costs and earns at once, such as a gift in kind, moves no money (common practice, no source).
        """
        suspense = self.by_role.get(Role.SUSPENSE)
        if not all(account in self.expenses | self.income or account == suspense for account, _ in rows):
            return False
        spent = sum(amount for account, amount in rows if account in self.expenses)
        earned = -sum(amount for account, amount in rows if account in self.income)
        return not (spent > 0 and earned > 0)


def moves_of(
    postings: Iterable[tuple[int, int]], known_line: int | None, chart: Chart, is_journal: bool = False
) -> Iterator[Move]:
    """What one entry's postings (account id, cents) in one fund moved, line by line. Pure.

    `known_line` is what the document is for, where that is known. Otherwise an entry without money that touches one
    single line is for that line, and in any other each account is for itself; GST is for the largest of them. A journal
    that puts right what money was for takes the money along.
    """
    rows = list(postings)
    has_money = any(account in chart.money for account, _ in rows)
    if is_journal and known_line is None and not has_money:
        has_money = chart.says_what_money_was_for(rows)
    touched = {account for account, _ in rows if account in chart.lines}
    whole = known_line or (touched.pop() if len(touched) == 1 and not has_money else None)
    others = [row for row in rows if row[0] not in chart.money | chart.taxes] if chart.taxes else []
    taxed = max(others, key=lambda row: abs(row[1]), default=None)
    left: dict[int, int] = defaultdict(int)
    for account, amount in rows:
        if account in chart.money:
            continue
        line = whole or (taxed[0] if taxed and account in chart.taxes else account)
        left[line] += amount
        if account not in chart.lines:
            yield line, account, amount
        elif account != line:
            yield line, BETWEEN, amount
            yield account, BETWEEN, -amount
    for line, amount in left.items():
        yield line, CASH if has_money else BETWEEN, -amount


class Documents:
    """What each document is for, as the id of an account; read once and only where it is asked for."""

    def __init__(self, chart: Chart):
        self.chart = chart

    def line_of(self, document: str, pk: int) -> int | None:
        found = self.lines.get(document)
        return found(pk) if found else None

    @cached_property
    def lines(self) -> dict[str, Any]:
        refunds = self.chart.by_role.get(Role.ENTRY_REFUNDS)
        return {
            source_type(OpeningBalances): lambda pk: self.chart.by_role[Role.ACCUMULATED],
            source_type(EntryClaim): lambda pk: refunds,
            source_type(Charge): lambda pk: self.charges.get(pk),
            source_type(ChargeCredit): lambda pk: self.charges.get(self.credits.get(pk, 0)),
            source_type(WriteOff): lambda pk: self.charges.get(self.write_offs.get(pk, 0)),
            source_type(Voucher): lambda pk: self.charges.get(self.vouchers.get(pk, 0)),
            source_type(GiveBack): lambda pk: self.charges.get(self.vouchers.get(self.give_backs.get(pk, 0), 0)),
            source_type(Expense): lambda pk: self.expenses.get(pk),
            JOURNAL: self._journal,
        }

    def _journal(self, pk: int) -> int | None:
        if pk in self.openings:
            return self.chart.by_role[Role.ACCUMULATED]
        return self.chart.by_role.get(Role.DISPOSALS) if pk in self.sales else None

    @cached_property
    def sales(self) -> set[int]:
        """Equipment given up for money: the money is for what is lost or won by it, not for its cost."""
        return set(Disposal.objects.filter(proceeds__gt=0).values_list("journal", flat=True))

    @cached_property
    def openings(self) -> set[int]:
        """Opening trial balances: whatever they bring in was there before this book, and is no money of its days."""
        return set(Journal.objects.filter(origin=JournalOrigin.OPENING).values_list("pk", flat=True))

    @cached_property
    def charges(self) -> dict[int, int]:
        accumulated = self.chart.by_role[Role.ACCUMULATED]
        rows = Charge.objects.order_by().values_list("pk", Coalesce(*INCOME_OF_A_CHARGE))
        return {pk: account or accumulated for pk, account in rows}

    @cached_property
    def credits(self) -> dict[int, int]:
        return dict(ChargeCredit.objects.order_by().values_list("pk", "charge"))

    @cached_property
    def write_offs(self) -> dict[int, int]:
        return dict(WriteOff.objects.order_by().values_list("pk", "charge"))

    @cached_property
    def vouchers(self) -> dict[int, int]:
        return dict(Voucher.objects.order_by().values_list("pk", FIRST_CHARGE))

    @cached_property
    def give_backs(self) -> dict[int, int]:
        return dict(GiveBack.objects.order_by().values_list("pk", "voucher"))

    @cached_property
    def expenses(self) -> dict[int, int]:
        return dict(Expense.objects.order_by().values_list("pk", "account"))


def traced(as_at: date, chart: Chart | None = None) -> dict[Key, Decimal]:
    """Each line's figures at the end of `as_at`, cumulative: the last stored month and what came since.

    A `chart` that was read before saves reading it, and what documents are for, once more.
    """
    stored, moved = _stored_by(as_at), defaultdict[Key, int](int)
    if stored != as_at:
        for _, key, cents, _ in moves(stored, as_at, chart or Chart.read()):
            moved[key] += cents
    return _with(_stored(stored), moved)


def traced_twice(first: date, last: date, chart: Chart) -> tuple[dict[Key, Decimal], dict[Key, Decimal]]:
    """The same at the end of both days; read once where no month is stored in between."""
    stored = _stored_by(last)
    if stored and stored > first:
        return traced(first, chart), traced(last, chart)
    by_first, by_last = defaultdict[Key, int](int), defaultdict[Key, int](int)
    for day, key, cents, _ in moves(stored, last, chart):
        by_last[key] += cents
        if day <= first:
            by_first[key] += cents
    begins = _stored(stored)
    return _with(begins, by_first), _with(begins, by_last)


def _stored_by(as_at: date) -> date | None:
    found: date | None = MonthTrace.objects.filter(month_end__lte=as_at).aggregate(last=Max("month_end"))["last"]
    return found


def _stored(month_end: date | None) -> dict[Key, Decimal]:
    """The figures of a stored month; none where no month is."""
    found: dict[Key, Decimal] = defaultdict(lambda: ZERO)
    if month_end is None:
        return found
    rows: QuerySet[Any, Any] = MonthTrace.objects.filter(month_end=month_end)
    for fund, line, against, what, amount in rows.values_list("fund", "line", "against", "what", figure_of("amount")):
        found[fund, line, against or what] += amount
    return found


def _with(stored: Mapping[Key, Decimal], moved: Mapping[Key, int]) -> dict[Key, Decimal]:
    """What was stored and what moved since, nil left out."""
    found = {key: stored.get(key, ZERO) + decimal_of(moved.get(key, 0)) for key in stored.keys() | moved.keys()}
    return {key: amount for key, amount in found.items() if amount}


def months_that_differ() -> list[date]:
    """The stored months whose figures are not those of the postings, receipts and vouchers, all of them read once."""
    ends = stored_months()
    if not ends:
        return []
    moved: list[dict[Key, int]] = [defaultdict(int) for _ in ends]
    for day, key, cents, _ in moves(None, ends[-1], Chart.read()):
        moved[bisect_left(ends, day)][key] += cents
    rows: QuerySet[Any, Any] = MonthTrace.objects.order_by("month_end")
    rows = rows.values_list("month_end", "fund", "line", "against", "what", in_cents("amount"))
    found: dict[Key, int] = defaultdict(int)
    wrong = []
    for (end, stored), since in zip(groupby(rows.iterator(chunk_size=2000), key=itemgetter(0)), moved, strict=True):
        for key, cents in since.items():
            found[key] += cents
        figures = {(fund, line, against or what): cents for _, fund, line, against, what, cents in stored}
        if figures != {key: cents for key, cents in found.items() if cents}:
            wrong.append(end)
    return wrong


def stored_months() -> list[date]:
    """The ends of the months that figures are stored for."""
    return list(MonthTrace.objects.order_by("month_end").values_list("month_end", flat=True).distinct())


def store_month(*, month_end: date, **_: Any) -> None:
    """Keep the month's figures; called as it is locked, after the months before it."""
    figures = traced(month_end)
    rows = [
        MonthTrace(
            month_end=month_end,
            fund_id=fund,
            line_id=line,
            against_id=None if isinstance(against, str) else against,
            what=against if isinstance(against, str) else What.ACCOUNT,
            amount=as_amount(amount),
        )
        for (fund, line, against), amount in figures.items()
    ]
    MonthTrace.objects.bulk_create(rows, batch_size=500)


def drop_months(*, month_end: date, **_: Any) -> None:
    """Keep nothing of the month and of later ones; called as they are unlocked."""
    MonthTrace.objects.filter(month_end__gte=month_end).delete()


def _between(field: str, after: date | None, until: date) -> Q:
    span = Q(**{f"{field}__lte": until})
    return span & Q(**{f"{field}__gt": after}) if after else span


def moves(after: date | None, until: date, chart: Chart) -> Moves:
    """Every move after one day until another: of entries by their numbers, then of receipts and of vouchers by day.

    Rows are read as they are asked for and never held together.
    """
    for each in (_entry_moves, _opening_moves, _receipt_moves, _voucher_moves):
        yield from each(after, until, chart)


def _entry_moves(after: date | None, until: date, chart: Chart) -> Moves:
    entries: QuerySet[Any, Any] = JournalEntry.objects.filter(
        _between("date", after, until), sealed=True, is_closing=False
    )
    postings: QuerySet[Any, Any] = Posting.objects.filter(
        _between("entry__date", after, until), entry__sealed=True, entry__is_closing=False
    )
    of_entries = entries.order_by("pk").values_list(
        "pk", "date", "source_type", "source_id", "reverses__source_type", "reverses__source_id", "number", "narration"
    )
    found = of_entries.iterator(chunk_size=2000)
    first = next(found, None)
    if first is None:
        return
    lines = postings.order_by("entry", "fund").values_list("entry", "fund", "account", in_cents("amount"))
    by_fund = groupby(lines.iterator(chunk_size=5000), key=itemgetter(0, 1))
    entry, fund, rows = _next(by_fund)
    for pk, day, own_type, own_id, undone_type, undone_id, number, narration in chain([first], found):
        kind, document, source = undone_type or own_type, undone_id or own_id, Source(number, None, narration)
        while entry == pk:
            if kind == JOURNAL:
                yield from ((day, (fund, account, HAND), cents, source) for account, cents in rows)
            for_line = chart.documents.line_of(kind, document)
            for line, against, cents in moves_of(rows, for_line, chart, is_journal=kind == JOURNAL):
                if cents:
                    yield day, (fund, line, against), cents, source
            entry, fund, rows = _next(by_fund)


def _next(by_fund: Iterator[Any]) -> tuple[int, str, list[tuple[int, int]]]:
    """The next entry and fund with the account and cents of each line; nothing after the last."""
    (entry, fund), lines = next(by_fund, ((0, ""), ()))
    return entry, fund, [line[2:4] for line in lines]


def _shift(day: date, account: int, taken_from: int, to: int, cents: int, by: str, source: Source) -> Moves:
    """Of what stands in `account`, so much is for another line: the side that settles it moves with it."""
    if taken_from == to:
        return
    fund = FundRole.GENERAL.value
    yield day, (fund, to, by), cents, source
    yield day, (fund, taken_from, by), -cents, source
    yield day, (fund, to, account), -cents, source
    yield day, (fund, taken_from, account), cents, source


def _opening_moves(after: date | None, until: date, chart: Chart) -> Moves:
    """What families owed or had paid ahead when the book began is for what they say it was for."""
    fees, accumulated = chart.by_role.get(Role.FEES_OWED), chart.by_role.get(Role.ACCUMULATED)
    if not (fees and accumulated):
        return
    for model, field, sign in ((Charge, "charged_on", -1), (Receipt, "received_on", 1)):
        rows = model._default_manager.filter(_between(field, after, until), opening__isnull=False).order_by("pk")
        unknown = accumulated if model is Charge else fees
        for pk, day, line, cents in rows.values_list("pk", field, "opened_for", in_cents("amount")):
            source = Source(None, None, f"Brought in as {model._meta.verbose_name} {pk}")
            yield from _shift(day, fees, accumulated, line or unknown, sign * cents, BETWEEN, source)


def _receipt_moves(after: date | None, until: date, chart: Chart) -> Moves:
    """Receipts pay fees: their money was a family's credit before, and is for the fee's income now.

    What was paid before this book began is no money of its days: it only moves from what it was paid ahead for.
    """
    fees, accumulated = chart.by_role.get(Role.FEES_OWED), chart.by_role.get(Role.ACCUMULATED)
    if not (fees and accumulated):
        return
    income = Coalesce(*(f"charge__{each}" for each in INCOME_OF_A_CHARGE))
    brought = Case(When(receipt__opening=None, then=False), default=True, output_field=BooleanField())
    for field, sign, does in (("used_on", 1, "pays"), ("freed_on", -1, "no longer pays")):
        rows = Allocation.objects.filter(_between(field, after, until)).order_by(field, "pk")
        paid = rows.exclude(charge=None).values_list(
            field, "receipt__number", "charge", income, brought, "receipt__opened_for", in_cents("amount")
        )
        for day, receipt, charge, line, was_brought, ahead_for, cents in paid.iterator(chunk_size=2000):
            by, source = (
                BETWEEN if was_brought else CASH,
                Source(None, receipt, f"Receipt {receipt} {does} charge {charge}"),
            )
            yield from _shift(day, fees, ahead_for or fees, line or accumulated, sign * cents, by, source)
        back = rows.filter(charge=None, receipt__opened_for__isnull=False)
        for day, receipt, ahead_for, cents in back.values_list(
            field, "receipt__number", "receipt__opened_for", in_cents("amount")
        ):
            words = f"Receipt {receipt}, brought in, {'was' if sign > 0 else 'is no longer'} paid back"
            yield from _shift(day, fees, fees, ahead_for, -sign * cents, CASH, Source(None, receipt, words))


FIRST_CHARGE = Coalesce("first_charge", "charge")
"""The fee that a voucher was set against, also where it pays another of the child's now: a closed year stays so."""


def _voucher_moves(after: date | None, until: date, chart: Chart) -> Moves:
    """A lodgement is paid in one sum: its money is for the fees that its vouchers paid."""
    owed, accumulated = chart.by_role.get(Role.VOUCHERS_OWED), chart.by_role.get(Role.ACCUMULATED)
    if not (owed and accumulated):
        return
    rows = Voucher.objects.filter(_between("lodgement__paid_on", after, until), state__in=PAID_IN)
    paid = rows.order_by("lodgement__paid_on", "pk").values_list(
        "lodgement__paid_on",
        "lodgement",
        FIRST_CHARGE,
        "charge__price__item__income_account",
        in_cents("amount"),
        in_cents("given_back"),
    )
    for day, claim, charge, income, cents, back in paid.iterator(chunk_size=2000):
        source = Source(None, None, f"Voucher claim {claim} pays charge {charge}")
        yield from _shift(day, owed, owed, income or accumulated, cents + back, CASH, source)
