"""Questions about range days."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet
from djmoney.money import Money

from clubdesk.fees import selectors as fees
from clubdesk.fees.models import FeeItem, FeeKind, FeePrice
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance, summed
from clubdesk.membership.models import Membership
from clubdesk.membership.selectors import is_member
from clubdesk.money import as_amount, nil
from clubdesk.rangeday.models import Gear, Paid, RangeDay, SignOn, Tap, TapState
from clubdesk.roll.models import Guardian, Person

STANDS = Q(cancelled_on=None)


@dataclass(frozen=True)
class Tariff:
    """What signing on costs: the kind it counts as, its price (None where nothing is due) and the amount."""

    gear: Gear
    price: FeePrice | None
    amount: Money


def tariff(*, person: Person | None, gear: Gear, range_day: RangeDay) -> Tariff:
    """The fee on that day: a member with own gear pays nothing, a member the hire, anybody else the visitor's fee.

    Raises Refused where the schedule lacks the price.
    """
    member = person is not None and is_member(person, range_day.date)
    if gear == Gear.OWN and member:
        return Tariff(Gear.OWN, None, nil())
    kind = FeeKind.HIRE if member else FeeKind.VISITOR
    price = fees.price_of_kind(kind, range_day.date)
    return Tariff(Gear.HIRE if member else Gear.VISITOR, price, price.amount)


def days_with_takings() -> QuerySet[Any]:
    """Range days with `people`, `cash`, `card` and `account` (Decimal)."""

    def taken(paid: Paid) -> Any:
        return summed("sign_ons__amount", Q(sign_ons__paid=paid, sign_ons__cancelled_on=None))

    def rounded() -> Any:
        return summed("sign_ons__rounding", Q(sign_ons__cancelled_on=None))

    return RangeDay.objects.annotate(
        people=Count("sign_ons", filter=Q(sign_ons__cancelled_on=None)),
        cash=taken(Paid.CASH) - rounded(),
        card=taken(Paid.CARD),
        account=taken(Paid.ACCOUNT),
    )


def till_expected(range_day: RangeDay) -> Money:
    """What should be in the tin at the end of the day, by the ledger."""
    return as_amount(balance(Role.TILL, range_day.date))


def signed_on(range_day: RangeDay, person: Person) -> SignOn | None:
    return range_day.sign_ons.filter(STANDS, person=person).first()


@dataclass(frozen=True)
class Line:
    """Somebody on the sheet of a day: who, what signing on costs, and what stands quietly beside the name."""

    person: int
    name: str
    household: int
    member: bool
    notes: tuple[str, ...]


BIRTHDAY_WITHIN = 7


def sheet(range_day: RangeDay, *, with_money: bool) -> list[Line]:
    """Everyone on the roll, members first; what is owed stands there only for who may see it."""
    day = range_day.date
    members = set(
        Membership.objects.filter(cancelled_on=None, starts_on__lte=day, ends_on__gte=day).values_list(
            "person", flat=True
        )
    )
    before = set(Membership.objects.filter(cancelled_on=None, ends_on__lt=day).values_list("person", flat=True))
    reachable = set(Guardian.objects.exclude(phone="").values_list("household", flat=True))
    overdue = set()
    if with_money:
        since = day - timedelta(days=OVERDUE_AFTER)
        open_ones = fees.charges_with_open().filter(open_amount__gt=0, charged_on__lt=since)
        overdue = set(open_ones.values_list("household", flat=True))
    people = Person.objects.filter(blanked_on=None).order_by("given_name", "family_name", "pk")
    lines = []
    for person in people:
        notes = []
        if days_to_birthday(person.birth_date, day) < BIRTHDAY_WITHIN:
            notes.append("birthday this week")
        if person.pk in before and person.pk not in members:
            notes.append("membership lapsed")
        if person.household_id in overdue:
            notes.append("fee overdue")
        if person.household_id not in reachable:
            notes.append("no guardian’s phone")
        lines.append(Line(person.pk, str(person), person.household_id, person.pk in members, tuple(notes)))
    return sorted(lines, key=lambda line: not line.member)


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


def board(range_day: RangeDay) -> list[tuple[str, Money | None]]:
    """What the day costs, as it would stand on a board at the range; None where the schedule has no price."""
    found = prices(range_day)
    return [("Member, club gear", found["hire"]), ("Visitor, club gear", found["visitor"])]


def prices(range_day: RangeDay) -> dict[str, Money | None]:
    """The day's hire and visitor's fee; None where the schedule has no price."""
    items = {item.kind: item for item in FeeItem.objects.filter(kind__in=BOARD.values()).order_by("-pk")}
    standing: dict[int, FeePrice] = {}
    rows = FeePrice.objects.filter(item__in=items.values(), valid_from__lte=range_day.date)
    for row in rows.order_by("valid_from"):
        standing[row.item_id] = row
    found: dict[str, Money | None] = {}
    for name, kind in BOARD.items():
        price = standing.get(items[kind].pk) if kind in items else None
        ended = price is not None and price.valid_until is not None and price.valid_until < range_day.date
        found[name] = None if price is None or ended else price.amount
    return found


BOARD = {"hire": FeeKind.HIRE, "visitor": FeeKind.VISITOR}
