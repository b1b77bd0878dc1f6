"""Who is on the roll already is pointed out on each form that would put somebody on it, with where to use them."""

import re
from datetime import date

import pytest
from django.urls import reverse

from clubdesk.courses.models import Booking
from clubdesk.roll.models import Guardian, Household, Person
from tests import factories
from tests.forms import agreed, form_of

pytestmark = pytest.mark.django_db
BORN = "2014-03-09"


@pytest.fixture
def ada(book):
    """A child of the roll, with a guardian."""
    home = factories.HouseholdFactory(name="Quoll", guardian="Ida Quoll", email="ida@example.org", phone="0400 111 222")
    return factories.PersonFactory(household=home, given_name="Ada", family_name="Quoll", birth_date=date(2014, 3, 9))


@pytest.fixture
def desk(client, coordinator):
    client.force_login(coordinator)
    return client


def tick(answer):
    """The name and the value of the tick that it is somebody else."""
    found = re.search(r"<input type='checkbox' name='([\w-]+)' value='(\w+)'> It is somebody else", answer)
    return {found[1]: found[2]} if found else {}


def sent(desk, url, **typed):
    page = desk.get(url)
    answer = agreed(desk, url, form_of(page, **typed), follow=True)
    said = answer.content.decode()
    return answer, said, tick(said)


class TestAPersonsOwnForm:
    URL = "/roll/person/add/"
    TYPED = {"given_name": "ada", "family_name": "Quoll ", "birth_date": BORN}

    def test_points_at_the_one_of_the_same_name_and_day(self, desk, ada):
        other = factories.HouseholdFactory(name="Wren")
        _, said, ticked = sent(desk, self.URL, household=str(other.pk), **self.TYPED)
        assert f"Ada Quoll, born 9 Mar 2014, of Quoll is on the roll already: <a href='{page_of(ada)}'>use this" in said
        assert Person.objects.count() == 1
        sent(desk, self.URL, household=str(other.pk), **self.TYPED, **ticked)
        assert Person.objects.filter(household=other).count() == 1

    def test_asks_again_for_others_than_those_that_were_ticked(self, desk, ada):
        other = factories.HouseholdFactory(name="Wren")
        _, _, ticked = sent(desk, self.URL, household=str(other.pk), **self.TYPED)
        factories.PersonFactory(given_name="Bo", family_name="Quoll", birth_date=date(2014, 3, 9))
        typed = {**self.TYPED, "given_name": "Bo"}
        sent(desk, self.URL, household=str(other.pk), **typed, **ticked)
        assert Person.objects.filter(household=other).count() == 0

    def test_says_nothing_of_another_day(self, desk, ada):
        other = factories.HouseholdFactory(name="Wren")
        sent(desk, self.URL, household=str(other.pk), **{**self.TYPED, "birth_date": "2014-03-10"})
        assert Person.objects.filter(household=other).count() == 1


def page_of(person):
    return reverse("admin:roll_person_change", args=[person.pk])


class TestTheFormOfAFamily:
    URL = "/roll/household/add/"
    GUARDIAN = {"guardians-TOTAL_FORMS": "1", "guardians-0-name": "Ida"}

    def test_points_at_a_known_child(self, desk, ada):
        child = {"people-0-given_name": "Ada", "people-0-family_name": "Quoll", "people-0-birth_date": BORN}
        typed = {"name": "Quoll again", **self.GUARDIAN, **child}
        _, said, ticked = sent(desk, self.URL, **typed)
        assert f"<a href='{page_of(ada)}'>use this one</a>" in said
        assert Household.objects.count() == 1
        sent(desk, self.URL, **typed, **ticked)
        assert Household.objects.count() == 2

    @pytest.mark.parametrize(
        "known", [{"guardians-0-email": "IDA@example.org"}, {"guardians-0-phone": "+61 400 111 222"}]
    )
    def test_points_at_a_guardian_by_e_mail_or_phone(self, desk, ada, known):
        typed = {"name": "Quoll again", **self.GUARDIAN, **known}
        _, said, ticked = sent(desk, self.URL, **typed)
        family = reverse("admin:roll_household_change", args=[ada.household_id])
        assert "Ida Quoll (ida@example.org, 0400 111 222), guardian of Quoll is on the roll already" in said
        assert f"<a href='{family}'>use this one</a>" in said
        sent(desk, self.URL, **typed, **ticked)
        assert Guardian.objects.count() == 2

    def test_a_family_is_saved_again_without_being_pointed_at_itself(self, desk, ada):
        url = reverse("admin:roll_household_change", args=[ada.household_id])
        sent(desk, url, name="Quoll-Lund")
        assert Household.objects.get().name == "Quoll-Lund"


class TestABookingByPhone:
    def test_points_at_the_child_and_books_for_it_with_one_press(self, desk, ada):
        cohort = factories.cohort()
        url = reverse("admin:courses_booking_add")
        typed = {
            "guardian": "Ida", "person-0-given_name": "Ada", "person-0-family_name": "Quoll",
            "person-0-birth_date": BORN, "cohorts": [str(cohort.pk)],
        }  # fmt: skip
        _, said, ticked = sent(desk, url, **typed)
        use = re.search(r"Ada Quoll, born 9 Mar 2014.*?<a href='(.*?)'>use this one", said)[1].replace("&amp;", "&")
        assert Booking.objects.count() == 0
        sent(desk, f"{url}{use}")
        assert Booking.objects.get().places.get().person == ada
        sent(desk, url, **typed, **ticked)
        assert Person.objects.filter(given_name="Ada").count() == 2

    def test_points_at_a_guardian_whose_phone_is_known(self, desk, ada):
        cohort = factories.cohort()
        _, said, _ = sent(
            desk, reverse("admin:courses_booking_add"), guardian="Ida", phone="0400111222", cohorts=[str(cohort.pk)],
            **{"person-0-given_name": "Bo", "person-0-family_name": "Quoll", "person-0-birth_date": BORN},
        )  # fmt: skip
        assert "guardian of Quoll is on the roll already" in said
        assert Booking.objects.count() == 0


class TestOnTheHomePage:
    def test_those_who_came_twice_by_the_parents_page_wait_to_be_looked_at(self, desk, ada):
        assert "that two people have" not in desk.get("/").content.decode()
        factories.PersonFactory(given_name="ADA", family_name="Quoll", birth_date=date(2014, 3, 9))
        factories.PersonFactory(given_name="Ada", family_name="Quoll", birth_date=date(2014, 3, 10))
        home = desk.get("/").content.decode().casefold()
        assert "name and birth date that two people have" in home
        listed = desk.get("/roll/person/?twice=yes").content.decode()
        assert "2 people" in listed
