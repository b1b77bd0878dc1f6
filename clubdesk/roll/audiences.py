"""Whom of the roll the club may write to together."""

from datetime import date

from clubdesk.audiences import Audience
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import people_of_families


def _all(chosen: int, on: date) -> dict[int, list[int]]:
    people = Person.objects.filter(erased_on=None).order_by("birth_date", "pk")
    return people_of_families(people.values_list("household", "pk"))


AUDIENCES = (Audience("families", "All families", _all),)
