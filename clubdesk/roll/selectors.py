"""Questions to the roll."""

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime

from django.contrib.auth.models import User
from django.db.models import Count, Exists, Min, OuterRef, Q, QuerySet
from django.db.models.functions import Lower
from rapidfuzz import fuzz
from stdnum import luhn

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.roll.models import Belonging, Guardian, Household, Merge, Person

FIRST_REFERENCE = 10000


def payment_reference(household: Household) -> str:
    """What a family writes on a bank transfer: its number and a check digit, so that a slip of the pen shows.

    Source of the check digit: Luhn, ISO/IEC 7812-1 Annex B.
    """
    digits = str(FIRST_REFERENCE + household.pk)
    return digits + luhn.calc_check_digit(digits)


def pk_of_reference(text: str) -> int | None:
    """Whose reference stands in a text, whether the roll has such a household or not; None where a digit is wrong."""
    digits = re.sub(r"[^0-9]", "", text)
    if not 2 <= len(digits) <= 18 or not luhn.is_valid(digits):
        return None
    pk = int(digits[:-1]) - FIRST_REFERENCE
    return pk if pk > 0 else None


def family_of(pk: int) -> Household | None:
    """The family that has the number now, also where that was another's which was merged into it."""
    found = Household.everyone.filter(pk=pk).first()
    return found.now if found else None


def references_of(households: Iterable[Household]) -> dict[int, list[str]]:
    """What families may write on a bank transfer, by their ids: their own reference, then those of families that were
    merged into them.
    """
    found = {each.pk: [payment_reference(each)] for each in households}
    for each in Household.everyone.filter(merged_into__in=found).order_by("pk"):
        assert each.merged_into_id is not None
        found[each.merged_into_id].append(payment_reference(each))
    return found


def parties_merged_by(on: date) -> dict[int, int]:
    """Parties of families that were merged into others by that day, each with the one that stood for it then."""
    found: dict[int, int] = {}
    standing = Merge.objects.filter(Q(undone_on=None) | Q(undone_on__gt=on), merged_on__lte=on, household__isnull=False)
    for stays, gone in standing.order_by("pk").values_list("household__party", "other_household__party"):
        found = {party: stays if now == gone else now for party, now in found.items()} | {gone: stays}
    return found


def belonged_since(user: User, since: datetime) -> QuerySet[Belonging]:
    """The families that somebody belongs to, or did at that moment or after it."""
    return user.belongings.filter(Q(ended_at=None) | Q(ended_at__gte=since))


def belongs_to(user: User, household: Household, since: datetime | None = None) -> bool:
    """Whether somebody belongs to the family; or did when something was asked for at `since`, or after it."""
    return belonged_since(user, since or clock.now()).filter(household=household).exists()


NEVER, STILL = datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)


def left_families(user: User) -> dict[int, datetime]:
    """The families that somebody belongs to or did, each with when they left it; `STILL` where they have not."""
    found: dict[int, datetime] = {}
    for household, ended_at in user.belongings.values_list("household", "ended_at"):
        found[household] = max(found.get(household, NEVER), ended_at or STILL)
    return found


def refuse_erased(person: Person) -> None:
    """Raise Refused where the person's details were erased: nothing new is written about whoever that was."""
    if person.erased_on:
        raise Refused(f"The details of {person} were erased; add them to the roll anew.")


ALIKE = 85
"""Two names of people who were born on one day are perhaps one, from this likeness of their letters on."""
PHONE_DIGITS = 8
"""So many last digits tell a phone, with or without what is dialled before them."""


def born_as(given_name: str, family_name: str, birth_date: date, besides: int = 0) -> list[Person]:
    """Who has this name and this day of birth, whatever the letters' case."""
    name = _plain(f"{given_name} {family_name}")
    born = Person.objects.filter(birth_date=birth_date, erased_on=None).exclude(pk=besides).select_related("household")
    return [each for each in born.order_by("pk") if _plain(str(each)) == name]


def reached_by(email: str, phone: str, besides: int = 0) -> list[Guardian]:
    """The guardians, but for those of the family `besides`, who have this e-mail address or this phone."""
    others = Guardian.objects.exclude(household=besides).select_related("household").order_by("pk")
    found = {each.pk: each for each in others.filter(email__iexact=email)} if email else {}
    if digits := _digits(phone):
        pks = [pk for pk, typed in others.exclude(phone="").values_list("pk", "phone") if _digits(typed) == digits]
        found |= {each.pk: each for each in others.filter(pk__in=pks)}
    return [found[pk] for pk in sorted(found)]


def alike(one: Person | Household) -> list[Person] | list[Household]:
    """Who may be the same: people born on one day with names much alike; families with a guardian or a child alike."""
    if isinstance(one, Person):
        born = Person.objects.filter(birth_date=one.birth_date, erased_on=None).exclude(pk=one.pk)
        return [each for each in born.order_by("pk") if fuzz.ratio(_plain(str(each)), _plain(str(one))) >= ALIKE]
    own = list(one.people.filter(erased_on=None))
    born = Person.objects.filter(birth_date__in={each.birth_date for each in own}, erased_on=None)
    names = {(_plain(str(each)), each.birth_date) for each in own}
    others = born.exclude(household=one.pk).select_related("household")
    found = {each.household_id for each in others if (_plain(str(each)), each.birth_date) in names}
    emails = Q(pk__in=())
    for email in {each.email.casefold() for each in one.guardians.all() if each.email}:
        emails |= Q(email__iexact=email)
    found |= set(Guardian.objects.filter(emails).exclude(household=one.pk).values_list("household", flat=True))
    return list(Household.objects.filter(pk__in=found).order_by("pk"))


def names_that_stand_twice() -> QuerySet[Person]:
    """Whoever came first of those of one name and day of birth, in one pass over all of the roll."""
    named = Person.objects.filter(erased_on=None).order_by()
    same = named.values("birth_date", given=Lower("given_name"), family=Lower("family_name"))
    return Person.objects.filter(
        pk__in=same.annotate(number=Count("pk"), first=Min("pk")).filter(number__gt=1).values("first")
    )


def twice_on_the_roll() -> QuerySet[Person]:
    """People with the name and the day of birth of another, as when a family booked with another e-mail address."""
    same = Person.objects.filter(
        given_name__iexact=OuterRef("given_name"),
        family_name__iexact=OuterRef("family_name"),
        birth_date=OuterRef("birth_date"),
        erased_on=None,
    )
    return Person.objects.filter(Exists(same.exclude(pk=OuterRef("pk"))), erased_on=None)


def twice_in(household: Household) -> list[tuple[Person, Person]]:
    """People of one family with the same name and day of birth, each beside the first of them."""
    first: dict[tuple[str, date], Person] = {}
    people = household.people.filter(erased_on=None).order_by("pk")
    pairs = [(first.setdefault((_plain(str(each)), each.birth_date), each), each) for each in people]
    return [(one, other) for one, other in pairs if one != other]


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _digits(phone: str) -> str:
    """What of a phone is compared; blank where it is too short to be one."""
    digits = re.sub(r"[^0-9]", "", phone)
    return digits[-PHONE_DIGITS:] if len(digits) >= PHONE_DIGITS else ""


def people_of_families(pairs: Iterable[tuple[int, int]]) -> dict[int, list[int]]:
    """People by their families, of pairs of ids: a family, and one of its people."""
    found: dict[int, list[int]] = {}
    for household, person in pairs:
        people = found.setdefault(household, [])
        if person not in people:
            people.append(person)
    return found


def wants_news(household: Household) -> Guardian | None:
    """Whom news of the club goes to: the guardian that is written to, or another who has not ended it; or nobody."""
    guardians = [each for each in household.guardians.all() if each.news_ended_at is None]
    return next((each for each in guardians if each.email), guardians[0] if guardians else None)


def guardian_to_write_to(household: Household) -> Guardian | None:
    """The household's first guardian with an e-mail address, or its first."""
    guardians = list(household.guardians.all())
    return next((each for each in guardians if each.email), guardians[0] if guardians else None)
