"""A range day, the club's rules for it, and volunteers with and without a check."""

from datetime import date, timedelta

import pytest

from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.safety import services
from clubdesk.safety.models import CheckKind, DayRules, Duty
from tests import factories

NOW = date(2026, 9, 12)
GOOD, LAPSED = date(2029, 9, 12), date(2026, 9, 11)
BORN = date(1980, 1, 1)


def volunteer(name="Ida", guardian="", email="", **more):
    home = factories.HouseholdFactory(
        guardian=guardian or f"{name} Quoll", email=email or f"{name.lower()}@example.org"
    )
    return factories.PersonFactory(household=home, given_name=name, family_name="Quoll", birth_date=BORN, **more)


class Club:
    """What a safe day needs of a club, by its verbs."""

    def __init__(self, by):
        self.by = by

    def asks(self, people=2, children=3, **more):
        return DayRules.objects.create(since=date(2026, 8, 1), people=people, children=children, **more)

    def checked(self, person, kind=CheckKind.CHILDREN, through=GOOD, on=NOW):
        return services.write_check(person=person, kind=kind, number="WW 4471", expires_on=through, on=on, by=self.by)

    def lapsed(self, person, kind=CheckKind.CHILDREN):
        return self.checked(person, kind, LAPSED, on=LAPSED - timedelta(days=700))

    def on_duty(self, day, *names, duty=Duty.HELPER):
        found = [volunteer(name) for name in names]
        for person in found:
            self.checked(person)
            services.put_on_duty(range_day=day, person=person, duty=duty, by=self.by)
        return found

    def sign(self, day, person=None, paid=Paid.CASH, gear=Gear.HIRE, **more):
        person = person or factories.PersonFactory()
        return rangeday.sign_on(range_day=day, person=person, gear=gear, paid=paid, by=self.by, **more)


@pytest.fixture
def club(book, by):
    factories.hire()
    factories.plan()
    return Club(by)


@pytest.fixture
def day(club):
    return factories.range_day()
