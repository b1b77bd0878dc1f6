"""Questions about range days."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, TypedDict

from django.contrib.auth.models import User
from django.db.models import (
    BooleanField,
    Count,
    Exists,
    ExpressionWrapper,
    F,
    FilteredRelation,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
)
from django.db.models.functions import Coalesce
from django_stubs_ext import WithAnnotations
from djmoney.money import Money

from clubdesk.care.selectors import can_be_rung
from clubdesk.courses.checks import needed
from clubdesk.courses.models import ADULT_FROM, day_years_before
from clubdesk.courses.selectors import completed_by, completions
from clubdesk.fees import selectors as fees
from clubdesk.fees.models import FeeKind, FeePrice, Method, Receipt
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.membership.models import Membership
from clubdesk.membership.selectors import is_member, members_on
from clubdesk.moment import once
from clubdesk.money import as_amount, half_up, nil, sum_of
from clubdesk.rangeday.models import (
    PAID_AT_THE_RANGE,
    ClosedDays,
    Gear,
    Paid,
    RangeDay,
    SafetyText,
    SignOn,
    Tap,
    TapState,
    TillCount,
)
from clubdesk.roll.models import Person

STANDS = Q(cancelled_on=None)
LONG_AGO = timedelta(days=28)


@once
def days_about(on: date) -> list[RangeDay]:
    """The days of the last four weeks and all that come, each with how many `came`."""
    rows = RangeDay.objects.filter(date__gte=on - LONG_AGO).order_by("date", "place")
    return list(rows.annotate(came=Count("sign_ons", Q(sign_ons__cancelled_on=None))))


@dataclass(frozen=True)
class Tariff:
    """What signing on costs: the kind it counts as, its price (None where nothing is due) and the amount."""

    gear: Gear
    price: FeePrice | None
    amount: Money


@dataclass(frozen=True)
class Schedule:
    """The day's prices, and of some people whether they are members on it; read once for many sign-ons."""

    prices: dict[FeeKind, FeePrice]
    members: dict[int, bool]


def schedule(range_day: RangeDay, people: Iterable[int] = ()) -> Schedule:
    """The schedule of a day, with who of `people` (ids) is a member."""
    day, asked = range_day.date, set(people)
    members = set(members_on(day).filter(person__in=asked).values_list("person", flat=True)) if asked else set()
    return Schedule(fees.schedule_of(BOARD.values(), day), {pk: pk in members for pk in asked})


class Comes(TypedDict):
    """Whether somebody is a member on a day, and the id and gear of their sign-on, where they are signed on."""

    is_member: bool
    signed_on: int | None
    gear: str | None


if TYPE_CHECKING:
    Coming = WithAnnotations[Person, Comes]
else:
    Coming = Person


def who_comes(people: Iterable[int], day: RangeDay) -> "QuerySet[Coming, Coming]":
    """People by their ids, each with what a day's sign-on asks; for one that was merged whoever it is now."""
    member = Exists(members_on(day.date).filter(person=OuterRef("pk")))
    there = Q(sign_ons__range_day=day, sign_ons__cancelled_on=None)
    named = Person.everyone.filter(pk__in=people)
    known = Q(pk__in=named.values("pk")) | Q(pk__in=named.values("merged_into"))
    rows = Person.objects.filter(known).select_related("household__party").order_by("pk")
    rows = rows.annotate(is_member=member, there=FilteredRelation("sign_ons", condition=there))
    return rows.annotate(signed_on=F("there"), gear=F("there__gear"))


def tariff(*, person: Person | None, gear: Gear, range_day: RangeDay, known: Schedule | None = None) -> Tariff:
    """The fee on that day: a member with own gear pays nothing, a member the hire, anybody else the visitor's fee.

    Where the schedule has a price for a parent beside a child, who has done the course and has a member child in the
    household counts as a member, at that price (common practice, no source). `known` is the day's schedule, where it
    was read already. Raises Refused where the schedule lacks the price.
    """
    known = known or schedule(range_day)
    kind = _kind_of(person, range_day.date, known)
    if gear == Gear.OWN and kind != FeeKind.VISITOR:
        return Tariff(Gear.OWN, None, nil())
    price = known.prices.get(kind) or fees.price_of_kind(kind, range_day.date)
    return Tariff(Gear.VISITOR if kind == FeeKind.VISITOR else Gear.HIRE, price, price.amount)


def _kind_of(person: Person | None, day: date, known: Schedule) -> FeeKind:
    if person is None:
        return FeeKind.VISITOR
    member = known.members.get(person.pk)
    if is_member(person, day) if member is None else member:
        return FeeKind.HIRE
    return FeeKind.BESIDE if FeeKind.BESIDE in known.prices and beside_a_child(person, day) else FeeKind.VISITOR


def beside_a_child(person: Person, day: date) -> bool:
    """Whether an adult has done the course and the household has a junior member on that day."""
    family = Person.objects.filter(household=person.household_id)
    members = set(members_on(day).filter(person__in=family).values_list("person", flat=True))
    return person.pk in _parents(family, members, day)


def safety_text(day: date) -> SafetyText | None:
    """The club's own safety rules in force on that day; None where it has written none."""
    return SafetyText.objects.filter(in_force_from__lte=day).first()


class Takings(TypedDict):
    """How many signed on that day, and what they paid."""

    people: int
    cash: Decimal
    card: Decimal
    account: Decimal


if TYPE_CHECKING:
    DayWithTakings = WithAnnotations[RangeDay, Takings]
else:
    DayWithTakings = RangeDay


def days_with_takings() -> "QuerySet[DayWithTakings, DayWithTakings]":
    """Range days with `people`, `cash`, `card` and `account` (Decimal)."""

    def standing(figure: Coalesce | Count, **only: object) -> Coalesce:
        rows = SignOn.objects.filter(STANDS, range_day=OuterRef("pk"), **only).order_by().values("range_day")
        return Coalesce(Subquery(rows.values_list(figure)), 0, output_field=figure.output_field)

    def taken(paid: Paid) -> Coalesce:
        return standing(sum_of("amount"), paid=paid)

    return RangeDay.objects.annotate(
        people=standing(Count("pk")),
        cash=taken(Paid.CASH) - standing(sum_of("rounding")),
        card=taken(Paid.CARD),
        account=taken(Paid.ACCOUNT),
    )


@dataclass(frozen=True)
class Tin:
    """What the book knows of a day's tin and card reader before they are counted.

    `rest` is what the ledger has in cash at the end of the day besides this day's fees (`taken`), the cash fees of
    other ranges that are not counted yet (`elsewhere`) and what the counted tins of the same date hold. It is negative
    where more has left the tin that day (banked, or by a journal) than was in it before. `card_receipts` is what
    households paid by card that day and no other count has on its slip.
    """

    taken: Money
    elsewhere: Money
    rest: Money
    card: Money
    card_receipts: Money

    @property
    def opening(self) -> Money:
        """The float and cash from households, less what was banked that day, as far as the ledger can tell."""
        return max(self.rest, nil())

    @property
    def most(self) -> Money:
        """The most that can have been in this tin besides the day's own fees."""
        return max(self.rest + self.elsewhere, nil())

    def expected(self, opening: Money) -> Money:
        return max(opening + self.taken + min(self.rest, nil()), nil())


def tin(range_day: RangeDay) -> Tin:
    """What is expected of the tin of a day and of its card slip."""
    day = range_day.date
    counts = TillCount.objects.filter(range_day__date=day, reopened_on=None).exclude(range_day=range_day)
    here, cash = Q(range_day=range_day), Q(paid=Paid.CASH)
    there = ~here & Q(range_day__closed_on=None)
    fees_of_the_date = SignOn.objects.filter(STANDS, range_day__date=day).aggregate(
        taken=sum_of("amount", here & cash) - sum_of("rounding", here & cash),
        elsewhere=sum_of("amount", there & cash) - sum_of("rounding", there & cash),
        card=sum_of("amount", here & Q(paid=Paid.CARD)),
    )
    counted = counts.aggregate(cash=sum_of("counted"), receipts=sum_of("card_receipts"))
    by_card = Receipt.objects.filter(method=Method.CARD, cancelled_on=None, received_on=day)
    receipts = as_amount(by_card.aggregate(figure=sum_of("amount"))["figure"])
    taken, elsewhere = (as_amount(half_up(fees_of_the_date[name])) for name in ("taken", "elsewhere"))
    return Tin(
        taken=taken,
        elsewhere=elsewhere,
        rest=as_amount(balance(Role.TILL, day)) - taken - elsewhere - as_amount(counted["cash"]),
        card=as_amount(fees_of_the_date["card"]),
        card_receipts=max(receipts - as_amount(counted["receipts"]), nil()),
    )


def called_off(range_day: RangeDay) -> QuerySet[SignOn]:
    """The sign-ons that were taken back when the day was called off, of those who had something to pay."""
    rows = range_day.sign_ons.exclude(paid=Paid.NOTHING)
    rows = rows.filter(cancel_reason=f"called off: {range_day.called_off_reason}"[:150])
    return rows.select_related("person__household", "moved_to__range_day").order_by("pk")


def to_hand_back(range_day: RangeDay) -> QuerySet[SignOn]:
    """Of these, visitors who had paid and have no household whose credit it could be."""
    return called_off(range_day).filter(person=None, paid__in=PAID_AT_THE_RANGE)


def signed_on(range_day: RangeDay, person: Person) -> SignOn | None:
    return range_day.sign_ons.filter(STANDS, person=person).first()


@dataclass(frozen=True)
class OnSheet:
    """Somebody on the sheet of a day: who, by which price, and the marks that stand quietly beside the name.

    `beside`: of a parent who has done the course, the children (ids) with whom they may shoot.
    """

    person: int
    name: str
    household: int
    tariff: str
    marks: str
    beside: tuple[int, ...] = ()


NEW, BIRTHDAY, LAPSED, OVERDUE, NO_PHONE, BESIDE, TO_WATCH = "nblugpd"
"""Marks beside a name: new from a course, birthday this week, membership lapsed, fee overdue, nobody to ring, may
shoot beside their child, waits for a course and a draw check is to do."""
BIRTHDAY_WITHIN = 7
NEW_FOR = timedelta(days=56)


def sheet(range_day: RangeDay, *, with_money: bool, with_parents: bool = False) -> list[OnSheet]:
    """Everyone on the roll, members first; what is owed stands there only for who may see it.

    `with_parents`: whether the schedule has a price for a parent beside a child.
    """
    day = range_day.date
    begun = Membership.objects.filter(person=OuterRef("pk"), cancelled_on=None, starts_on__lte=day)
    people = Person.objects.filter(erased_on=None).annotate(
        reachable=ExpressionWrapper(can_be_rung(), BooleanField()),
        is_new=Exists(completions(day - NEW_FOR, day).filter(place__person=OuterRef("pk"))),
        is_watched=Exists(needed(day).filter(person=OuterRef("pk"))),
        last_day=Subquery(begun.order_by("-ends_on").values("ends_on")[:1]),
    )
    people = people.order_by("given_name", "family_name", "pk")
    members = {each.pk for each in people if each.last_day and each.last_day >= day}
    parents = _parents(people, members, day) if with_parents else {}
    overdue = _households_overdue(day) if with_money else set()
    lines = []
    for person in people:
        tariff = "hire" if person.pk in members else "beside" if person.pk in parents else "visitor"
        stands = {
            NEW: person.is_new,
            BIRTHDAY: days_to_birthday(person.birth_date, day) < BIRTHDAY_WITHIN,
            LAPSED: person.last_day is not None and person.pk not in members,
            OVERDUE: person.household_id in overdue,
            NO_PHONE: not person.reachable,
            BESIDE: tariff == "beside",
            TO_WATCH: person.is_watched,
        }
        marks = "".join(mark for mark, holds in stands.items() if holds)
        beside = parents.get(person.pk, ()) if tariff == "beside" else ()
        lines.append(OnSheet(person.pk, str(person), person.household_id, tariff, marks, beside))
    return sorted(lines, key=lambda line: line.tariff != "hire")


def _parents(people: Iterable[Person], members: set[int], day: date) -> dict[int, tuple[int, ...]]:
    """Among people already read: adults who have done the course, each with the junior members of the household."""
    of_age = day_years_before(day, ADULT_FROM)
    done = completed_by(day, [each.pk for each in people if each.birth_date <= of_age])
    homes: dict[int, list[int]] = {}
    for each in people:
        if each.pk in members and each.birth_date > of_age:
            homes.setdefault(each.household_id, []).append(each.pk)
    return {
        each.pk: tuple(homes[each.household_id]) for each in people if each.pk in done and each.household_id in homes
    }


def _households_overdue(day: date) -> set[int]:
    since = day - timedelta(days=OVERDUE_AFTER)
    open_ones = fees.charges_with_open().filter(open_amount__gt=0, charged_on__lt=since)
    return set(open_ones.values_list("household", flat=True))


OVERDUE_AFTER = 30


def days_to_birthday(born: date, day: date) -> int:
    """How many days from `day` to the next birthday; 29 February counts as 1 March in other years."""
    for year in (day.year, day.year + 1):
        try:
            birthday = born.replace(year=year)
        except ValueError:
            birthday = date(year, 3, 1)
        if birthday >= day:
            return (birthday - day).days
    raise AssertionError("a birthday comes every year")


def questions(range_day: RangeDay | None = None) -> QuerySet[Tap]:
    """Taps that wait for the coordinator's answer."""
    rows = Tap.objects.filter(state=TapState.QUESTION).select_related("range_day", "recorded_by")
    return rows.filter(range_day=range_day) if range_day else rows


def asked_of(range_day: RangeDay, user: User) -> "QuerySet[Tap, tuple[uuid.UUID, str]]":
    """The keys of the taps that somebody's phones sent and that wait for an answer, with what is asked."""
    rows = Tap.objects.filter(range_day=range_day, recorded_by=user, state=TapState.QUESTION)
    return rows.order_by("pk").values_list("key", "question")


def board(range_day: RangeDay) -> list[tuple[str, Money | None]]:
    """What the day costs, as it would stand on a board at the range; None where the schedule has no price."""
    found = prices(range_day)
    beside = [("Parent beside a child", found["beside"])] if found["beside"] is not None else []
    return [("Member, club kit", found["hire"]), *beside, ("Visitor, club kit", found["visitor"])]


def prices(range_day: RangeDay) -> dict[str, Money | None]:
    """The day's hire, visitor's fee and fee of a parent beside a child; None where the schedule has no price."""
    standing = schedule(range_day).prices
    return {name: standing[kind].amount if kind in standing else None for name, kind in BOARD.items()}


BOARD = {"hire": FeeKind.HIRE, "visitor": FeeKind.VISITOR, "beside": FeeKind.BESIDE}


def open_days_after(range_day: RangeDay | None) -> QuerySet[RangeDay]:
    """Days to which what was prepaid can move, the nearest first."""
    if range_day is None:
        return RangeDay.objects.none()
    rows = RangeDay.objects.filter(date__gt=range_day.date, closed_on=None, called_off_on=None)
    return rows.order_by("date", "place")


def next_open_day(on: date) -> date | None:
    """The first day from `on` that is not called off, as families are told it."""
    rows = RangeDay.objects.filter(date__gte=on, closed_on=None, called_off_on=None).order_by("date")
    return rows.values_list("date", flat=True).first()


def closed_among(days: Iterable[date]) -> list[date]:
    """Those of the days on which nobody shoots at the club."""
    wanted = sorted(days)
    if not wanted:
        return []
    spans = ClosedDays.objects.filter(first_day__lte=wanted[-1], last_day__gte=wanted[0])
    closed = list(spans.values_list("first_day", "last_day"))
    return [day for day in wanted if any(first <= day <= last for first, last in closed)]


def latest_counts(most: int = 5) -> QuerySet[TillCount]:
    return (
        TillCount.objects.filter(reopened_on=None)
        .select_related("range_day")
        .order_by("-range_day__date", "-pk")[:most]
    )


def name_of(user: User | None) -> str:
    """Who signs in by that, as people call them."""
    return (user.get_full_name() or user.get_username()) if user else ""


def standing_count(range_day: RangeDay) -> TillCount | None:
    """The count by which a day is closed; None while it is open."""
    rows = TillCount.objects.filter(range_day=range_day, reopened_on=None)
    return rows.select_related("range_day", "recorded_by", "second_counter").first()


def uncounted(on: date) -> QuerySet[RangeDay]:
    """Days up to then that nobody has counted, and that were not called off."""
    return RangeDay.objects.filter(closed_on=None, called_off_on=None, date__lte=on)


def holder_of(tap: Tap) -> SignOn | None:
    """Whose hands the kit of a tap went to: by their sign-on's own key, or by the tap that signed them on."""
    if tap.holder is None:
        return None
    standing = SignOn.objects.filter(STANDS, range_day=tap.range_day)
    by_tap = standing.filter(tap__key=tap.holder)
    if tap.people:
        by_tap = by_tap.filter(person__in=tap.people)
    own = standing.filter(Q(key=tap.holder) | Q(corrects__key=tap.holder))
    return own.first() or by_tap.order_by("pk").first()
