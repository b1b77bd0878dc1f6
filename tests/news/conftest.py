"""Families that the club writes to."""

from datetime import date

import pytest

from clubdesk import clock
from clubdesk.news import selectors, services
from clubdesk.news.models import Concern
from clubdesk.verbs import shell_user
from tests import factories

NOW = date(2026, 9, 12)


@pytest.fixture
def family(book):
    """A family with children of those names; its guardian has an address where the name has one."""

    def made(name, *children, email=None, phone=""):
        home = factories.HouseholdFactory(
            name=f"{name} family",
            guardian=f"Ida {name}",
            email=f"{name.lower()}@example.org" if email is None else email,
            phone=phone,
        )
        people = [factories.PersonFactory(household=home, given_name=each, family_name=name) for each in children]
        return home, people

    return made


def to(value, on=NOW):
    return selectors.named(value, on)


def write(value="families:0", **more):
    """A letter to an audience, by its value on the page."""
    given = {
        "to": to(value) if isinstance(value, str) else value,
        "subject": "Fair",
        "text": "Come to our fair.",
        "concern": Concern.NEWS,
        "on": clock.today(),
        "by": shell_user(),
    }
    return services.write_to_many(**{**given, **more})
