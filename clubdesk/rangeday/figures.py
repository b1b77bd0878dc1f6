"""Reading the range days: takings, attendance, kit, and who might soon want gear of their own. Nothing is changed."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Any, TypedDict

from django.db.models import CharField, Count, F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Cast, Coalesce, Substr
from django_stubs_ext import WithAnnotations
from djmoney.money import Money

from clubdesk.clock import day_text, months_later
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, in_all, sum_of
from clubdesk.rangeday.models import Gear, Kit, KitCheck, KitLoan, KitState, OwnGearCost, Paid, RangeDay, SignOn
from clubdesk.rangeday.posting import MONEY_ROLE
from clubdesk.rangeday.selectors import STANDS
from clubdesk.roll.models import Person

KINDS = (Gear.HIRE, Gear.VISITOR)
METHODS = (Paid.CASH, Paid.CARD, Paid.ACCOUNT)


@dataclass
class DayFigures:
    """One range day: how many people, by gear, and the fees by kind and by method."""

    day: RangeDay
    people: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    fees: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))
    paid: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))
    rounding: Decimal = Decimal(0)

    @property
    def attendance(self) -> int:
        return sum(self.people.values())

    @property
    def takings(self) -> Decimal:
        return sum(self.fees.values(), Decimal(0))


def by_day(since: date, until: date) -> list[DayFigures]:
    """Every range day of the span that was not called off, the earliest first."""
    days = RangeDay.objects.filter(date__range=(since, until), called_off_on=None).order_by("date", "place")
    found = {day.pk: DayFigures(day) for day in days}
    rows = SignOn.objects.filter(STANDS, range_day__in=days).order_by().values("range_day", "gear", "paid")
    for row in rows.annotate(people=Count("pk"), fees=sum_of("amount"), rounded=sum_of("rounding")):
        figures = found[row["range_day"]]
        figures.people[row["gear"]] += row["people"]
        figures.fees[row["gear"]] += row["fees"]
        figures.paid[row["paid"]] += row["fees"]
        figures.rounding += row["rounded"]
    return list(found.values())


@dataclass(frozen=True)
class MonthFigures:
    """A month at the range; `people` counts each person on the roll once, and each visitor."""

    first: date
    days: int
    sign_ons: int
    people: int
    visitors: int
    own: tuple[DayFigures, ...]

    @property
    def a_day(self) -> Decimal:
        return (Decimal(self.sign_ons) / self.days).quantize(Decimal("0.1"), ROUND_HALF_UP) if self.days else Decimal(0)


def by_month(days: Sequence[DayFigures]) -> list[MonthFigures]:
    """Attendance by calendar month of the days given."""
    months: dict[date, list[DayFigures]] = defaultdict(list)
    for each in days:
        months[each.day.date.replace(day=1)].append(each)
    dates = [each.day.date for each in days] or [date.max]
    rows = SignOn.objects.filter(STANDS, range_day__date__range=(min(dates), max(dates))).order_by()
    # The database counts: a day as text begins with its year and month, on both.
    month = Substr(Cast("range_day__date", CharField()), 1, 7)
    known, unknown = Count("person", distinct=True), Count("pk", filter=Q(person=None))
    people = dict(rows.annotate(month=month).values_list("month").annotate(people=known + unknown))
    return [
        MonthFigures(
            first=first,
            days=len(own),
            sign_ons=sum(each.attendance for each in own),
            people=people.get(f"{first:%Y-%m}", 0),
            visitors=sum(each.people[Gear.VISITOR] for each in own),
            own=tuple(own),
        )
        for first, own in months.items()
    ]


@dataclass(frozen=True)
class Proof:
    """The same money twice: by the sign-ons, and by the ledger's entries of them."""

    method: Paid
    by_sign_ons: Decimal
    by_ledger: Decimal


def proofs(days: Sequence[DayFigures], since: date, until: date) -> list[Proof]:
    """Cash and card by the sign-ons beside what their entries brought into the tin and the card takings."""
    own = Q(entry__source_type="rangeday.signon") | Q(entry__reverses__source_type="rangeday.signon")
    found = []
    for method, role in MONEY_ROLE.items():
        rows = Posting.objects.filter(own, account__role=role, entry__date__range=(since, until))
        told = sum((each.paid[method] for each in days), Decimal(0))
        if method == Paid.CASH:
            told -= sum((each.rounding for each in days), Decimal(0))
        found.append(Proof(method, told, in_all(rows)))
    return found


BEFORE_ALL = datetime(1, 1, 2, tzinfo=UTC)


class Uses(TypedDict):
    """How often a piece of kit was given out: ever, and since it was last found fit."""

    uses: int
    uses_since_check: int


if TYPE_CHECKING:
    KitInUse = WithAnnotations[Kit, Uses]
else:
    KitInUse = Kit


def kit_in_use() -> "QuerySet[KitInUse, KitInUse]":
    """Kit with its `uses` and `uses_since_check`; each time it was given out is one use.

    Only a check that found it fit for use starts the second count anew.
    """
    checks = KitCheck.objects.filter(kit=OuterRef("pk"), state=KitState.USABLE).order_by("-pk").values("recorded_at")
    given = KitLoan.objects.filter(kit=OuterRef("pk")).order_by().values("kit")

    def counted(loans: QuerySet[KitLoan, Any]) -> Coalesce:
        return Coalesce(Subquery(loans.values_list(Count("pk"))), 0)

    found = Kit.objects.annotate(last_checked=Coalesce(Subquery(checks[:1]), BEFORE_ALL))
    after = given.filter(recorded_at__gt=OuterRef("last_checked"))
    return found.annotate(uses=counted(given), uses_since_check=counted(after))


def uses_between(since: date, until: date) -> dict[int, int]:
    """How often each piece of kit was given out in the span, by its id."""
    loans = KitLoan.objects.filter(sign_on__range_day__date__range=(since, until)).order_by()
    return dict(loans.values_list("kit").annotate(uses=Count("pk")))


def kit_to_check() -> "QuerySet[KitInUse, KitInUse]":
    """Kit that has been used as often as it may be before it is checked."""
    return kit_in_use().filter(state=KitState.USABLE, check_after__isnull=False, uses_since_check__gte=F("check_after"))


@dataclass(frozen=True)
class OwnGearHint:
    """Somebody whose hire of the last twelve months comes to what gear of their own costs, or soon will."""

    person: Person
    hires: int
    paid: Money
    cost: Money


NEARLY = Decimal("0.8")
FEWEST_HIRES = 6


def cost_of_own_gear(on: date) -> OwnGearCost | None:
    return OwnGearCost.objects.filter(since__lte=on).first()


def own_gear_hints(on: date) -> list[OwnGearHint]:
    """Who hired, over the twelve months to `on`, for at least four fifths of what own gear costs; the most first.

    Nobody with fewer than six hires is named; the two limits are the project's own. Empty without a cost.
    """
    cost = cost_of_own_gear(on)
    if cost is None:
        return []
    rows = SignOn.objects.filter(
        STANDS, gear=Gear.HIRE, person__isnull=False, person__erased_on=None,
        range_day__date__gt=months_later(on, -12), range_day__date__lte=on,
    )  # fmt: skip
    sums = rows.order_by().values("person").annotate(hires=Count("pk"), paid=sum_of("amount"))
    wanted = {
        row["person"]: (row["hires"], row["paid"])
        for row in sums
        if row["hires"] >= FEWEST_HIRES and row["paid"] >= NEARLY * cost.amount.amount
    }
    people = Person.objects.in_bulk(wanted)
    hints = [OwnGearHint(people[pk], hires, as_amount(paid), cost.amount) for pk, (hires, paid) in wanted.items()]
    return sorted(hints, key=lambda hint: (-hint.paid.amount, str(hint.person)))


@dataclass(frozen=True)
class TinLine:
    """One movement of the tin by the ledger, and what it held after it."""

    day: date
    words: str
    amount: Money
    balance: Money


def tin_lines(until: date, most: int = 60) -> list[TinLine]:
    """The latest movements of the till account up to that day, the latest first; those of a day alike are one line."""
    rows = Posting.objects.filter(account__role=Role.TILL, entry__date__lte=until, entry__sealed=True).order_by()
    days = rows.values_list("entry__date", flat=True).distinct().order_by("-entry__date")[:most]
    alike = (
        rows.filter(entry__date__gte=min(days, default=until))
        .values("entry__date", "entry__narration")
        .annotate(figure=sum_of("amount"), count=Count("pk"), last=Max("entry__number"))
    )
    held, lines = as_amount(balance(Role.TILL, until)), []
    for row in alike.order_by("-entry__date", "-last")[:most]:
        day = row["entry__date"]
        words = row["entry__narration"].replace(f", {day_text(day, weekday=True)}", "")
        if row["count"] > 1:
            words += f" ({row['count']} times)"
        lines.append(TinLine(day, words, as_amount(row["figure"]), held))
        held -= lines[-1].amount
    return lines
