"""Once a year a family is asked whether it is still right; what is no longer needed goes by itself."""

from datetime import date, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdesk import clock
from clubdesk.care import selectors
from clubdesk.care import services as care
from clubdesk.care.models import HealthNote
from clubdesk.desk.services import nightly
from clubdesk.ledger import services as ledger
from clubdesk.mail.models import Message
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from tests import factories, families
from tests.care.conftest import NOW

pytestmark = pytest.mark.django_db
YEAR = timedelta(days=365)
IN_A_YEAR = date(2027, 9, 12)


@pytest.fixture(autouse=True)
def years(book, by):
    """In which somebody may pay at the range."""
    for year in (2027, 2028, 2029):
        ledger.open_year(first_day=date(year, 7, 1), by=by)


def letters():
    return list(Message.objects.filter(about__startswith="care of").order_by("pk"))


def asked_on(day):
    with clock.on(day):
        return care.ask_to_confirm(on=day)


def shot_on(child, day):
    with clock.on(day):
        rangeday.sign_on(
            range_day=factories.range_day(on=day), person=child.person, gear=Gear.HIRE, paid=Paid.CARD, by=child.by
        )


def test_a_family_is_asked_a_year_after_it_came_and_once(child):
    assert asked_on(IN_A_YEAR - timedelta(days=1)) == 0
    assert asked_on(IN_A_YEAR) == 1
    assert asked_on(IN_A_YEAR) == asked_on(IN_A_YEAR + timedelta(days=30)) == 0
    letter = letters()[0]
    assert (letter.household, letter.link_path) == (child.home, "/known/")
    assert "what we know of Ada" in letter.body


def test_whoever_confirmed_is_asked_a_year_after_that(child, by):
    shot_on(child, date(2027, 3, 6))
    care.confirm_by_family(guardian=child.guardian, on=date(2027, 3, 6), by=by)
    assert asked_on(IN_A_YEAR) == 0
    shot_on(child, date(2027, 12, 4))
    assert asked_on(date(2028, 3, 5)) == 0
    assert asked_on(date(2028, 3, 6)) == 1


def test_unanswered_it_is_asked_again_a_year_later_and_not_before(child):
    asked_on(IN_A_YEAR)
    shot_on(child, date(2028, 6, 3))
    assert asked_on(date(2028, 9, 11)) == 0
    assert asked_on(date(2028, 9, 12)) == 1


def test_a_family_that_comes_no_more_is_not_asked(child):
    assert asked_on(date(2028, 9, 13)) == 0


def test_several_children_get_one_letter_and_the_night_writes_it(child, by):
    sibling = factories.PersonFactory(household=child.home, given_name="Bo", birth_date=date(2015, 1, 1))
    other = factories.PersonFactory(given_name="Cy")
    day = factories.range_day(on=NOW)
    for each in (sibling, other):
        rangeday.sign_on(range_day=day, person=each, gear=Gear.VISITOR, paid=Paid.CARD, by=by)
    with clock.on(IN_A_YEAR):
        told = nightly(on=IN_A_YEAR, by=by)
        again = nightly(on=IN_A_YEAR, by=by)
    (name,) = [each for each in told.counts if each.startswith("families asked whether")]
    assert told.counts[name] == len(letters())
    assert again.counts[name] == 0
    (own,) = [each for each in letters() if each.household == child.home]
    assert "Ada and Bo" in own.body


def test_its_page_asks_until_it_is_answered(child, client):
    with clock.on(IN_A_YEAR):
        families.page_of(client, child.home)
        assert "Is what we know still right?" in client.get("/account/").content.decode()
        client.post("/known/")
        assert "Is what we know still right?" not in client.get("/account/").content.decode()


def test_to_find_who_is_asked_costs_the_same_for_many(child, by):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            selectors.to_confirm(IN_A_YEAR)
        return len(queries)

    one = asked()
    day = factories.range_day(on=NOW)
    for _ in range(6):
        rangeday.sign_on(range_day=day, person=factories.PersonFactory(), gear=Gear.VISITOR, paid=Paid.CARD, by=by)
    assert asked() == one


# What is no longer needed


def test_the_note_of_who_has_left_goes_after_the_days_that_such_notes_are_kept(child, settings):
    child.says()
    assert settings.KEEP_HEALTH_DAYS == 365
    last = date(2027, 9, 11)  # of the membership
    assert care.forget_who_left(on=last + YEAR) == 0
    assert HealthNote.objects.exists()
    assert care.forget_who_left(on=last + YEAR + timedelta(days=1)) == 1
    assert not HealthNote.objects.exists()
    assert care.forget_who_left(on=last + YEAR + timedelta(days=1)) == 0


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(came=st.integers(0, 900), asked=st.integers(0, 2000))
def test_a_note_stays_while_somebody_came_within_those_days_and_no_longer(child, came, asked):
    """Whatever the day of the last sign-on and the day that is asked: by counting days alone."""
    with transaction.atomic():
        child.says()
        shot_on(child, NOW + timedelta(days=came))
        last = max(NOW + timedelta(days=came), date(2027, 9, 11))
        on = NOW + timedelta(days=asked)
        care.forget_who_left(on=on)
        assert HealthNote.objects.exists() == ((on - last).days <= 365)
        transaction.set_rollback(True)
