"""What the roll holds about people."""

from collections.abc import Iterator, Sequence
from datetime import date

from django.db.models import Q
from django.utils.timezone import localdate

from clubdesk.clock import day_text
from clubdesk.roll.models import Household, Merge, Person
from clubdesk.roll.services import forget_household
from clubdesk.rooms import Erase, Personal, Told


def _told(home: Household) -> Iterator[Sequence[object]]:
    yield ("Family", home.name, None, "", "")
    for guardian in home.guardians.all():
        no_news = f", no news since {day_text(localdate(guardian.news_ended_at))}" if guardian.news_ended_at else ""
        yield ("Guardian", guardian.name, None, guardian.email, f"{guardian.phone}{no_news}")
    for person in home.people.all():
        yield ("Person", str(person), person.birth_date, "", "")
    for each in home.belongings.select_related("user"):
        until = f"to {day_text(localdate(each.ended_at))}" if each.ended_at else ""
        yield ("Sign-in of the family", str(each.user), localdate(each.added_at), "", until)
    for consent in home.consents.all():
        yield ("Consent", consent.given_by, consent.given_at.date(), "", consent.wording)
    for choice in home.news_choices.all():
        yield ("News of the club", choice.said_by, localdate(choice.said_at), "", choice.wording or "wants none")
    for merge in Merge.objects.filter(Q(household=home) | Q(person__household=home), undone_on=None):
        yield ("The same as", str(merge.gone), merge.merged_on, "", "")


def _number(person: Person) -> str:
    return f"person {person.pk}"


def _year_alone(person: Person) -> date:
    return person.birth_date.replace(month=1, day=1)


PERSONAL = (
    Personal(
        "roll.Person",
        person="pk",
        erased=(Erase("given_name", "Erased"), Erase("family_name", _number), Erase("birth_date", _year_alone)),
        told=("given_name", "family_name"),
    ),
    Personal(
        "roll.Guardian",
        family="household",
        erased=(Erase("name", "Erased"), Erase("email", ""), Erase("phone", "")),
        told=("name", "email", "phone"),
    ),
    Personal(
        "roll.Consent",
        family="household",
        erased=(Erase("given_by", "Erased"),),
        told=("given_by", "wording"),
    ),
    Personal(
        "roll.NewsChoice",
        family="household",
        erased=(Erase("said_by", "Erased"),),
        told=("said_by", "wording"),
    ),
    Personal("roll.Belonging", family="household"),
    Personal("roll.Household", family="pk", then=forget_household, told=("name",)),
    Personal("roll.Merge", person="person", family="household", retained_from=("merged_on",)),
    Personal(
        "roll.MovedRow",
        person="merge__person",
        family="merge__household",
        free={"table_name": "of the book, not of anybody", "column_name": "of the book, not of anybody"},
    ),
)
TOLD = (Told("People", (("What", 14), ("Name", 30), ("Day", 14), ("E-mail", 30), ("Phone, or words", 60)), _told),)
