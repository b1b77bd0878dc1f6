"""A course with two cohorts, and parties that ask for it."""

import pytest

from clubdesk.courses import services
from tests import factories
from tests.courses.families import FEBRUARY, NOW, OCTOBER, family


@pytest.fixture
def october(book):
    return factories.cohort(capacity=3, first=OCTOBER)


@pytest.fixture
def february(october):
    return factories.cohort(capacity=3, first=FEBRUARY)


@pytest.fixture
def course(october):
    return october.course


@pytest.fixture
def ask(course, by):
    """A party asks for the course: `ask(12, 14)` for two children of those ages."""
    made = []

    def booked(*ages, cohorts=None, on=NOW, **more):
        people = family(*(ages or (12,)), name=f"Family{len(made)}", email=f"family{len(made)}@example.org")
        made.append(people)
        return services.book_party(course=course, people=people, cohorts=cohorts, by=by, on=on, **more)

    return booked
