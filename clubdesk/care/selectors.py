"""Questions about whom to ring, what to know, and what families agreed to."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db import connection
from django.db.models import DateTimeField, Exists, F, ForeignKey, Max, Min, OuterRef, Q, QuerySet
from django.db.models.expressions import Combinable, RawSQL
from django.db.models.functions import TruncDate
from django.utils.timezone import get_current_timezone_name, localdate

from clubdesk import rooms
from clubdesk.care.models import (
    DEFAULTS,
    OF_EACH,
    Agreement,
    AgreementText,
    Confirmation,
    HealthNote,
    Kind,
    MayCollect,
)
from clubdesk.care.models import PersonToRing as ToRing
from clubdesk.clock import day_text, months_later
from clubdesk.roll.models import Consent, Guardian, Household, Person

CHILD_UNDER = 18


@dataclass(frozen=True)
class Contact:
    """Somebody with a phone, and who they are to the child."""

    name: str
    phone: str = ""
    who: str = ""


@dataclass(frozen=True)
class Stands:
    """How it stands with one kind of agreement: whether it is given (None: nobody said), and the same in words.

    `is_asked` where an answer is missing: there is none, or the words have changed since in a way that asks anew.
    """

    kind: Kind
    given: bool | None
    words: str
    is_asked: bool
    is_anew: bool = False


@dataclass(frozen=True)
class Known:
    """What is known of one person. Where nobody is named to ring, the family's guardians with a phone stand in."""

    person: Person
    ring: Sequence[Contact]
    are_guardians: bool
    collect: Sequence[Contact]
    health: HealthNote | None
    agreements: Sequence[Stands] = field(default_factory=list)

    def agreed(self, kind: Kind) -> bool:
        """Whether it is given now; not where the words ask anew since, until somebody has answered."""
        return any(each.given for each in self.agreements if each.kind == kind)

    @property
    def to_know(self) -> list[tuple[str, str]]:
        """What of the health note is said, under which heading."""
        note = self.health
        told = ((note.allergy, "Allergies"), (note.medication, "Medication"), (note.needs, "Also")) if note else ()
        return [(heading, words) for words, heading in told if words]


def newest(kind: Kind) -> AgreementText:
    """The words that count now; unsaved where the club has said nothing yet: those that a club begins with."""
    return AgreementText.objects.filter(kind=kind).first() or first_text(kind)


def first_text(kind: Kind) -> AgreementText:
    """The words that a club begins with, unsaved."""
    return AgreementText(kind=kind, version=1, text=DEFAULTS[kind])


def known_of(people: Sequence[Person]) -> list[Known]:
    """What is known of each of them; as many questions for one as for many."""
    pks, homes = [each.pk for each in people], {each.household_id for each in people}
    named: dict[int, list[Contact]] = {}
    for row in ToRing.objects.filter(person__in=pks):
        named.setdefault(row.person_id, []).append(Contact(row.name, row.phone, row.who))
    collect: dict[int, list[Contact]] = {}
    for one in MayCollect.objects.filter(person__in=pks):
        collect.setdefault(one.person_id, []).append(Contact(one.name, one.phone))
    guardians: dict[int, list[Contact]] = {}
    for each in Guardian.objects.filter(household__in=homes).exclude(phone="").order_by("pk"):
        guardians.setdefault(each.household_id, []).append(Contact(each.name, each.phone, "guardian"))
    notes = {note.person_id: note for note in HealthNote.objects.filter(person__in=pks)}
    said = _said(pks)
    booked: dict[int, Consent] = {}
    for consent in Consent.objects.filter(household__in=homes).order_by("pk"):
        booked[consent.household_id] = consent
    written = list(AgreementText.objects.filter(kind__in=OF_EACH).order_by("version"))
    texts = {each.kind: each for each in [*map(first_text, OF_EACH), *written]}.values()
    anew = {each.kind: each.version for each in written if each.asks_anew}
    return [
        Known(
            person,
            named.get(person.pk) or guardians.get(person.household_id, [])[:2],
            person.pk not in named,
            collect.get(person.pk, []),
            notes.get(person.pk),
            [
                _stands(text, said.get((person.pk, text.kind)), booked.get(person.household_id), anew.get(text.kind, 0))
                for text in texts
            ],
        )
        for person in people
    ]


def known(person: Person) -> Known:
    return known_of([person])[0]


def _said(people: Sequence[int]) -> dict[tuple[int, str], Agreement]:
    """The newest that was said for each of them, by kind."""
    rows = Agreement.objects.filter(person__in=people).select_related("text").order_by("pk")
    return {(row.person_id, row.text.kind): row for row in rows}


def _stands(text: AgreementText, said: Agreement | None, booked: Consent | None, anew: int) -> Stands:
    kind = Kind(text.kind)
    if said is None and kind == Kind.DATA and booked and not anew:
        words = f"agreed by {booked.given_by} on {day_text(booked.given_at)}, with a booking"
        return Stands(kind, True, words, is_asked=False)
    if said is None:
        return Stands(kind, None, "not asked yet", is_asked=True)
    did = "agreed" if said.given else "not agreed"
    words = f"{did} by {said.said_by} on {day_text(said.said_on)}, version {said.text.version}"
    if said.text.version < anew:
        return Stands(
            kind, None, f"{words}; the words have changed since, please answer again", is_asked=True, is_anew=True
        )
    return Stands(kind, said.given, words, is_asked=False)


def said_now(person: Person, kind: Kind) -> Stands:
    return next(each for each in known(person).agreements if each.kind == kind)


def with_nobody_to_ring(people: QuerySet[Person]) -> QuerySet[Person]:
    """Those of them for whom nobody is named, and whose family has no guardian with a phone."""
    return people.filter(~can_be_rung(), erased_on=None)


def can_be_rung() -> Q:
    """The condition on a person that somebody can be rung for them."""
    guardians = Guardian.objects.filter(household=OuterRef("household")).exclude(phone="")
    return Q(Exists(ToRing.objects.filter(person=OuterRef("pk")))) | Q(Exists(guardians))


# Who was asked, and who has left


def children(on: date) -> QuerySet[Person]:
    return Person.objects.filter(erased_on=None, birth_date__gt=months_later(on, -12 * CHILD_UNDER))


def days_of(people: QuerySet[Person]) -> dict[int, tuple[date, date]]:
    """The first and the last day on which the rooms hold a record of each, all asked in one question."""
    asked, given = people.order_by().values("pk").query.sql_with_params()
    records, shared = _records_of_asked(connection.vendor, get_current_timezone_name())
    found: dict[int, tuple[date, date]] = {}
    with connection.cursor() as cursor:
        cursor.execute(f"WITH asked (pk) AS ({asked}) {records}", [*given, *shared])
        for pk, *days in cursor.fetchall():
            first, last = map(_as_date, days)
            earliest, latest = found.get(pk, (first, last))
            found[pk] = (min(earliest, first), max(latest, last))
    return found


@cache
def _records_of_asked(vendor: str, zone: str) -> tuple[str, tuple[Any, ...]]:
    """What asks each kind of record for the people that are `asked`; put together once, since that takes longest."""
    asked: Any = RawSQL("SELECT asked.pk FROM asked", ())
    kinds = [
        model._base_manager.filter(**{f"{lookup}__in": asked, f"{column}__isnull": False})
        .order_by()
        .values(who=F(lookup))
        .annotate(first=Min(day), last=Max(day))
        .values_list("who", "first", "last")
        .query.sql_with_params()
        for model, lookup, column, day in _dated()
    ]
    return " UNION ALL ".join(sql for sql, _ in kinds), tuple(param for _, params in kinds for param in params)


def _as_date(day: date | str) -> date:
    """SQLite keeps a day as text."""
    return date.fromisoformat(day) if isinstance(day, str) else day


def _dated() -> Iterator[tuple[Any, str, str, Combinable]]:
    """Each kind of record with a day, how it leads to a person, and the day; but what is known of them is none."""
    for room in rooms.in_order():
        for each in room.personal if room.label not in ("roll", "care") else ():
            model = apps.get_model(each.model)
            names = {field.name for field in model._meta.concrete_fields if isinstance(field, ForeignKey)}
            if each.person.partition("__")[0] in names:
                for column in each.retained_from:
                    yield model, each.person, column, _day_of(model, column)


def _day_of(model: Any, column: str) -> Combinable:
    *through, last = column.split("__")
    for name in through:
        model = model._meta.get_field(name).related_model
    return TruncDate(column) if isinstance(model._meta.get_field(last), DateTimeField) else F(column)


@dataclass(frozen=True)
class ToConfirm:
    """A family that has not looked at it for a year, its children by their ids, and the day from which it is asked."""

    home: int
    people: Sequence[int]
    since: date

    @property
    def household(self) -> Household:
        return Household.objects.select_related("party").get(pk=self.home)

    @property
    def children(self) -> QuerySet[Person]:
        return Person.objects.filter(pk__in=self.people).order_by("birth_date", "pk")


def to_confirm(on: date, home: Household | None = None) -> list[ToConfirm]:
    """The families of children who still come, of which nobody has confirmed for a year what is known of them.

    A family that never did is asked a year after the first record of it. Unanswered it is asked again every year.
    """
    asked = children(on).filter(household=home) if home else children(on)
    days = days_of(asked)
    still = months_later(on, -12)
    families: dict[int, list[int]] = {}
    for pk, family in asked.order_by("birth_date", "pk").values_list("pk", "household"):
        if pk in days and days[pk][1] >= still:
            families.setdefault(family, []).append(pk)
    confirmations = home.confirmations.all() if home else Confirmation.objects.all()
    confirmed = dict(confirmations.order_by().values_list("household").annotate(Max("confirmed_on")))
    found = []
    for family, people in families.items():
        begun = confirmed.get(family) or min(days[each][0] for each in people)
        if years := _whole_years(begun, on):
            found.append(ToConfirm(family, people, months_later(begun, 12 * years)))
    return found


@dataclass(frozen=True)
class Anew:
    """A family that said something to words which the club has changed since, so that it is asked anew."""

    household: Household
    texts: Sequence[AgreementText]


def to_answer_anew(on: date) -> list[Anew]:
    """The families of children who still come, with the words of which somebody has to say again whether they agree."""
    changed = {text.kind: text for text in AgreementText.objects.filter(asks_anew=True).order_by("version")}
    if not changed:
        return []
    people = children(on).filter(Exists(Agreement.objects.filter(person=OuterRef("pk"), text__kind__in=changed)))
    days, still = days_of(people), months_later(on, -12)
    homes = {each.pk: each.household for each in people.select_related("household__party").order_by("pk")}
    found: dict[int, set[str]] = {}
    for (pk, kind), said in _said(list(homes)).items():
        came = pk in days and days[pk][1] >= still
        if came and kind in changed and said.text.version < changed[kind].version:
            found.setdefault(homes[pk].pk, set()).add(kind)
    families = {home.pk: home for home in homes.values()}
    return [Anew(families[pk], [changed[kind] for kind in sorted(kinds)]) for pk, kinds in sorted(found.items())]


def _whole_years(since: date, until: date) -> int:
    return next(
        (years for years in range(until.year - since.year, 0, -1) if months_later(since, 12 * years) <= until), 0
    )


def notes_of_who_left(on: date) -> list[HealthNote]:
    """The health notes of people of whom no record is younger than the days that the club keeps such notes."""
    noted = Person.objects.filter(Exists(HealthNote.objects.filter(person=OuterRef("pk"))))
    days, kept = days_of(noted), settings.KEEP_HEALTH_DAYS
    notes = HealthNote.objects.select_related("person").order_by("pk")
    return [note for note in notes if (on - max(_day(note), days.get(note.person_id, _never(note))[1])).days > kept]


def _day(note: HealthNote) -> date:
    return localdate(note.said_at)


def _never(note: HealthNote) -> tuple[date, date]:
    return _day(note), _day(note)


def in_words(contacts: Iterable[Contact]) -> str:
    """“Ida Mirabar and Jo Bell”; blank for nobody."""
    return " and ".join(each.name for each in contacts)
