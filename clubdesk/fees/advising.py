"""What vouchers the children of a family have left, and which fees to set them against, in a sentence for each scheme.

The club knows what it has taken by a scheme's rules, not what a family holds; the department decides.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef

from clubdesk.clock import long_day
from clubdesk.families import FeeToCome, PaidFor
from clubdesk.fees import counting, eligible, selectors
from clubdesk.fees.bestuse import BestUse, Fee, Held, best
from clubdesk.fees.models import Voucher, VoucherScheme, VoucherValue, VoucherWindow
from clubdesk.money import as_amount, cents_of, decimal_of, shown
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import in_order

HAS_WINDOWS = Exists(VoucherWindow.objects.filter(scheme=OuterRef("scheme")))
AS_THE_DEPARTMENT_SAYS = "Reckoned by the rules of the scheme as the club knows them; its department decides."


@dataclass(frozen=True)
class Left:
    """What of a scheme is left for a child on a day: `count` to be used until `last`, and when more can be, if then."""

    scheme: VoucherScheme
    count: int
    worth: int
    year: int
    last: date
    more_from: date | None


@dataclass(frozen=True)
class Payable:
    """A fee of a child that is open or to come, in cents, and the schemes that have paid some of it already."""

    words: str
    item: PaidFor
    charged_on: date
    due: date
    open: int
    whole: int
    paid_by: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Advice:
    """Of one child, a sentence or two for each scheme of which a voucher is left."""

    person: Person
    sentences: tuple[str, ...]


def advice(
    home: Household,
    people: Iterable[Person],
    on: date,
    *,
    pay_days: int = 0,
    open_fees: Iterable[Any] | None = None,
    due: Mapping[int, date] | None = None,
    to_come: Sequence[FeeToCome] = (),
) -> list[Advice]:
    """For each child with a fee that the family has open on `on`, or that is to come of the `people`, and with a
    voucher left; the eldest first. `open_fees` are those of `fees_of` where they are read already. A fee is due
    `pay_days` after it is charged, where `due` does not say by when, by the ids of the charges.

    Asks the book as often for one child as for many. Nothing is said of a child whose voucher still waits for the
    next fee, nor of more vouchers or fees than `bestuse` reckons with.
    """
    charges = [row for row in (fees_of(home) if open_fees is None else open_fees) if _can_be_paid(row, on)]
    theirs = {each.pk: each for each in people} | {row.person_id: row.person for row in charges}
    with_fees = {row.person_id for row in charges} | {each.person for each in to_come}
    children = [each for pk, each in theirs.items() if pk in with_fees and each.erased_on is None]
    if not children or not (values := list(_values_of(on))):
        return []
    windows = _windows_of(values)
    taken: dict[int, list[Voucher]] = defaultdict(list)
    for voucher in Voucher.objects.filter(selectors.STANDING_VOUCHER, person__in=children).select_related("charge"):
        taken[voucher.person_id].append(voucher)
    credit = 0
    if to_come and any(each.scheme.only_unpaid for each in values):
        credit = cents_of(selectors.unused_credit(home))
    due_on = {row.pk: (due or {}).get(row.pk) or row.charged_on + timedelta(days=pay_days) for row in charges}
    fees = _fees(charges, due_on, taken)
    for fee, is_open in zip(to_come, _beyond(credit, to_come), strict=True):
        if fee.cents:
            day = on + timedelta(days=pay_days if fee.pay_days is None else fee.pay_days)
            fees[fee.person].append(Payable(fee.words, fee.item, on, day, is_open, fee.cents))
    found = []
    for child in sorted(children, key=lambda each: (each.birth_date, each.pk)):
        own = taken[child.pk]
        left = [each for value in values if (each := left_of(value, windows[value.scheme_id], child, own, on))]
        if not any(each.charge.carried_on for each in own):
            found.append(Advice(child, tuple(_said(child, left, fees[child.pk], on))))
    return [each for each in found if each.sentences]


def told_by_others(home: Household, people: Sequence[Person], on: date, *, but: str) -> list[FeeToCome]:
    """What the rooms are about to charge the family, as for a place that is offered; `but` for one, by its label."""
    parts = (room.of_family(home, people, on) for room in in_order() if room.of_family and room.label != but)
    return [fee for part in parts for fee in part.to_come]


def fees_of(home: Household) -> Any:
    """What the family has open, with what it is for and for whom."""
    return selectors.open_charges(home).select_related("person", "price__item")


def _can_be_paid(row: Any, on: date) -> bool:
    """Whether a voucher could pay it: not what was brought in, credited or called off."""
    is_fee = row.person_id is not None and row.price_id is not None and row.charged_on <= on
    return is_fee and row.taken_back_on is None and row.carried_on is None


def _values_of(on: date) -> Iterator[VoucherValue]:
    """What a voucher of each scheme is worth in its year of that day, by the names of the schemes."""
    rows = VoucherValue.objects.filter(calendar_year__in=(on.year - 1, on.year)).select_related("scheme")
    for each in rows.annotate(has_windows=HAS_WINDOWS).order_by("scheme__name"):
        if each.calendar_year == eligible.year_of(on, each.scheme.year_begins):
            yield each


def _windows_of(values: Iterable[Any]) -> Mapping[int, list[VoucherWindow]]:
    """The windows of these schemes, by their ids; not asked where none has any."""
    found: dict[int, list[VoucherWindow]] = defaultdict(list)
    if schemes := [each.scheme_id for each in values if each.has_windows]:
        for window in VoucherWindow.objects.filter(scheme__in=schemes):
            found[window.scheme_id].append(window)
    return found


def _beyond(credit: int, to_come: Sequence[FeeToCome]) -> Iterator[int]:
    """What of each fee to come the family's credit does not pay, which charging uses for the first of them first."""
    for each in to_come:
        used = min(credit, each.cents)
        credit -= used
        yield each.cents - used


def left_of(
    value: VoucherValue, windows: Sequence[VoucherWindow], person: Person, taken: Sequence[Voucher], on: date
) -> Left | None:
    """What of a scheme is left for the child in the year of the `value`, which is that of `on`; None where nothing is.

    `windows` are the scheme's, `taken` the child's vouchers that stand.
    """
    scheme, year = value.scheme, value.calendar_year
    if not eligible.is_of_age(scheme.ages, person.birth_date, on):
        return None
    used = [each for each in taken if each.scheme_id == scheme.pk and each.calendar_year == year]
    ends = eligible.earliest(
        eligible.day_of(year + 1, scheme.year_begins, 1, scheme.year_begins) - timedelta(days=1), value.last_claim_on
    )
    opens = [eligible.day_of(year, each.from_month, each.from_day, scheme.year_begins) for each in windows]
    window, closed = counting.window_of(scheme, on, windows)
    of_year = scheme.per_year - len(used)
    now = 0 if closed else of_year
    if window:
        now = min(of_year, window.allows - sum(1 for each in used if each.window_id == window.pk))
        until = eligible.day_of(year, window.until_month, window.until_day, scheme.year_begins)
        ends = eligible.earliest(ends, until)
    assert ends is not None
    if now <= 0 or ends < on:
        return None
    later = min((day for day in opens if day > on), default=None) if of_year > now else None
    return Left(scheme, now, cents_of(value.amount), year, ends, later)


def _fees(
    charges: Iterable[Any], due: Mapping[int, date], taken: Mapping[int, Sequence[Voucher]]
) -> dict[int, list[Payable]]:
    """What is open of each child, by its id, in the order of the charges' ids."""
    found: dict[int, list[Payable]] = defaultdict(list)
    for row in sorted(charges, key=lambda each: each.pk):
        paid_by = frozenset(each.scheme_id for each in taken[row.person_id] if each.charge_id == row.pk)
        open_now, whole = cents_of(as_amount(row.open_amount)), cents_of(as_amount(row.creditable))
        fee = Payable(row.description, row.price.item, row.charged_on, due[row.pk], open_now, whole, paid_by)
        found[row.person_id].append(fee)
    return found


def _said(person: Person, left: Sequence[Left], fees: Sequence[Payable], on: date) -> list[str]:
    """The sentences of a child; none where it is too much to reckon."""
    held = [
        Held(each.scheme.pk, each.worth, each.count, each.scheme.only_unpaid, each.scheme.one_a_fee) for each in left
    ]
    plain = [Fee(fee.due, fee.open, fee.whole, _schemes_for(fee, left, on)) for fee in fees]
    use = best(held, plain)
    return [_sentence(person, each, fees, use) for each in left] if use else []


def _schemes_for(fee: Payable, left: Sequence[Left], on: date) -> frozenset[int]:
    return frozenset(
        each.scheme.pk
        for each in left
        if not counting.why_not_for(each.scheme, fee.item, fee.charged_on, on)
        and not (each.scheme.one_a_fee and each.scheme.pk in fee.paid_by)
    )


def _sentence(person: Person, left: Left, fees: Sequence[Payable], use: BestUse) -> str:
    """What is left of one scheme, against which fees it is best set, what would be forgone and what is kept."""
    name, scheme = person.given_name, left.scheme
    many = left.count > 1
    vouchers = f"{left.count} vouchers" if many else "one voucher"
    head = (
        f"{name} has {vouchers} of {scheme} left in {counting.year_in_words(scheme, left.year)}, worth "
        f"{_shown(left.worth)}{' each' if many else ''} (to {long_day(left.last)}):"
    )
    own = replace(use, uses=tuple(each for each in use.uses if each.scheme == scheme.pk))
    more = f" More can be used from {long_day(left.more_from)}." if left.more_from else ""
    if not own.uses:
        takes = "none of what is to pay now takes" if len(fees) > 1 else "what is to pay now does not take"
        return f"{head} {takes} {'them' if many else 'it'}; keep {'them' if many else 'it'} for a later fee.{more}"
    places = sorted({each.fee for each in own.uses}, key=lambda place: (fees[place].due, place))
    against = " and ".join(f"{fees[place].words} ({_shown(fees[place].open)})" for place in places)
    tail = "nothing is forgone"
    if own.forgone:
        tail = f"{_shown(own.forgone)} would be forgone, unless a larger fee comes"
    kept = left.count - len(own.uses)
    keep = f" Keep {'one' if kept == 1 else kept} for a later fee." if kept else ""
    some = f"{len(own.uses)} of them " if kept else ""
    return f"{head} {some}best set against {against}; {tail}.{_credited(own, fees, use)}{keep}{more}"


def _credited(own: BestUse, fees: Sequence[Payable], use: BestUse) -> str:
    """What was paid before and becomes the family's credit, by the last voucher that each fee takes."""
    last = {each.fee: each for each in use.uses}
    beyond = sum(
        max(sum(each.pays for each in use.uses if each.fee == place) - fees[place].open, 0)
        for place, each in last.items()
        if each in own.uses
    )
    return f" {_shown(beyond)} that was paid already becomes credit." if beyond else ""


def _shown(cents: int) -> str:
    return shown(decimal_of(cents))
