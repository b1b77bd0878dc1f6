"""Whom the club may write to together, as each room tells."""

from datetime import date, timedelta

import pytest

from clubdesk.courses import services as courses
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.membership import services as membership
from clubdesk.news import selectors
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from tests import factories
from tests.news.conftest import NOW, to

pytestmark = pytest.mark.django_db


def reached(value, on=NOW):
    """The children that a letter would be about, by family."""
    found = selectors.reached(to(value, on), "s", "t", False, on)
    return {
        str(each.household): [person.given_name for person in each.people] for each in [*found.by_mail, *found.without]
    }


def test_all_families_with_all_their_children(family):
    family("Quoll", "Ada", "Ben")
    family("Bilby", "Cy", email="")
    assert reached("families:0") == {"Quoll family": ["Ada", "Ben"], "Bilby family": ["Cy"]}


def test_those_of_a_cohort_are_who_has_a_place_or_an_offer(family, by):
    cohort, other = factories.cohort(capacity=2), factories.cohort(capacity=9, first=date(2026, 11, 1))
    ada, ben = family("Quoll", "Ada", "Ben")[1]
    (cy,), (di,) = family("Bilby", "Cy")[1], family("Numbat", "Di")[1]
    for child, where in ((ada, cohort), (cy, cohort), (di, cohort), (ben, other)):
        courses.book_party(course=cohort.course, people=[child], cohorts=[where], on=NOW, by=by)
    assert reached(f"cohort:{cohort.pk}") == {"Bilby family": ["Cy"], "Quoll family": ["Ada"]}
    assert reached(f"waitlist:{cohort.course.pk}") == {"Numbat family": ["Di"]}


def test_only_cohorts_that_are_not_over_are_offered(family):
    cohort = factories.cohort()
    values = [value for _, group in selectors.choices(date(2026, 12, 1)) for value, _ in group]
    assert f"cohort:{cohort.pk}" not in values
    with pytest.raises(Refused, match="Choose whom to write to from the list"):
        to(f"cohort:{cohort.pk}", date(2026, 12, 1))


def test_members_and_whose_membership_ends_soon(family, by):
    plan = factories.plan()
    (ada, _), (cy,) = family("Quoll", "Ada", "Ben")[1], family("Bilby", "Cy")[1]
    first = membership.take_out_membership(person=ada, plan=plan, starts_on=date(2026, 7, 1), on=NOW, by=by)
    membership.take_out_membership(person=cy, plan=plan, starts_on=NOW, on=NOW, by=by)
    assert reached("members:0") == {"Bilby family": ["Cy"], "Quoll family": ["Ada"]}
    assert reached("ending:0", first.ends_on - timedelta(days=3)) == {"Quoll family": ["Ada"]}


def test_who_owes(family, by):
    home, (ada, _) = family("Quoll", "Ada", "Ben")
    family("Bilby", "Cy")
    fees.charge(household=home, person=ada, price=factories.price(), on=NOW, starts_on=NOW, by=by)
    assert reached("owing:0") == {"Quoll family": ["Ada", "Ben"]}


def test_who_signed_on_for_a_day_and_who_usually_comes(family, by):
    factories.hire()
    days = [factories.range_day(NOW - timedelta(weeks=weeks)) for weeks in (4, 3, 2, 1, 0)]
    (ada, ben), (cy,) = family("Quoll", "Ada", "Ben")[1], family("Bilby", "Cy")[1]
    came = {ada: days[:4], ben: days[:1], cy: days[2:]}
    for child, on in came.items():
        for day in on:
            rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by)
    assert reached(f"signed-on:{days[4].pk}") == {"Bilby family": ["Cy"]}
    assert reached(f"usual:{days[4].pk}") == {"Bilby family": ["Cy"], "Quoll family": ["Ada"]}


def test_the_age_classes_of_a_state_event(family, by):
    plan, event = factories.plan(), factories.event(held=date(2026, 10, 3), oldest_class="Under 14")
    (ada,), (cy,) = family("Quoll", "Ada")[1], family("Bilby", "Cy")[1]
    cy.birth_date = date(2009, 1, 1)
    cy.save()
    for child in (ada, cy):
        membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)
    assert reached(f"event:{event.pk}") == {"Quoll family": ["Ada"]}
    assert "State clout championship" in to(f"event:{event.pk}").words


def test_what_is_to_come_is_told_earliest_first_with_who_it_is_for(family, by):
    factories.hire()
    cohort, day = factories.cohort(capacity=9), factories.range_day(date(2026, 9, 26))
    people = family("Quoll", "Ada", "Ben")[1]
    courses.book_party(course=cohort.course, people=people, cohorts=[cohort], on=NOW, by=by)
    rangeday.sign_on(range_day=day, person=people[1], gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by)
    dates = selectors.next_dates([each.pk for each in people], NOW)
    assert selectors.dates_in_words(people, dates).splitlines() == [
        "Saturday, 26 September 2026: River range (Ben)",
        "Sunday, 4 October 2026: Beginner course (Ada and Ben)",
        "Sunday, 11 October 2026: Beginner course (Ada and Ben)",
        "Sunday, 18 October 2026: Beginner course (Ada and Ben)",
        "Sunday, 25 October 2026: Beginner course (Ada and Ben)",
    ]


@pytest.mark.parametrize("value", ["nobody:0", "cohort:999", "cohort:x", "", "cohort"])
def test_what_is_no_audience_is_refused(family, value):
    with pytest.raises(Refused, match="Choose whom to write to from the list"):
        to(value)
