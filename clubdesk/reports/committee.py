"""The committee's page: a month or a year on one sheet, with three plain charts and their data in text."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce

from clubdesk.clock import day_text
from clubdesk.courses.models import Cohort
from clubdesk.courses.selectors import NOT_CANCELLED, cohorts_with_seats
from clubdesk.fees.models import ChargeCredit, Voucher, VoucherState, WriteOff
from clubdesk.fees.selectors import paid_no_debt
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import FinancialYear, Fund, Kind, Posting, Role
from clubdesk.ledger.selectors import ZERO, month_end
from clubdesk.membership.models import Membership
from clubdesk.money import shown, sum_of
from clubdesk.reports.selectors import Figures, a_year_earlier
from clubdesk.roll.models import Merge
from clubdesk.roll.selectors import parties_merged_by
from clubdesk.screens.charts import Chart
from clubdesk.tables import Column, Columns, Labelled, Table, labelled, together
from clubdesk.yearend import selectors as yearend

MONTHS = 12
LATE = 60


@dataclass(frozen=True)
class CommitteePage:
    """What the committee reads: facts in words, small tables, and charts with their figures."""

    first: date
    last: date
    facts: list[tuple[str, Any]]
    tables: list[Table[Any]]
    charts: list[tuple[Chart, Table[Labelled]]]


def committee_page(first: date, last: date) -> CommitteePage:
    now = Figures(first, last)
    months = months_to(last)
    money, income, spending = by_month(now, months)
    counts = members(months)
    return CommitteePage(
        first,
        last,
        _facts(now, counts[-1]),
        [_money(now), _result(now), _owing(now), _seats(now)],
        [
            _chart("Money in hand at each month’s end, by fund", [fund.name for fund in now.funds], months, money),
            _chart("Income and spending by month", ["Income", "Spending"], months,
                   [[a, b] for a, b in zip(income, spending, strict=True)], beside=True),
            _chart("Members at each month’s end", ["Members"], months, [[Decimal(each)] for each in counts]),
        ],
    )  # fmt: skip


def _facts(now: Figures, count: int) -> list[tuple[str, Any]]:
    facts: list[tuple[str, Any]] = [
        ("Money in hand", now.money_in_hand()),
        ("Surplus (deficit)", now.surplus()),
        ("Members", count),
    ]
    return facts


def _money(now: Figures) -> Table[Fund]:
    columns: Columns[Fund] = {
        "fund": Column("Fund", lambda fund: fund.name, "name"),
        "before": Column(f"Money before {day_text(now.first)}", now.money_before, "amount"),
        "now": Column(f"Money {now.at_the_end}", now.money_in_hand, "amount"),
        "net": Column("Net assets", now.net_assets, "amount"),
    }
    total = together("Total", columns, now.funds, "before", "now", "net")
    return Table("Money in hand by fund", columns, now.funds, [total])


def _result(now: Figures) -> Table[Labelled]:
    """Income, spending and surplus beside the budget and the year before."""
    earlier = a_year_earlier(now)
    last = earlier if earlier and earlier.tells_the_year else None
    planned = yearend.budget_of(now.first, now.last)
    titles = {"now": "This time"} | ({"budget": "Budget"} if planned else {}) | ({"last": "A year ago"} if last else {})

    def of(kind: Kind, sign: int) -> dict[str, Decimal]:
        accounts = now.of_kind(kind)
        figures = {
            "now": sign * sum((now.moved(each) for each in accounts), ZERO) + ZERO,
            "budget": sum((planned.get(each.pk, ZERO) for each in accounts), ZERO),
            "last": sign * sum((last.moved(each) for each in accounts), ZERO) + ZERO if last else ZERO,
        }
        return {name: figures[name] for name in titles}

    came, went = of(Kind.INCOME, -1), of(Kind.EXPENSE, 1)
    surplus = Labelled("Surplus (deficit)", {name: came[name] - went[name] for name in titles}, is_total=True)
    note = "" if planned else "No budget is planned for these days."
    if planned and (now.first.day != 1 or now.last != month_end(now.last)):
        note = "Of a month that is not told whole, its budget counts by its days."
    rows = [Labelled("Income", came), Labelled("Spending", went)]
    title = "Surplus against budget and last year"
    return Table(title, labelled("What", titles), rows, [surplus], note=note)


def _owing(now: Figures) -> Table[Labelled]:
    """Who owes the club, on the last day by the ledger; families together, without their names."""
    families = ledger.party_balances(Role.FEES_OWED, now.last)
    owing = [figure for figure in families.values() if figure > 0]
    credit = [figure for figure in families.values() if figure < 0]
    figures = {f"{len(owing)} {'family' if len(owing) == 1 else 'families'}": sum(owing, ZERO)}
    if credit:
        figures[f"{len(credit)} in credit"] = sum(credit, ZERO)
    vouchers = ledger.party_balances(Role.VOUCHERS_OWED, now.last)
    figures["The department, for vouchers"] = sum(vouchers.values(), ZERO)
    late = owed_longer_than(LATE, now.last)
    note = (
        f"Of it families have owed {shown(late)} for more than {LATE} days; what they pay counts for the oldest first."
    )
    rows = [Labelled(who, {"owes": figure}) for who, figure in figures.items()]
    return Table("Who owes", labelled("Who", {"owes": "Owes"}), rows, note=note if late else "")


SEATS: Columns[Cohort] = {
    "cohort": Column("Cohort", str, "name"),
    "begins": Column("Begins", lambda cohort: cohort.first_session, "date"),
    "taken": Column("Places taken", lambda cohort: f"{cohort.taken} of {cohort.capacity}", "figure"),  # type: ignore[attr-defined]
}


def _seats(now: Figures) -> Table[Cohort]:
    cohorts = cohorts_with_seats().filter(NOT_CANCELLED, first_session__lte=now.last, last_session__gte=now.first)
    rows = list(cohorts.order_by("first_session"))
    return Table("Places in courses", SEATS, rows, empty="No course ran in these days.")


def owed_longer_than(days: int, on: date) -> Decimal:
    """What families have owed for longer than so many days at the end of `on`, by the ledger.

    A family's payments count for its oldest fees first (common practice, no source); what was undone, and what took a
    newer fee back, pays nothing, nor does a voucher by going along with its child or to another fee. Two families that
    are one by that day are one.
    """
    before = on - timedelta(days=days)
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        account__role=Role.FEES_OWED, entry__sealed=True, entry__date__gt=before, entry__date__lte=on, amount__lt=0
    ).exclude(Q(entry__reversed_by__date__lte=on) | Q(entry__reverses__date__gt=before))
    rows = rows.exclude(entry__source_type=ledger.source_type(Merge)).exclude(
        entry__source_type=ledger.source_type(Voucher), entry__purpose="moved"
    )
    for documents in _paying_nothing(before, on):
        source = ledger.source_type(documents.model)
        rows = rows.exclude(entry__source_type=source, entry__source_id__in=documents.values("pk"))
    merged = parties_merged_by(on)
    paid = dict(rows.order_by().values_list("party").annotate(figure=sum_of("amount")))
    stood = (ledger.party_balances(Role.FEES_OWED, day) for day in (on, before))
    settled, now, then = (_as_one(figures, merged) for figures in (paid, *stood))
    left = (min(figure + settled.get(party, ZERO), now.get(party, ZERO)) for party, figure in then.items())
    return sum((figure for figure in left if figure > 0), ZERO)


def _paying_nothing(before: date, on: date) -> Iterator[QuerySet[Any]]:
    """Documents that make a family owe less, and yet nothing of what it owed by `before`."""
    newer = {"since__gt": before, "since__lte": on}
    yield ChargeCredit.objects.alias(since=F("charge__charged_on")).filter(**newer)
    yield WriteOff.objects.alias(since=F("charge__charged_on")).filter(**newer)
    yield Voucher.objects.alias(since=Coalesce("first_charge__charged_on", "charge__charged_on")).filter(**newer)
    yield Voucher.objects.filter(state__in=(VoucherState.REFUSED, VoucherState.RELEASED), ended_on__lte=on)
    yield paid_no_debt(before)


def _as_one(figures: Mapping[int, Decimal], merged: Mapping[int, int]) -> dict[int, Decimal]:
    """Figures of parties, of those that were merged under whoever stands for them."""
    found: dict[int, Decimal] = {}
    for party, figure in figures.items():
        now = merged.get(party, party)
        found[now] = found.get(now, ZERO) + figure
    return found


def months_to(last: date) -> list[date]:
    """The ends of the twelve months up to that of `last`, from the day on that this book begins with."""
    ends, begins = [month_end(last)], ledger.opening_day()
    while len(ends) < MONTHS and (before := ends[-1].replace(day=1) - timedelta(days=1)) >= begins:
        ends.append(before)
    return ends[::-1]


def by_month(now: Figures, months: list[date]) -> tuple[list[list[Decimal]], list[Decimal], list[Decimal]]:
    """For each month money in hand a fund at its end, income, and spending."""
    before = months[0].replace(day=1) - timedelta(days=1)
    opening = ledger.balances(before, ["fund_id"], account__is_money=True).after_closing
    kinds = ("account__kind", "account__is_money", "fund_id")
    moved = ledger.moved_by_month(months[0], now.last, kinds)
    money, running = [], {fund.pk: opening.get((fund.pk,), ZERO) for fund in now.funds}
    for month in months:
        running = {fund: held + moved[month, Kind.ASSET, True, fund] for fund, held in running.items()}
        money.append(list(running.values()))

    def of(kind: Kind, month: date) -> Decimal:
        return sum((moved[month, kind, False, fund.pk] for fund in now.funds), ZERO)

    income = [-of(Kind.INCOME, month) + ZERO for month in months]
    return money, income, [of(Kind.EXPENSE, month) for month in months]


def members(months: list[date]) -> list[int]:
    """Members at each month's end; who cancelled later was one then. Of a closed year, as was known when it closed."""
    rows = Membership.objects.filter(starts_on__lte=months[-1], ends_on__gte=months[0]).order_by()
    closed = FinancialYear.objects.filter(first_day__lte=months[-1], last_day__gte=months[-1]).exclude(closed_at=None)
    if year := closed.first():
        rows = rows.filter(recorded_at__lte=year.closed_at)
    spans = list(rows.values_list("person", "starts_on", "ends_on", "cancelled_on"))
    return [
        len(
            {
                who
                for who, begins, ends, cancelled in spans
                if begins <= day <= ends and not (cancelled and cancelled <= day)
            }
        )
        for day in months
    ]


def _chart(
    title: str, parts: list[str], months: list[date], figures: list[list[Decimal]], beside: bool = False
) -> tuple[Chart, Table[Labelled]]:
    columns = [
        (f"{month:%b %y}", [max(value, ZERO) for value in row]) for month, row in zip(months, figures, strict=True)
    ]
    whole = parts == ["Members"]
    rows = [
        Labelled(
            part,
            {f"{month}": str(row[place].quantize(Decimal(1))) if whole else row[place]
             for month, row in zip(months, figures, strict=True)},
        )
        for place, part in enumerate(parts)
    ]  # fmt: skip
    titles = {f"{month}": f"{month:%b %y}" for month in months}
    return Chart(title, parts, columns, beside, of_money=not whole), Table(title, labelled("What", titles), rows)
