"""Incidents and near misses: written once, added to, never changed; after the years of keeping their words go."""

import uuid
from datetime import date, time

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.clock import day_text, months_later
from clubdesk.errors import Refused
from clubdesk.ledger.services import written
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Kit, KitState
from clubdesk.rangeday.services.kit import hold_kit
from clubdesk.roll.models import Person
from clubdesk.rooms import ERASED
from clubdesk.safety import selectors
from clubdesk.safety.models import Incident, IncidentKind, IncidentNote, Involved, Part
from clubdesk.verbs import NOBODY, verb


@verb(permission="safety.add_incident", title="Record an incident or near miss")
def record_incident(
    *, kind: str, on: date, place: str, what: str, by: User, happened_at: time | None = None, first_aid: str = "",
    child: Person | None = None, helper: Person | None = None, others: str = "", piece: Kit | None = None,
    at_risk: bool = False, key: uuid.UUID | None = None,
) -> Incident:  # fmt: skip
    """Write down what happened, when, where and to whom; a piece of kit that was part of it is set aside at once.

    `others` names who is not on the roll. Raises Refused without what and where, and for a day that has not come yet.
    """
    if found := written(Incident, key):
        return found
    if not what.strip() or not place.strip():
        raise Refused("Say what happened and where.")
    if on > clock.today():
        raise Refused("That day has not come yet; write down when it happened.")
    record = Incident.objects.create(
        key=key or uuid.uuid4(), kind=IncidentKind(kind), happened_on=on, happened_at=happened_at,
        place=place.strip()[:100], what=what.strip()[:3000], first_aid=first_aid.strip()[:300], at_risk=at_risk,
        kept_until=months_later(on, 12 * selectors.rules_on(clock.today()).keep_years), recorded_by=by,
    )  # fmt: skip
    _involve(record, by, child, helper, others, piece)
    return record


@verb(permission="safety.change_incident", title="Add who or what was part of it")
def add_to_incident(
    *, incident: Incident, by: User, child: Person | None = None, helper: Person | None = None, others: str = "",
    piece: Kit | None = None,
) -> Incident:  # fmt: skip
    """Name somebody, or a piece of kit, that was part of an incident as well. Raises Refused for nobody."""
    record = _held(incident)
    if not (child or helper or others.strip() or piece):
        raise Refused("Name who or what was part of it.")
    _involve(record, by, child, helper, others, piece)
    return record


@verb(permission="safety.change_incident", title="Add a note")
def note_incident(*, incident: Incident, words: str, on: date, by: User, key: uuid.UUID | None = None) -> Incident:
    """Add what was done or found out since. Raises Refused for no words."""
    record = _held(incident)
    if written(IncidentNote, key):
        return record
    if not words.strip():
        raise Refused("Write what was done or found out.")
    IncidentNote.objects.create(
        key=key or uuid.uuid4(), incident=record, noted_on=on, words=words.strip()[:3000], recorded_by=by
    )
    return record


@verb(permission="safety.change_incident", title="A guardian was told")
def note_guardian_told(*, incident: Incident, told_whom: str, on: date, by: User) -> Incident:
    """Who of the family was told, and when; then it stays. Raises Refused without who, or before it happened."""
    record = _held(incident)
    if record.told_on:
        return record
    if not told_whom.strip():
        raise Refused("Write who was told, how, and at what time.")
    if on < record.happened_on:
        raise Refused(f"It happened on {day_text(record.happened_on)}; nobody was told before.")
    record.told_on, record.told_whom = on, told_whom.strip()[:150]
    record.save(update_fields=["told_on", "told_whom"])
    return record


@verb(permission=NOBODY, title="Forget incidents whose years are over")
def forget_incidents(*, on: date) -> int:
    """The words and names of records that were kept as long as the club says go; that there was one, and when, stays.

    Returns how many were forgotten.
    """
    due = [
        record
        for record in Incident.objects.filter(kept_until__lt=on).exclude(what=ERASED).order_by("pk")
        if selectors.kept_until(record) < on
    ]
    for record in due:
        told = {"told_whom": ERASED} if record.told_whom else {}
        aid = {"first_aid": ERASED} if record.first_aid else {}
        Incident.objects.filter(pk=record.pk).update(what=ERASED, place=ERASED, **told, **aid)
        Involved.objects.filter(incident=record).update(name=ERASED)
        IncidentNote.objects.filter(incident=record).update(words=ERASED)
    return len(due)


def _held(incident: Incident) -> Incident:
    record = Incident.objects.select_for_update(of=("self",), no_key=True).get(pk=incident.pk)
    if record.what == ERASED:
        raise Refused("The words of this record have gone, since its years are over; nothing is added to it.")
    return record


def _involve(
    record: Incident, by: User, child: Person | None, helper: Person | None, others: str, piece: Kit | None
) -> None:
    """Whoever is named already is named once. Kit comes last, by the order of locks, and is set aside before."""
    for part, person in ((Part.CHILD, child), (Part.HELPER, helper)):
        if person and not record.involved.filter(part=part, person=person).exists():
            Involved.objects.create(incident=record, part=part, person=person, name=str(person), recorded_by=by)
    name = " ".join(others.split())[:120]
    if name and not record.involved.filter(part=Part.OTHER, name=name).exists():
        Involved.objects.create(incident=record, part=Part.OTHER, name=name, recorded_by=by)
    if piece and not record.involved.filter(kit=piece).exists():
        hold_kit([piece.pk])
        if Kit.objects.get(pk=piece.pk).state == KitState.USABLE:
            note = f"part of an incident on {day_text(record.happened_on)}"
            rangeday.set_kit_aside(kit=piece, note=note, on=record.happened_on, by=by)
        Involved.objects.create(incident=record, part=Part.KIT, kit=piece, name=str(piece), recorded_by=by)
