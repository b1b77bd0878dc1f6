"""Erasing: after the years that records are kept, a person's details go while every figure stays.

What goes the rooms say (`rooms.Personal`); this only walks them. No sealed entry of the ledger holds a person's name,
so the books stay as they were, and their chain whole.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from auditlog.context import disable_auditlog
from django.apps import apps
from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import User
from django.contrib.contenttypes.models import ContentType
from django.db.models import Max, Model, Q, QuerySet
from django.utils import timezone

from clubdesk import clock, rooms
from clubdesk.clock import day_text, months_later
from clubdesk.desk import recording
from clubdesk.errors import Refused
from clubdesk.ledger.models import FinancialYear
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal
from clubdesk.verbs import verb


def retained_until(person: Person) -> date | None:
    """The day until which the person's records are kept; None where the book holds none.

    With the last of a household its own records count too, since it is erased with them.

    So many years (`KEEP_RECORDS_YEARS`) after the end of the financial year of the last record. Source for seven:
    Associations Incorporation Reform Act 2012 (Vic) s 89; a club keeps to the law of its own state.
    """
    last = max(_days_of(person), default=None)
    if last is None:
        return None
    year = FinancialYear.objects.filter(first_day__lte=last, last_day__gte=last).first()
    return months_later(year.last_day if year else last, 12 * settings.KEEP_RECORDS_YEARS)


def _days_of(person: Person) -> Iterator[date]:
    """The last day of each kind of record about the person, and about its family where it is the last of it."""
    about = _who_goes(person, is_last_of_family(person))
    for each in _told_of_people():
        rows = _about(each, about)
        for column in each.retained_from:
            if found := rows.aggregate(last=Max(column))["last"]:
                yield timezone.localdate(found) if isinstance(found, datetime) else found


def _told_of_people() -> Iterator[Personal]:
    return (each for room in rooms.in_order() for each in room.personal)


def what_stays(person: Person) -> list[str]:
    """What of the person stays when the details are erased, as the rooms say: a sentence each, why and until when."""
    return [sentence for room in rooms.in_order() for tells in room.stays for sentence in tells(person)]


def is_last_of_family(person: Person) -> bool:
    return not person.household.people.filter(erased_on=None).exclude(pk=person.pk).exists()


@dataclass(frozen=True)
class Going:
    """The numbers of those whose rows go: of the person, and of the family where it is the last of it."""

    people: list[int]
    families: list[int]


def _who_goes(person: Person, is_last: bool) -> Going:
    return Going(_same_as(person), _same_as(person.household) if is_last else [])


def _about(each: Personal, going: Going) -> QuerySet[Model]:
    """The rows that go with the person: its own, and with the last of the family all that is left of the family's."""
    about = Q(pk__in=())
    for one in going.people if each.person else ():
        about |= Q(**{each.person: one})
    for home in going.families if each.family else ():
        about |= Q(**{each.family: home})
    rows: QuerySet[Model] = apps.get_model(each.model)._base_manager.filter(about).distinct()
    return rows


def _same_as(one: Person | Household) -> list[int]:
    """Their number, and those of whoever was merged into them."""
    return [one.pk, *type(one).everyone.filter(merged_into=one.pk).order_by("pk").values_list("pk", flat=True)]


@verb(permission="roll.erase_person", title="Erase this person’s details")
def erase_person(*, person: Person, on: date, by: User) -> Person:
    """Erase a person's name, day of birth and voucher codes, and what else tells who it was. It cannot be undone.

    Letters of that age go too, and with the last of a household its guardians and consents. Raises Refused before the
    years of keeping are over, and for what the rooms say: a place, a fee to pay, a household in credit.
    """
    Household.objects.select_for_update(of=("self",), no_key=True).get(pk=person.household_id)
    # Held as for its deletion, so that who writes something new about it waits, or is waited for.
    document = Person.objects.select_for_update(of=("self",)).get(pk=person.pk)
    if document.erased_on:
        return document
    if (until := retained_until(document)) and on <= until:
        raise Refused(f"The records of {document} are kept to {day_text(until)}; its details can be erased after that.")
    is_last = is_last_of_family(document)
    for room in rooms.in_order():
        for asks in room.holds_back:
            if why := asks(document, is_last=is_last, on=on):
                raise Refused(why)
    # What is done about it is recorded as one act, without what stood before.
    Person.objects.filter(pk=document.pk).update(erased_on=on)
    with disable_auditlog():
        _erase(document, is_last, on)
    recording.write_erased(document, by)
    document.refresh_from_db()
    return document


def _erase(person: Person, is_last: bool, on: date) -> None:
    old = clock.start_of(months_later(on, -12 * settings.KEEP_RECORDS_YEARS))
    going = _who_goes(person, is_last)
    for each in reversed(list(_told_of_people())):
        if each.goes_by:
            _let_go(each, person, is_last, old)
            continue
        for row in _about(each, going):
            _erase_row(each, row)


def _let_go(each: Personal, person: Person, is_last: bool, old: datetime) -> None:
    rows = apps.get_model(each.model)._default_manager.filter(**{each.family: person.household_id})
    (rows if is_last else rows.filter(**{f"{each.goes_by}__lt": old})).delete()


def _erase_row(each: Personal, row: Model) -> None:
    goes = {how.column: _in_its_place(how, row) for how in each.erased if getattr(row, how.column)}
    if goes:
        type(row)._base_manager.filter(pk=row.pk).update(**goes)
    if each.then:
        each.then(row)
    if each.erased or each.then:
        _forget_log(row)


def _in_its_place(how: Erase, row: Model) -> object:
    if how.is_file:
        getattr(row, how.column).delete(save=False)
        return ""
    return how.to(row) if callable(how.to) else how.to


def _forget_log(row: Model) -> None:
    """The site's own log of changes names what was changed."""
    kind = ContentType.objects.get_for_model(type(row))
    LogEntry.objects.filter(content_type=kind, object_id=str(row.pk)).delete()
