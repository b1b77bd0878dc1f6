"""A child who shoots today, and all that its family has said."""

from datetime import date

import pytest

from clubdesk import clock
from clubdesk.care import services as care
from clubdesk.care.models import OF_EACH
from clubdesk.care.selectors import Contact
from clubdesk.care.services import Health, Said
from clubdesk.membership import services as membership
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from tests import factories

NOW = date(2026, 9, 12)
UNCLE = Contact("Odo Vinegrove", "08 7010 0177", "uncle")
WORDS = {"allergy": "wasp-stings-swell", "medication": "bluepuffer", "needs": "hears-little-left"}


class Child:
    """A member with a guardian who has a phone; signed on where asked."""

    def __init__(self, by):
        self.by = by
        self.home = factories.HouseholdFactory(
            name="Vinegrove family", guardian="Ida Vinegrove", email="ida@example.org", phone="08 7010 0101"
        )
        self.person = factories.PersonFactory(household=self.home, given_name="Ada", family_name="Vinegrove")

    @property
    def guardian(self):
        return self.home.guardians.get()

    def says(self, **said):
        given = {"ring": [UNCLE], "collect": [UNCLE], "health": Health(**WORDS), "agreed": dict.fromkeys(OF_EACH, True)}
        return care.keep_by_family(
            guardian=self.guardian, person=self.person, said=Said(**{**given, **said}), on=clock.today(), by=self.by
        )

    def shoots(self, day=None):
        day = day or factories.range_day(on=clock.today())
        rangeday.sign_on(range_day=day, person=self.person, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=self.by)
        return day


@pytest.fixture
def child(by):
    factories.hire()
    found = Child(by)
    membership.take_out_membership(person=found.person, plan=factories.plan(), starts_on=NOW, on=NOW, by=by)
    return found
