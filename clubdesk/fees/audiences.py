"""Whom of those that have an account the club may write to together."""

from datetime import date

from clubdesk.audiences import Audience
from clubdesk.fees.accounts import who_owes
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import people_of_families


def _owing(chosen: int, on: date) -> dict[int, list[int]]:
    owing = [each.pk for each in who_owes()]
    people = Person.objects.filter(household__in=owing, erased_on=None).order_by("birth_date", "pk")
    return {pk: [] for pk in owing} | people_of_families(people.values_list("household", "pk"))


AUDIENCES = (Audience("owing", "Who owes something", _owing),)
