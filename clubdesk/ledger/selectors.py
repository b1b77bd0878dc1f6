"""Questions to the ledger. Figures are `Decimal` in the book's currency, debit positive."""

import calendar
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any, Protocol, TypeVar

from django.apps import apps
from django.db.models import F, Max, Min, Model, OuterRef, Q, QuerySet, Subquery

from clubdesk.clock import day_before, day_text
from clubdesk.errors import Refused
from clubdesk.ledger.models import (
    Account,
    Book,
    Document,
    FinancialYear,
    Fund,
    FundRole,
    Journal,
    JournalEntry,
    JournalOrigin,
    Kind,
    MonthBalance,
    Party,
    Posting,
    Role,
    TaxCode,
)
from clubdesk.moment import once
from clubdesk.money import as_amount, in_all, sum_of

ZERO = Decimal("0.00")
Row = TypeVar("Row", bound=Model)


@once
def the_book() -> Book | None:
    return Book.objects.first()


def book() -> Book:
    """The book, or Refused where none has been started."""
    found = the_book()
    if found is None:
        raise Refused("No book has been started yet; run start_books first.")
    return found


def club_name() -> str:
    found = the_book()
    return found.club_name if found else ""


def is_registered() -> bool:
    """Whether the club is, or will be, registered for GST; where not, nothing of it is shown."""
    return Book.objects.exclude(gst_from=None).exists()


def is_taxed(code: str, on: date) -> bool:
    """Whether there is GST in what has that code and happens on that day; the book is asked for taxable codes alone."""
    return code == TaxCode.TAXABLE and any(book.is_registered_on(on) for book in Book.objects.all())


REGISTERS_FROM = as_amount(150_000)
"""From this GST turnover a non-profit body must register. Source: GST Act, s 23-15 (from memory)."""


def gst_turnover(on: date) -> Decimal:
    """What was earned in the twelve months to that day beside gifts and interest: memberships and entry fees count.

    Source: Australian Taxation Office, edited version of private advice 1051611840184. Whether grants count, and what
    the coming months will bring, is for a registered tax agent to say; here grants count.
    """
    rows = Posting.objects.filter(entry__sealed=True, entry__is_closing=False, account__kind=Kind.INCOME)
    rows = rows.filter(entry__date__gt=on - timedelta(days=365), entry__date__lte=on)
    return -in_all(rows.exclude(account__role__in=(Role.DONATIONS, Role.INTEREST)))


def asked(model: type[Row], where: str, *values: object) -> Sequence[Row]:
    """Rows by a condition of fixed text, for what each post asks: Django would draw it anew at some times the cost."""
    return list(model._default_manager.raw(f"SELECT * FROM {model._meta.db_table} WHERE {where}", values))


def with_roles(*roles: Role) -> Sequence[Account]:
    """The accounts with those roles, in no order; the book may lack some."""
    return asked(Account, f"role IN ({', '.join(['%s'] * len(roles))})", *roles) if roles else []


def account(role: Role) -> Account:
    for found in with_roles(role):
        return found
    raise Refused(f"No account has the role “{Role(role).label}”; give it to one in the chart.")


def accounts_of(*roles: Role) -> list[Account]:
    """The accounts with those roles in their order, those that the book has."""
    found = {account.role: account for account in with_roles(*roles)}
    return [found[role] for role in roles if role in found]


def source_type(model: type[Model] | Model) -> str:
    return model._meta.label_lower


def entries_of(document: Model) -> QuerySet[JournalEntry]:
    return JournalEntry.objects.filter(source_type=source_type(document), source_id=document.pk)


def why_undone(entries: Iterable[JournalEntry]) -> dict[int, str]:
    """Why entries and their reversals were undone, by their ids, as far as the document behind them keeps a reason.

    Costs a query for each kind of document.
    """
    of_kind: dict[str, dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    for entry in entries:
        origin = entry.reverses or (entry if hasattr(entry, "reversed_by") else None)
        if origin:
            of_kind[origin.source_type][origin.source_id].append(entry.pk)
    found: dict[int, str] = {}
    for kind, sources in of_kind.items():
        model = apps.get_model(kind)
        if issubclass(model, Document):
            for document in model._default_manager.filter(pk__in=sources):
                if document.why_undone:
                    found |= dict.fromkeys(sources[document.pk], document.why_undone)
    return found


def year_containing(day: date) -> FinancialYear:
    """The financial year that `day` is in, or Refused."""
    for found in asked(FinancialYear, "%s BETWEEN first_day AND last_day", day):
        return found
    raise Refused(f"No financial year covers {day_text(day)}; open that year first or correct the date.")


def opening_day() -> date:
    """The day before the first financial year, on which what the book begins with was there; Refused without one."""
    first = FinancialYear.objects.aggregate(first=Min("first_day"))["first"]
    if first is None:
        raise Refused("No financial year is open yet; open the first one.")
    return day_before(first)


@once
def all_years() -> Sequence[FinancialYear]:
    """The financial years, the earliest first."""
    return list(FinancialYear.objects.order_by("first_day"))


def earliest_open_year() -> FinancialYear | None:
    """The first year that is not closed."""
    return next((year for year in all_years() if not year.is_closed), None)


def still_opens() -> bool:
    """Whether what was there before the first year can still be brought in: no month is locked yet."""
    return not FinancialYear.objects.exclude(locked_through=None).exists()


def year_start(day: date) -> date:
    """The first day of the financial year that `day` is in; where none is open for it, the day a year before."""
    found = FinancialYear.objects.filter(first_day__lte=day, last_day__gte=day).first()
    return found.first_day if found else day - timedelta(days=365)


def year_ending(calendar_year: int) -> FinancialYear:
    """The financial year that ends in `calendar_year`, or Refused."""
    is_a_year = 1900 < calendar_year < 2200
    found = FinancialYear.objects.filter(last_day__year=calendar_year).first() if is_a_year else None
    if found is None:
        raise Refused(f"No financial year ends in {calendar_year}.")
    return found


def month_end(day: date) -> date:
    return day.replace(day=calendar.monthrange(day.year, day.month)[1])


def month_ends(first: date, last: date) -> list[date]:
    """The last day of each month from the month of `first` to that of `last`."""
    ends = [month_end(first)]
    while ends[-1] < last:
        ends.append(month_end(ends[-1] + timedelta(days=1)))
    return ends


@dataclass(frozen=True)
class Balances:
    """Balances by a key at the end of a day: `before_closing` leaves closing entries out."""

    before_closing: dict[Any, Decimal]
    after_closing: dict[Any, Decimal]


@once
def last_stored(as_at: date) -> date | None:
    """The end of the last month up to that day of which balances are stored."""
    last: date | None = MonthBalance.objects.filter(month_end__lte=as_at).aggregate(last=Max("month_end"))["last"]
    return last


def balances(as_at: date, by: Iterable[str], **only: object) -> Balances:
    """Cumulative balances at the end of `as_at`, keyed by tuples of the fields `by` (such as "account_id").

    Reads the stored balances of the last locked month and the postings since, so its cost does not grow with
    the book's age. `only` filters both, for instance `account__role=Role.TILL`.
    """
    keys = list(by)
    before: dict[tuple[Any, ...], Decimal] = defaultdict(lambda: ZERO)
    closing: dict[tuple[Any, ...], Decimal] = defaultdict(lambda: ZERO)
    stored = last_stored(as_at)
    if stored is None and not JournalEntry.objects.filter(date__lte=as_at).exists():
        return Balances({}, {})
    since = Posting.objects.filter(entry__sealed=True, entry__date__lte=as_at, **only)
    if stored:
        since = since.filter(entry__date__gt=stored)
        rows = MonthBalance.objects.filter(month_end=stored, **only).values_list(*keys)
        for *key, carried, closed in rows.annotate(carried=sum_of("balance"), closed=sum_of("closing")).order_by():
            before[tuple(key)] += carried
            closing[tuple(key)] += closed
    moves = since.values_list(*keys, "entry__is_closing").annotate(moved=sum_of("amount")).order_by()
    for *key, is_closing, moved in moves:
        (closing if is_closing else before)[tuple(key)] += moved
    after = {key: before.get(key, ZERO) + closing.get(key, ZERO) for key in before.keys() | closing.keys()}
    return Balances(dict(before), after)


def moved_by_month(first: date, last: date, by: Iterable[str], **only: object) -> dict[tuple[Any, ...], Decimal]:
    """What was moved from the month of `first` to the day `last`, closing entries left out; nil where nothing was.

    Keyed by the month's last day and the fields `by`. Locked months are read from their stored balances, but the first
    of all, before which none is stored; nil is not stored, so a month without balances between two that have some
    ended at nil.
    """
    keys, before = list(by), first.replace(day=1) - timedelta(days=1)
    stored: dict[date, dict[tuple[Any, ...], Decimal]] = {}
    rows = MonthBalance.objects.filter(month_end__range=(before, last), **only).order_by("month_end")
    for end, *key, figure in rows.values_list("month_end", *keys).annotate(figure=sum_of("balance")):
        stored.setdefault(end, {})[tuple(key)] = figure
    moved: dict[tuple[Any, ...], Decimal] = defaultdict(lambda: ZERO)
    for then, now in pairwise(month_ends(min(stored), max(stored)) if stored else ()):
        was, became = stored.get(then, {}), stored.get(now, {})
        for key in was.keys() | became.keys():
            moved[(now, *key)] = became.get(key, ZERO) - was.get(key, ZERO)
    until_stored = Q(entry__date__gt=before, entry__date__lte=min(stored, default=last))
    since_stored = Q(entry__date__gt=max(stored, default=last), entry__date__lte=last)
    read = Posting.objects.filter(until_stored | since_stored, entry__sealed=True, entry__is_closing=False, **only)
    for day, *key, figure in read.order_by().values_list("entry__date", *keys).annotate(figure=sum_of("amount")):
        moved[(month_end(day), *key)] += figure
    return moved


def balance(role: Role, as_at: date) -> Decimal:
    """What the account with `role` stands at."""
    return balances(as_at, ["account_id"], account__role=role).after_closing.get((account(role).pk,), ZERO)


def balance_of(role: Role) -> Decimal:
    """What the account with the role stands at, over all time."""
    return in_all(Posting.objects.filter(account__role=role))


def held_in(role: Role, fund: Fund | FundRole, as_at: date) -> Decimal:
    """What the account with the role stands at in one fund."""
    found = balances(as_at, ["account_id"], account__role=role, fund=fund).after_closing
    return sum(found.values(), ZERO)


def party_balances(role: Role, as_at: date) -> dict[int, Decimal]:
    """The account's balance for each party that has one, by party id."""
    found = balances(as_at, ["party_id"], account__role=role).after_closing
    return {party_id: figure for (party_id,), figure in found.items() if figure}


def party_balance(role: Role, party_id: int) -> Decimal:
    """What one party owes (positive) or is owed (negative) in the account, over all time."""
    rows = Posting.objects.filter(entry__sealed=True, account__role=role, party_id=party_id)
    figure: Decimal = rows.aggregate(figure=sum_of("amount"))["figure"]
    return figure


@dataclass(frozen=True)
class TrialBalanceLine:
    account: Account
    debit: Decimal
    credit: Decimal


@dataclass(frozen=True)
class TrialBalance:
    as_at: date
    lines: list[TrialBalanceLine]
    total_debit: Decimal
    total_credit: Decimal


def trial_balance(as_at: date, *, before_closing: bool = False) -> TrialBalance:
    """Every account with a balance other than nil, in the column its sign puts it.

    `before_closing` leaves closing entries out, so that a closed year still shows its income and expense.
    """
    found = balances(as_at, ["account_id"])
    figures = found.before_closing if before_closing else found.after_closing
    lines = []
    for each in Account.objects.all():
        figure = figures.get((each.pk,), ZERO)
        if figure:
            lines.append(TrialBalanceLine(each, max(figure, ZERO), max(-figure, ZERO)))
    return TrialBalance(
        as_at, lines, sum((line.debit for line in lines), ZERO), sum((line.credit for line in lines), ZERO)
    )


BY_HAND = Q(entry__source_type=source_type(Journal)) | Q(entry__reverses__source_type=source_type(Journal))
"""Lines that a manual journal put there, or the reversal of one."""


def by_hand(role: Role) -> Decimal:
    """What manual journals, and reversals of them, put into the account over all time."""
    rows = Posting.objects.filter(BY_HAND, account__role=role)
    figure: Decimal = rows.aggregate(figure=sum_of("amount"))["figure"]
    return figure


def by_hand_of_parties(role: Role) -> dict[int, Decimal]:
    """The same for each party of the account, by the id of whoever stands for it now."""
    rows = Posting.objects.filter(BY_HAND, account__role=role).order_by().values_list("party_id")
    merged = {each.pk: each.now.pk for each in Party.objects.exclude(merged_into=None)}
    found: dict[int, Decimal] = {}
    for party, figure in rows.annotate(figure=sum_of("amount")):
        now = merged.get(party, party)
        found[now] = found.get(now, ZERO) + figure
    return found


def opening_entries() -> QuerySet[JournalEntry]:
    """The entries with which the book began: what the club had before, from the books that it kept elsewhere."""
    openings = Journal.objects.filter(origin=JournalOrigin.OPENING).values("pk")
    return JournalEntry.objects.filter(source_type=source_type(Journal), source_id__in=openings)


def journals_to_reverse(on: date) -> list[Journal]:
    """Journals whose day of reversal has come and whose entry still stands."""
    standing = JournalEntry.objects.filter(source_type=source_type(Journal), reversed_by=None).values("source_id")
    return list(Journal.objects.filter(reverse_on__lte=on, pk__in=standing).order_by("reverse_on", "pk"))


class WithUndoing(Protocol):
    """What a screen reads of a journal that `with_amount_and_undoing` has added to."""

    reverse_on: date | None
    undone_on: date | None


def with_amount_and_undoing(rows: QuerySet[Journal]) -> QuerySet[Journal]:
    """Each journal with what it moved, one side of it, and the day on which it was undone."""
    entry = JournalEntry.objects.filter(
        source_type=source_type(Journal), source_id=OuterRef("pk"), purpose="journal"
    ).order_by()
    moved = entry.annotate(figure=sum_of("postings__amount", Q(postings__amount__gt=0)))
    return rows.annotate(amount=Subquery(moved.values("figure")), undone_on=Subquery(entry.values("reversed_by__date")))


@once
def all_funds() -> Sequence[Fund]:
    return list(Fund.objects.order_by("pk"))


def fund_balance(role: FundRole) -> Decimal:
    """The fund's assets less its liabilities, over all that has been posted."""
    figure: Decimal = next(fund for fund in all_funds() if fund.pk == role).balance.amount
    return figure


def last_day_posted() -> date | None:
    last: date | None = JournalEntry.objects.aggregate(last=Max("date"))["last"]
    return last


def unsummed_entries() -> Any:
    """(entry number, fund) groups whose lines do not sum to zero."""
    return (
        Posting.objects.values(number=F("entry__number"), fund_name=F("fund__name"))
        .annotate(figure=sum_of("amount"))
        .exclude(figure=0)
        .order_by("number")
    )
