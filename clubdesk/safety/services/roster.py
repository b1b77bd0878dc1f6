"""The roster: who is on duty on which range day, planned for a season, swapped, told some days before."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db import transaction

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger.services import written
from clubdesk.mail.services import untold
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.safety import letters, selectors
from clubdesk.safety.models import Duty, Turn
from clubdesk.verbs import NOBODY, part, verb

TOLD_BEFORE = timedelta(days=5)


@dataclass(frozen=True)
class Roster:
    """The turns that were written, those days that had somebody already, and a sentence for each that was refused."""

    turns: tuple[Turn, ...]
    stood: tuple[RangeDay, ...]
    refused: tuple[str, ...]


def held_day(range_day: RangeDay) -> RangeDay:
    return RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)


@verb(permission="safety.add_turn", title="Put somebody on duty")
def put_on_duty(*, range_day: RangeDay, person: Person, duty: str, by: User, key: uuid.UUID | None = None) -> Turn:
    """Somebody is on duty on a range day; who is already is so once.

    Raises Refused for a day that is over, and where a check that the duty asks for has lapsed by that day.
    """
    day = held_day(range_day)
    return written(Turn, key) or _put(day, person, Duty(duty), by, key)


@part
def _put(
    day: RangeDay, person: Person, duty: Duty, by: User, key: uuid.UUID | None = None, takes_over: Turn | None = None
) -> Turn:
    found = Person.objects.select_related("household").get(pk=person.pk)
    refuse_erased(found)
    if not day.is_open:
        raise Refused(f"{day} is {day.standing}; who was on duty stays as it is.")
    if stands := Turn.objects.filter(selectors.NOT_ENDED, range_day=day, person=found, duty=duty).first():
        return stands
    if why := selectors.lapsed(found, duty, day.date):
        raise Refused(why)
    return Turn.objects.create(
        key=key or uuid.uuid4(), range_day=day, person=found, duty=duty, takes_over=takes_over, recorded_by=by
    )


@verb(permission="safety.add_turn", title="Plan the roster")
def plan_turns(
    *, first_day: date, last_day: date, duty: str, people: Sequence[Person], each_day: int, by: User
) -> Roster:
    """Put people on duty on the open range days from the first to the last, so many a day, in turns by their order.

    A day that has somebody for the duty is passed over, so that the same again changes nothing. Whose check has lapsed
    by a day is passed over too, and named. Raises Refused where the last day is before the first, or there is nobody.
    """
    if last_day < first_day:
        raise Refused("The last day is before the first.")
    who = list(people)
    if not who:
        raise Refused("Choose who takes turns.")
    days = list(
        RangeDay.objects.select_for_update(of=("self",), no_key=True)
        .filter(date__range=(first_day, last_day), closed_on=None, called_off_on=None)
        .order_by("pk")
    )
    if not days:
        raise Refused("There is no open range day between these days; plan range days first.")
    taken = set(
        Turn.objects.filter(selectors.NOT_ENDED, range_day__in=days, duty=duty).values_list("range_day", flat=True)
    )
    turns, refused, number = [], [], 0
    for day in sorted(days, key=lambda each: (each.date, each.pk)):
        if day.pk in taken:
            continue
        wanted, tried = min(each_day, len(who)), 0
        while wanted and tried < len(who):
            person = who[number % len(who)]
            number, tried = number + 1, tried + 1
            try:
                with transaction.atomic():
                    turns.append(_put(day, person, Duty(duty), by))
                wanted -= 1
            except Refused as refusal:
                refused.append(f"{day}: {refusal.sentence}")
    return Roster(tuple(turns), tuple(day for day in days if day.pk in taken), tuple(refused))


@verb(permission="safety.change_turn", title="Ask for a swap")
def ask_for_swap(*, turn: Turn, on: date, by: User) -> Turn:
    """Who has the turn cannot come and asks that somebody takes it over; until then it stands. Twice is once."""
    document = _held(turn)
    _refuse_over(document)
    if document.swap_asked_on is None:
        document.swap_asked_on = on
        document.save(update_fields=["swap_asked_on"])
    return document


@verb(permission="safety.change_turn", title="Take it over")
def take_over(*, turn: Turn, person: Person, on: date, by: User) -> Turn:
    """Somebody takes a turn over; both have a letter. Raises Refused as putting on duty does, and for oneself."""
    document = _held(turn)
    if taken := Turn.objects.filter(takes_over=document).first():
        return taken
    _refuse_over(document)
    if person.pk == document.person_id:
        raise Refused(f"It is the turn of {person} already; choose who takes it over.")
    _end(document, f"taken over by {person}", on)
    taken = _put(document.range_day, person, Duty(document.duty), by, takes_over=document)
    if taken.takes_over_id != document.pk:
        raise Refused(f"{person} is on duty for this on that day already; choose somebody else.")
    letters.tell_swapped(taken)
    return taken


@verb(permission="safety.change_turn", title="Take off the roster")
def take_off_duty(*, turn: Turn, reason: str, on: date, by: User) -> Turn:
    """Somebody is not on duty after all, such as who did not come. Raises Refused without a reason."""
    document = _held(turn)
    if document.ended_on:
        return document
    _refuse_over(document)
    if not reason.strip():
        raise Refused("Say why, such as: did not come.")
    return _end(document, reason.strip()[:150], on)


@verb(permission=NOBODY, title="Tell who is on duty next")
def tell_turns(*, on: date) -> int:
    """Write to whoever is on duty in the next days, once a turn. Returns how many letters."""
    rows = Turn.objects.filter(
        selectors.NOT_ENDED, range_day__date__range=(on, on + TOLD_BEFORE), range_day__closed_on=None,
        range_day__called_off_on=None, person__erased_on=None,
    )  # fmt: skip
    due = {letters.about_turn(each): each for each in rows.select_related("person__household", "range_day")}
    told = sorted(untold(due.keys()))
    for about in told:
        letters.tell_turn(due[about])
    return len(told)


def _held(turn: Turn) -> Turn:
    """The turn with its day, which whoever else changes the roster waits for."""
    day = held_day(turn.range_day)
    document = Turn.objects.select_related("person__household").get(pk=turn.pk)
    document.range_day = day
    return document


def _refuse_over(turn: Turn) -> None:
    if turn.ended_on:
        raise Refused(f"This turn has ended: {turn.end_reason}.")
    if not turn.range_day.is_open:
        raise Refused(f"{turn.range_day} is {turn.range_day.standing}; who was on duty stays as it is.")


def _end(turn: Turn, reason: str, on: date) -> Turn:
    turn.ended_on, turn.end_reason = min(on, clock.today()), reason[:150]
    turn.save(update_fields=["ended_on", "end_reason"])
    return turn
