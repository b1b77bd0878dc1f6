"""How a range day begins: with enough people on duty by the club's own rules, or for a reason."""

import uuid
from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import partial

from django.contrib.auth.models import User
from django.db import transaction

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger.services import written
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import RangeDay, Tap, TapState
from clubdesk.roll.models import Person
from clubdesk.safety import selectors
from clubdesk.safety.models import Opening
from clubdesk.safety.selectors import Standing
from clubdesk.safety.services.roster import held_day
from clubdesk.verbs import verb

WHO_MAY = "Put somebody else on duty, or a coordinator opens the day with a reason."


@verb(permission="safety.add_opening", title="Open the day with a reason")
def open_day(*, range_day: RangeDay, reason: str, on: date, by: User, key: uuid.UUID | None = None) -> Opening:
    """Let a day begin with fewer people on duty than the club's rules ask for; it stands for the whole day.

    What phones had sent and was refused for that is recorded once this is saved, each by itself. Raises Refused without
    a reason, for a day that is over, and where the club asks for nothing.
    """
    day = held_day(range_day)
    if found := written(Opening, key) or Opening.objects.filter(range_day=day).exclude(reason="").first():
        return found
    if not day.is_open:
        raise Refused(f"{day} is {day.standing} already.")
    found_now = _now(day)
    if not found_now.rules.people:
        raise Refused("The club asks for nobody on duty: set up the rules for a safe day first.")
    if not reason.strip():
        raise Refused(f"{found_now.words} Say why the day begins all the same.")
    opening = _note(found_now, reason.strip()[:150], by, key)
    transaction.on_commit(partial(_record_what_waits, day, on, by), robust=True)
    return opening


def before_signing_on(day: RangeDay, person: Person | None, by: User) -> None:
    """Whoever signs on first opens the day, where enough are on duty; so does who is one child too many for those.

    Raises Refused where there are too few and nobody gave a reason. Days to come are not asked.
    """
    if day.date > clock.today():
        return
    rules = selectors.rules_on(day.date)
    if not rules.people:
        return
    opening = selectors.opening_of(day)
    if opening and (opening.reason or not (person and selectors.is_child(person, day.date))):
        return
    there = selectors.children_there(day) + 1
    if opening and there <= selectors.covered(rules, opening.on_duty):
        return
    now = replace(_now(day), children=there) if opening else _now(day)
    if now.is_short:
        raise Refused(f"{now.words} {WHO_MAY}")
    _note(now, "", by)


def lacking(day: RangeDay) -> str:
    """Why the sheet of a day does not open yet; blank where it does."""
    if day.date > clock.today() or not day.is_open or not selectors.rules_on(day.date).people:
        return ""
    if selectors.opening_of(day):
        return ""
    now = selectors.standing(day)
    return f"{now.words} {WHO_MAY}" if now.is_short else ""


def _now(day: RangeDay) -> Standing:
    return selectors.standing(day)


def _note(now: Standing, reason: str, by: User, key: uuid.UUID | None = None) -> Opening:
    return Opening.objects.create(
        key=key or uuid.uuid4(), range_day=now.day, children=now.children, needed=now.needed, on_duty=now.on_duty,
        reason=reason, recorded_by=by,
    )  # fmt: skip


def _record_what_waits(day: RangeDay, on: date, by: User) -> None:
    """Sign-ons first, in the order in which they were tapped, then the kit that was given to them."""
    asked = Tap.objects.filter(range_day=day, state=TapState.QUESTION)
    signing = list(asked.filter(question__contains=WHO_MAY).order_by("pk"))
    keys = [tap.key for tap in signing]
    for tap in [*signing, *asked.filter(holder__in=keys).order_by("pk")]:
        with suppress(Refused):
            rangeday.answer_tap(tap=tap, record=True, answer="The day was opened with a reason.", on=on, by=by)
