"""Verbs of what is known of people: whom to ring, what to know, what was agreed to, and each look at it."""

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.care import letters, selectors
from clubdesk.care.models import (
    OF_EACH,
    Agreement,
    AgreementText,
    Confirmation,
    HealthNote,
    Kind,
    Look,
    MayCollect,
    PersonToRing,
)
from clubdesk.care.selectors import Contact
from clubdesk.errors import Refused
from clubdesk.fees.services.charging import queue
from clubdesk.ledger.services import written
from clubdesk.mail.services import untold
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import NOBODY, verb

MOST_TO_RING, MOST_TO_COLLECT, FEWEST_DIGITS = 2, 3, 6


@dataclass(frozen=True)
class Health:
    """What a helper must know, each in a few words; all blank for nothing."""

    allergy: str = ""
    medication: str = ""
    needs: str = ""


@dataclass(frozen=True)
class Said:
    """All that a family says of one of its own; of a kind of agreement that is not named nothing is said."""

    ring: Sequence[Contact] = ()
    collect: Sequence[Contact] = ()
    health: Health = Health()
    agreed: Mapping[Kind, bool] = field(default_factory=dict)


@verb(permission="care.change_persontoring", title="Whom to ring, who may collect")
def name_contacts(*, person: Person, ring: Sequence[Contact], collect: Sequence[Contact], by: User) -> Person:
    """Write down whom a helper rings, the first before the second, and who besides the guardians may collect.

    They take the place of those before. Raises Refused for a name without a phone to ring, and for too many.
    """
    found = _held(person)
    _write_contacts(found, ring, collect)
    return found


@verb(permission="care.change_healthnote", title="Write the health note")
def note_health(*, person: Person, allergy: str, medication: str, needs: str, said_by: str, by: User) -> Person:
    """Write down what a helper must know, in place of what was known. Raises Refused without who said so."""
    found = _held(person)
    _write_health(found, Health(allergy, medication, needs), said_by)
    return found


@verb(permission="care.change_healthnote", title="No longer needed")
def forget_health(*, person: Person, by: User) -> Person:
    """Delete the health note; nothing of it stays. Without one nothing happens."""
    found = _held(person)
    HealthNote.objects.filter(person=found).delete()
    return found


@verb(permission="care.add_agreement", title="Write down what they agreed to")
def agree(
    *, person: Person, kind: str, given: bool, said_by: str, on: date, by: User, key: uuid.UUID | None = None
) -> Person:
    """Write down that somebody agreed, or not (any more), to the words that count now; what was said before stays.

    The same said again is once. Raises Refused without who said so, and for the news, which is each guardian's.
    """
    if kind not in OF_EACH:
        raise Refused("Each guardian says for themselves whether they want the news, on their family’s page.")
    found = _held(person)
    if not written(Agreement, key):
        _agree(found, {Kind(kind): given}, said_by, on, by, key)
    return found


@verb(permission="care.add_agreementtext", title="Change the words")
def write_text(*, kind: str, text: str, asks_anew: bool, on: date, by: User) -> AgreementText:
    """Make a new version of what families agree to; where it `asks_anew`, what they said before counts no more.

    The words that count already are no new version. Raises Refused for no words, and where it asks anew for news.
    """
    words = text.strip()
    if not words:
        raise Refused("Write what families agree to.")
    if asks_anew and kind == Kind.NEWS:
        raise Refused("Each letter of news can be ended by one tap, so nobody is asked anew: leave that unticked.")
    before = AgreementText.objects.select_for_update(of=("self",), no_key=True).filter(kind=kind).first()
    if before and before.text == words:
        return before
    version = before.version + 1 if before else 1
    return AgreementText.objects.create(kind=kind, version=version, text=words, asks_anew=asks_anew, written_on=on)


@verb(permission="care.view_healthnote", title="Look at the health note")
def look(*, person: Person, by: User) -> selectors.Known:
    """What is known of somebody, for who works at a desk; the look is written down. Raises Refused once erased."""
    return looked(person=person, day=None, by=by)


@verb(permission="care.view_healthnote", title="Make a file with the health notes")
def look_at_family(*, household: Household, by: User) -> list[Look]:
    """Write down that somebody takes a file of what is held about a family, for each of it with a health note."""
    noted = HealthNote.objects.filter(person__household=household).order_by("pk").values_list("person", flat=True)
    return [Look.objects.create(person_id=pk, looked_by=by) for pk in noted]


def looked(*, person: Person, day: date | None, by: User) -> selectors.Known:
    """A part of the verbs that show what is known: writes down who looks, at the range on its `day`."""
    refuse_erased(person)
    Look.objects.create(person=person, looked_by=by, day=day)
    return selectors.known(person)


@verb(permission=NOBODY, title="What the family says")
def keep_by_family(*, guardian: Guardian, person: Person, said: Said, on: date, by: User) -> Person:
    """All that a family says of one of its own, by its own page.

    Raises Refused for somebody of another family, and as the verbs for each part do.
    """
    found = _held(person)
    if found.household_id != guardian.household_id:
        raise Refused("Only your own family can be changed here.")
    _write_contacts(found, said.ring, said.collect)
    _write_health(found, said.health, guardian.name)
    _agree(found, said.agreed, guardian.name, on, by)
    return found


@verb(permission=NOBODY, title="All of it is right")
def confirm_by_family(*, guardian: Guardian, on: date, by: User) -> Confirmation:
    """A guardian has looked at all that is known, and it is right; twice on a day is once."""
    home = queue(guardian.household)
    found = Confirmation.objects.filter(household=home, confirmed_on=on).first()
    return found or Confirmation.objects.create(household=home, confirmed_on=on, said_by=guardian.name)


@verb(permission=NOBODY, title="Ask families whether it is still right")
def ask_to_confirm(*, on: date) -> int:
    """Write to each family that has not confirmed for a year; to each once a year. Returns how many were written to."""
    due = {letters.about(each): each for each in selectors.to_confirm(on)}
    asked = sorted(untold(due.keys()))
    for about in asked:
        letters.ask_to_confirm(due[about])
    return len(asked)


@verb(permission=NOBODY, title="Ask families anew whether they agree")
def ask_anew(*, on: date) -> int:
    """Write to each family that said something to words which ask anew since; once about each version of the words."""
    due = {letters.about_anew(each): each for each in selectors.to_answer_anew(on)}
    asked = sorted(untold(due.keys()))
    for about in asked:
        letters.ask_anew(due[about])
    return len(asked)


@verb(permission=NOBODY, title="Forget what is no longer needed")
def forget_who_left(*, on: date) -> int:
    """Delete the health notes of who has left for longer than such notes are kept, and who looked at people that were
    erased since. Returns how many notes went.
    """
    notes = [note.pk for note in selectors.notes_of_who_left(on)]
    HealthNote.objects.filter(pk__in=notes).delete()
    Look.objects.filter(person__erased_on__isnull=False).delete()
    return len(notes)


# What the verbs share


def _held(person: Person) -> Person:
    """The person, one change at a time to its family. Raises Refused once its details were erased."""
    queue(person.household)
    found = Person.objects.select_related("household").get(pk=person.pk)
    refuse_erased(found)
    return found


def _write_contacts(person: Person, ring: Sequence[Contact], collect: Sequence[Contact]) -> None:
    to_ring, to_collect = _named(ring), _named(collect)
    if len(to_ring) > MOST_TO_RING or len(to_collect) > MOST_TO_COLLECT:
        raise Refused(f"Name at most {MOST_TO_RING} people to ring, and {MOST_TO_COLLECT} who may collect.")
    for each in to_ring:
        if not each.name:
            raise Refused(f"Write the name of whom we ring on {each.phone}.")
        if len(re.sub(r"\D", "", each.phone)) < FEWEST_DIGITS:
            raise Refused(f"Write a phone for {each.name}, as in 08 7010 0100, so that we can ring.")
    for each in to_collect:
        if not each.name:
            raise Refused(f"Write the name of who may collect, with the phone {each.phone}.")
    _replace(
        PersonToRing,
        person,
        [
            {"place": place, "name": each.name, "phone": each.phone, "who": each.who}
            for place, each in enumerate(to_ring, 1)
        ],
        "place",
        "name",
        "phone",
        "who",
    )
    _replace(MayCollect, person, [{"name": each.name, "phone": each.phone} for each in to_collect], "name", "phone")


def _named(contacts: Sequence[Contact]) -> list[Contact]:
    """Those that say anything, as they are kept."""
    rows = [Contact(_short(each.name, 100), _short(each.phone, 30), _short(each.who, 40)) for each in contacts]
    return [each for each in rows if each.name or each.phone]


def _short(text: str, most: int) -> str:
    return " ".join(text.split())[:most].strip()


def _replace(
    model: type[PersonToRing] | type[MayCollect], person: Person, wanted: list[dict[str, object]], *names: str
) -> None:
    """Let these be all rows of the person; where they are already, they are left alone."""
    rows = model._default_manager.filter(person=person)
    if list(rows.values(*names)) != wanted:
        rows.delete()
        for given in wanted:
            model._default_manager.create(person=person, **given)


def _write_health(person: Person, health: Health, said_by: str) -> None:
    words = {name: _short(getattr(health, name), 200) for name in ("allergy", "medication", "needs")}
    note = HealthNote.objects.filter(person=person).first()
    if not any(words.values()):
        HealthNote.objects.filter(person=person).delete()
    elif note is None or words != {name: getattr(note, name) for name in words}:
        told = {**words, "said_by": _said_by(said_by), "said_at": clock.now()}
        HealthNote.objects.update_or_create(person=person, defaults=told)


def _said_by(name: str) -> str:
    found = _short(name, 100)
    if not found:
        raise Refused("Write who said so.")
    return found


def _agree(
    person: Person, agreed: Mapping[Kind, bool], said_by: str, on: date, by: User, key: uuid.UUID | None = None
) -> None:
    """What is said anew, or otherwise than before, to the words that count now."""
    stands = {each.kind: each for each in selectors.known(person).agreements}
    for kind, given in agreed.items():
        if not stands[kind].is_asked and stands[kind].given == given:
            continue
        text = selectors.newest(kind)
        if text.pk is None:
            text.written_on = on
            text.save()
        Agreement.objects.create(
            key=key or uuid.uuid4(), person=person, text=text, given=given, said_by=_said_by(said_by), said_on=on,
            recorded_by=by,
        )  # fmt: skip
