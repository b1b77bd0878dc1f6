"""What search finds in the roll: families by whoever belongs to them, and people by their names."""

from collections.abc import Iterator, Sequence
from itertools import islice

from django.db.models import Q

from clubdesk import clock
from clubdesk.finding import Namesake, Sought, is_in_phone, namesakes
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.selectors import family_of, pk_of_reference
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import MOST_IN_A_LIST, Way, hit

OF_EVERY_FAMILY = {"the", "family", "household"}
"""Words that tell no family from another."""

Names = Iterator[tuple[int, str]]
"""Names, each with the key of the family or person whose it is."""


def _names_in_families() -> Names:
    """What families are called by, their own name before those of guardians and people; nothing of what is erased."""
    people = list(Person.objects.filter(erased_on=None).values_list("household", "given_name", "family_name"))
    erased = _erased_families({home for home, _, _ in people})
    for pk, name in (*Household.objects.values_list("pk", "name"), *Guardian.objects.values_list("household", "name")):
        if pk not in erased:
            yield pk, name
    yield from ((home, f"{given} {family}") for home, given, family in people)


def _erased_families(with_people: set[int]) -> set[int]:
    """Families of which everybody is erased."""
    return set(Person.objects.exclude(erased_on=None).values_list("household", flat=True)) - with_people


def _named(sought: Sought, limit: int) -> list[Namesake[int]]:
    words = [word for word in sought.words if word not in OF_EVERY_FAMILY] or sought.words
    return namesakes(words, _names_in_families(), limit) if words else []


def _reached(sought: Sought) -> Iterator[int]:
    """Families by the reference that they pay with or the phone that they are rung at: theirs or not, never nearly."""
    if not sought.digits:
        return
    if pk := _of_reference(sought):
        yield pk
    for home, phone in Guardian.objects.exclude(phone="").values_list("household", "phone"):
        if is_in_phone(sought.digits, phone):
            yield home


def _of_reference(sought: Sought) -> int | None:
    """The number of the family whose payment reference it is, or was before it was merged into another."""
    pk = pk_of_reference(sought.text) if sought.digits else None
    family = family_of(pk) if pk else None
    return family.pk if family else pk


def _written_to(sought: Sought, limit: int) -> Iterator[int]:
    """Families by an e-mail address or a part of it."""
    rows = Guardian.objects.filter(email__icontains=sought.text).values_list("household", flat=True)
    yield from rows[:limit] if "@" in sought.text else ()


def families(sought: Sought, limit: int) -> Iterator[Hit]:
    """Families by their own name, a guardian's or a child's, by phone, e-mail or payment reference."""
    surely = dict.fromkeys((*_reached(sought), *_written_to(sought, limit)), False)
    found = surely | {each.key: each.is_alike for each in _named(sought, limit) if each.key not in surely}
    chosen = list(islice(found, limit))
    known = Household.objects.prefetch_related("guardians", "people").in_bulk(chosen)
    for family in (known[pk] for pk in chosen if pk in known):
        people = [person for person in family.people.all() if person.erased_on is None]
        if people or not family.people.all():
            yield hit(family, str(family), _whom_to_ask(family, people), found[family.pk])


def _whom_to_ask(family: Household, people: Sequence[Person]) -> str:
    """Its guardians, a phone, and who belongs to it."""
    guardians = list(family.guardians.all())[:2]
    reached = ", ".join([*map(str, guardians), *[each.phone for each in guardians if each.phone][:1]])
    return " · ".join(filter(None, (reached, ", ".join(person.given_name for person in people))))


def namesake_people(sought: Sought, limit: int) -> list[Namesake[int]]:
    rows = Person.objects.filter(erased_on=None).values_list("pk", "given_name", "family_name")
    return namesakes(sought.words, ((pk, f"{given} {family}") for pk, given, family in rows), limit)


def _people(sought: Sought, limit: int) -> Iterator[tuple[Person, bool]]:
    found = namesake_people(sought, limit) if sought.words else []
    people = Person.objects.select_related("household").in_bulk([each.key for each in found])
    return ((people[each.key], each.is_alike) for each in found)


def people(sought: Sought, limit: int) -> Iterator[Hit]:
    """People with their families."""
    for person, is_alike in _people(sought, limit):
        yield hit(person, str(person), f"{person.household}, {person.age_class_on(clock.today())}", is_alike)


def names_alone(sought: Sought, limit: int) -> Iterator[Hit]:
    """People for whom only a name is needed: no more is told of them than their list tells."""
    for person, is_alike in _people(sought, limit):
        yield hit(person, str(person), person.age_class_on(clock.today()), is_alike)


FINDS = (
    Finder(
        "Families",
        "a name of the family, a guardian or a child, also misspelt; a phone, an e-mail or a payment reference",
        permission="roll.view_household",
        find=families,
        called=("reference", "ref", "payment reference", "phone"),
        page="admin:roll_household_changelist",
    ),
    Finder("People", "a name, also misspelt", "roll.view_household", people, page="admin:roll_person_changelist"),
    Finder("People", "a name, also misspelt", "roll.view_person", names_alone, page="admin:roll_person_changelist"),
)


def families_alike(sought: Sought) -> Q:
    """For the list's own box: the families whose names are like what was typed."""
    return Q(pk__in=[each.key for each in _named(sought, MOST_IN_A_LIST)])


def people_alike(sought: Sought) -> Q:
    """For the list's own box: the people whose names are like what was typed."""
    return Q(pk__in=[each.key for each in namesake_people(sought, MOST_IN_A_LIST)])


def families_reached(sought: Sought) -> Q:
    """For the list's own box: the families of a phone or a payment reference."""
    found = set(_reached(sought))
    return Q(pk__in=found) if found else Q()


def of_family(lookup: str) -> Way:
    """For the box of a list whose rows are families': those of a payment reference."""

    def way(sought: Sought) -> Q:
        pk = _of_reference(sought)
        return Q(**{lookup: pk}) if pk else Q()

    return way
