"""What phones at the range send: each tap once, however often, late or out of order it arrives."""

import uuid
from collections.abc import Sequence
from contextlib import nullcontext, suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Q
from djmoney.money import Money

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import services as charging
from clubdesk.money import cash_rounded, nil, total
from clubdesk.rangeday import selectors, visiting
from clubdesk.rangeday.models import Act, Gear, Kit, KitLoan, Paid, RangeDay, SafetyText, SignOn, Tap, TapState
from clubdesk.rangeday.services.kit import give_out, hold_kit, take_back_kit
from clubdesk.rangeday.services.signing import refuse_second, sign_on, take_off
from clubdesk.rangeday.states import TAP
from clubdesk.roll.models import Person
from clubdesk.verbs import part, verb

UNDO_WITHIN = timedelta(minutes=10)


@dataclass(frozen=True)
class Tapped:
    """One tap: people of one household who sign on and pay together, or one visitor; or the undoing of such a tap.

    Or a piece of kit (its id) given to whoever signed on by the sign-on or the tap with the key `holder`, or back; or
    that a `visitor` who signed on by themselves is not here.
    """

    key: uuid.UUID
    at: datetime
    undo: bool = False
    act: Act = Act.SIGN_ON
    kit: int | None = None
    holder: uuid.UUID | None = None
    safety: int | None = None
    gear: Gear = Gear.OWN
    paid: Paid = Paid.NOTHING
    people: Sequence[int] = field(default_factory=tuple)
    visitor: uuid.UUID | None = None
    visitor_name: str = ""
    visitor_guardian: str = ""
    visitor_phone: str = ""


@verb(permission="rangeday.add_signon", title="Take what a phone sends", whole=False)
def receive_tap(*, range_day: RangeDay, tapped: Tapped, by: User, known: selectors.Schedule | None = None) -> Tap:
    """Do what a phone has kept and sends now; `known` is the day's schedule. The same key again does nothing more.

    What cannot be done (somebody signed on twice with money, a day counted already, a missing price) is lost
    nowhere: it stands as a question for the coordinator. An undo that arrives before its tap keeps it from counting.
    Nearly always all of it can be done, in one piece; where not, it is done anew, person by person.
    """
    with suppress(Refused):
        return _receive(range_day, tapped, by, known, one_by_one=False)
    return _receive(range_day, tapped, by, known, one_by_one=True)


@part
def _receive(
    range_day: RangeDay, tapped: Tapped, by: User, known: selectors.Schedule | None, *, one_by_one: bool
) -> Tap:
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    waits = Q(range_day=day, act=Act.GIVE, state=TapState.QUESTION, holder=tapped.key)
    found = list(Tap.objects.filter(Q(key=tapped.key) | waits).order_by("pk"))
    standing = next((each for each in found if each.key == tapped.key), None)
    if tapped.undo:
        return _undo(day, tapped, standing, by)
    if standing:
        return standing
    tap = Tap.objects.create(
        key=tapped.key, range_day=day, tapped_at=tapped.at, act=tapped.act, holder=tapped.holder, gear=tapped.gear,
        visitor=tapped.visitor,
        kit=Kit.objects.filter(pk=tapped.kit).first() if tapped.kit else None,
        safety=SafetyText.objects.filter(pk=tapped.safety).first() if tapped.safety else None, paid=tapped.paid,
        people=list(tapped.people), visitor_name=tapped.visitor_name[:100],
        visitor_guardian=tapped.visitor_guardian[:100], visitor_phone=tapped.visitor_phone[:30], recorded_by=by,
    )  # fmt: skip
    waiting = found if tap.act == Act.SIGN_ON else []
    if waiting:
        hold_kit(each.kit_id for each in waiting if each.kit_id)
    tap = _settle(tap, day, by, known, one_by_one=one_by_one)
    for each in waiting:
        _settle(each, day, by)
    return tap


def _settle(
    tap: Tap, day: RangeDay, by: User, known: selectors.Schedule | None = None, *, one_by_one: bool = True
) -> Tap:
    """Do what the tap says; what is refused becomes its question, or is raised where it was not done one by one."""
    before = (tap.state, tap.question)
    tap.question = _do(tap, day, by, known, one_by_one=one_by_one)
    tap.state = TapState.QUESTION if tap.question else TapState.DONE
    if before != (tap.state, tap.question):
        tap.save()
    return tap


def _do(tap: Tap, day: RangeDay, by: User, known: selectors.Schedule | None = None, *, one_by_one: bool = True) -> str:
    """What was refused of what the tap says; blank where all of it was done."""
    if tap.act == Act.SIGN_ON:
        refused = _sign_on(tap, day, by, known or selectors.schedule(day), one_by_one)
    elif tap.act == Act.AWAY:
        refused = []
    else:
        refused = _hand_over(tap, by)
    return " ".join(refused)[:300]


def _hand_over(tap: Tap, by: User) -> list[str]:
    """Kit out or back; returns what was refused."""
    if tap.kit is None:
        return ["This piece of kit is not in the list of kit."]
    if tap.act == Act.BACK:
        take_back_kit(kit=tap.kit, at=tap.tapped_at, by=by)
        return []
    holder = selectors.holder_of(tap)
    if holder is None:
        return [f"{tap.kit} was given to somebody who is not signed on."]
    back = _given_back_since(tap)
    try:
        with transaction.atomic():
            give_out(
                kit=tap.kit, sign_on=holder, at=tap.tapped_at, back_at=back.tapped_at if back else None,
                by=by, key=tap.key,
            )  # fmt: skip
    except Refused as refusal:
        return [refusal.sentence]
    return []


def _given_back_since(tap: Tap) -> Tap | None:
    """The first tap by which this kit came back after it was given out, where that reached the book before."""
    later = Tap.objects.filter(act=Act.BACK, kit=tap.kit, range_day=tap.range_day, tapped_at__gte=tap.tapped_at)
    later = later.exclude(state=TapState.UNDONE)
    return later.order_by("tapped_at").first()


def _sign_on(tap: Tap, day: RangeDay, by: User, known: selectors.Schedule, one_by_one: bool) -> list[str]:
    """Sign on everyone of the tap who is not yet; returns what was refused."""
    people = list(selectors.who_comes(tap.people, day))
    known = replace(known, members={each.pk: each.is_member for each in people})
    if tap.paid == Paid.ACCOUNT:
        for household in sorted({person.household for person in people}, key=lambda each: each.pk):
            charging.queue(household)
    refused = [f"person {pk} is not on the roll" for pk in set(tap.people) - {person.pk for person in people}]
    rounding = _rounding(tap, people, day, known)
    who: list[selectors.Coming | None] = [*people] or ([None] if tap.visitor_name else [])
    if not who and not refused:
        refused = ["Nobody was named."]
    for person in who:
        try:
            with transaction.atomic() if one_by_one else nullcontext():
                if _comes_now(tap, person):
                    _sign_one_on(tap, day, person, rounding, known, by)
                    rounding = nil()
        except Refused as refusal:
            if not one_by_one:
                raise
            who_says = str(person or tap.visitor_name)
            named = who_says in refusal.sentence
            refused.append(refusal.sentence if named else f"{who_says}: {refusal.sentence}")
    return refused


def _sign_one_on(
    tap: Tap, day: RangeDay, person: Person | None, rounding: Money | None, known: selectors.Schedule, by: User
) -> None:
    sign_on(
        range_day=day,
        person=person,
        visitor_name=tap.visitor_name,
        visitor_guardian=tap.visitor_guardian,
        visitor_phone=tap.visitor_phone,
        safety=tap.safety,
        gear=Gear(tap.gear),
        paid=Paid(tap.paid),
        rounding=rounding,
        known=known,
        held=day,
        tap=tap,
        by=by,
        key=_key_of(tap, person),
    )


def _key_of(tap: Tap, person: Person | None) -> uuid.UUID:
    return uuid.uuid5(tap.key, str(person.pk if person else "visitor"))


def _comes_now(tap: Tap, person: selectors.Coming | None) -> bool:
    """Whether the tap is to sign this person on. Raises Refused where another did, unless there is nothing to ask:
    two phones say the same of a member with own gear.
    """
    if tap.state == TapState.QUESTION and SignOn.objects.filter(key=_key_of(tap, person)).exists():
        return False
    if person is None and tap.visitor and visiting.is_confirmed(tap):
        raise Refused("signed on already by another phone. Was the fee taken twice?")
    if person is None or person.signed_on is None:
        return True
    if tap.gear != Gear.OWN or person.gear != Gear.OWN:
        refuse_second(person)
    return False


def _rounding(tap: Tap, people: Sequence[Person], day: RangeDay, known: selectors.Schedule) -> Money | None:
    """The cash rounding of a family's one payment. Source: the ACCC guideline, by which the total is rounded."""
    if tap.paid != Paid.CASH or len(people) < 2:
        return None
    try:
        due = total(
            selectors.tariff(person=each, gear=Gear(tap.gear), range_day=day, known=known).amount for each in people
        )
    except Refused:
        return None
    return due - cash_rounded(due)


def _undo(day: RangeDay, tapped: Tapped, standing: Tap | None, by: User) -> Tap:
    if standing is None:
        return Tap.objects.create(
            key=tapped.key, range_day=day, tapped_at=tapped.at, state=TapState.UNDONE, recorded_by=by
        )
    if standing.state == TapState.UNDONE:
        return standing
    asked = _why_not_undone(day, tapped, standing)
    if not asked:
        try:
            with transaction.atomic():
                _take_all_off(standing, tapped.at, by)
        except Refused as refusal:
            asked = f"It was undone on the phone, but: {refusal.sentence}"
    standing.state, standing.question = (TapState.QUESTION, asked[:300]) if asked else (TapState.UNDONE, "")
    standing.save()
    return standing


def _why_not_undone(day: RangeDay, tapped: Tapped, standing: Tap) -> str:
    """What the coordinator must be asked before a tap is undone; blank where nothing stands in the way."""
    signed = standing.sign_ons.filter(cancelled_on=None)
    if signed and tapped.at - standing.tapped_at > UNDO_WITHIN:
        return "It was undone on the phone more than ten minutes later."
    if signed and not day.is_open:
        return "It was undone on the phone after the day was counted."
    paid = standing.sign_ons.exclude(cancelled_on=None).exclude(paid=Paid.NOTHING).filter(corrected_by=None).first()
    if paid and not signed:
        return (
            f"It was undone on the phone, but had been taken off already ({paid.cancel_reason}). Was money given back?"
        )
    return ""


def _take_all_off(standing: Tap, at: datetime, by: User) -> None:
    KitLoan.objects.filter(key=standing.key, back_at=None, given_at__lte=at).update(back_at=at)
    signed = list(standing.sign_ons.filter(cancelled_on=None).order_by("pk"))
    charging.lock_charges(each.charge for each in signed if each.charge)
    for loan in KitLoan.objects.filter(sign_on__in=signed, back_at=None).select_related("kit").order_by("kit"):
        take_back_kit(kit=loan.kit, at=at, by=by)
    for each in signed:
        take_off(sign_on=each, on=min(each.range_day.date, clock.today()), reason="undone at once", by=by)


@verb(permission="rangeday.close_rangeday", title="Answer this question")
def answer_tap(*, tap: Tap, record: bool, answer: str, on: date, by: User) -> Tap:
    """The coordinator answers a tap's question: try once more to record what is missing, or leave it as it is.

    Raises Refused where it still cannot be recorded, or without a word of answer.
    """
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=tap.range_day_id)
    document = Tap.objects.get(pk=tap.pk)
    if not TAP.may_follow(document.state, TapState.ANSWERED):
        return document
    if not answer.strip():
        raise Refused("Say what you found out.")
    if record:
        # Whoever records it now says that a visitor has agreed to the rules that stand.
        if document.visitor_name and document.safety is None:
            document.safety = selectors.safety_text(day.date)
        document.question = _do(document, day, by)
        if document.question:
            raise Refused(document.question)
    document.state, document.answer = TapState.ANSWERED, answer.strip()[:150]
    document.answered_on, document.answered_by = on, by
    document.save()
    return document
