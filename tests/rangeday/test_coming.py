"""Who comes, who stopped coming, who came back after a course, what the next day will want, and volunteers' hours."""

import io
import random
from datetime import time, timedelta
from statistics import mean

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock
from clubdesk.rangeday import coming, forecast, room, services
from clubdesk.rangeday.models import Kit, KitLoan, RangeDay, SignOn
from clubdesk.roll.models import Guardian
from tests import factories
from tests.rangeday.days import TODAY
from tests.rangeday.test_forecast import generated

pytestmark = pytest.mark.django_db
WEEK = timedelta(weeks=1)


@pytest.fixture
def come(by):
    """Somebody comes to the range days so many weeks ago."""

    def came(person, *weeks, place="Main range"):
        for each in weeks:
            day, _ = RangeDay.objects.get_or_create(date=TODAY - each * WEEK, place=place)
            SignOn.objects.create(range_day=day, person=person, gear="own", paid="nothing", recorded_by=by)
        return person

    return came


@pytest.fixture
def saturdays(book, come):
    """Somebody was there each of the last sixteen Saturdays, so that each of them was held."""
    return come(factories.PersonFactory(given_name="Keen"), *range(1, 17))


class TestWhoStopped:
    def names(self):
        return [each.person.given_name for each in coming.stopped_coming(TODAY)]

    @pytest.mark.parametrize(("weeks", "stopped"), [
        ((4, 5, 6, 7, 8), True), ((4, 5, 7, 8), True), ((3, 4, 5, 6, 7), False), ((4, 5, 8), False),
        ((4, 6, 8, 10, 12), False), ((9, 10, 11, 12, 13), True), ((10, 11, 12, 13, 14), False),
        ((1, 4, 5, 6, 7, 8), False),
    ])  # fmt: skip
    def test_it_is_who_came_weekly_and_missed_three_days_or_more_but_not_very_many(
        self, saturdays, come, weeks, stopped
    ):
        come(factories.PersonFactory(given_name="Ann"), *weeks)
        assert self.names() == (["Ann"] if stopped else [])

    def test_a_saturday_that_was_not_held_misses_nobody(self, saturdays, come, by):
        come(factories.PersonFactory(given_name="Ann"), 3, 4, 5, 6, 7)
        empty = RangeDay.objects.create(date=TODAY - timedelta(days=3), place="Main range")
        assert self.names() == []
        RangeDay.objects.filter(pk=empty.pk).delete()
        off = RangeDay.objects.create(date=TODAY, place="Main range")
        services.call_off_day(range_day=off, reason="hail", on=TODAY, by=by)
        assert self.names() == []

    def test_who_came_elsewhere_since_or_is_signed_on_for_a_day_to_come_has_not_stopped(self, saturdays, come):
        for name, weeks, place in (("Ann", 2, "Far range"), ("Bela", -1, "Main range")):
            come(come(factories.PersonFactory(given_name=name), 4, 5, 6, 7, 8), weeks, place=place)
        assert self.names() == []

    def test_the_list_names_whom_of_the_family_to_ring_who_has_a_phone_first(
        self, saturdays, come, client, coordinator
    ):
        ann = come(factories.PersonFactory(given_name="Ann", family_name="Quoll"), 4, 5, 6, 7, 8)
        Guardian.objects.create(household=ann.household, name="Odo Quoll", email="odo@example.org")
        Guardian.objects.create(household=ann.household, name="Ida Quoll", phone="08 7010 0101")
        client.force_login(coordinator)
        page = client.get(reverse("admin:range_coming")).content.decode()
        assert "08 7010 0101" in page
        assert "odo@example.org" not in page
        [waits] = [each for each in room.ROOM.waits if "missed" in each.one]
        assert waits.now(TODAY).count == 1
        assert "Regular who is missed lately" in client.get(reverse("admin:index")).content.decode()

    def test_who_was_erased_is_named_nowhere(self, saturdays, come):
        ann = come(factories.PersonFactory(given_name="Ann"), 4, 5, 6, 7, 8)
        type(ann).objects.filter(pk=ann.pk).update(erased_on=TODAY)
        assert self.names() == []
        assert {each.person.given_name for each in coming.who_came(TODAY - 20 * WEEK, TODAY)}.isdisjoint({"Ann"})


def test_who_came_how_often_counts_days_of_the_span_and_a_cancelled_sign_on_is_none(saturdays, come):
    ann = come(factories.PersonFactory(given_name="Ann"), 1, 2, 3)
    come(ann, 1, place="Far range")
    SignOn.objects.filter(person=ann, range_day__date=TODAY - 3 * WEEK).update(cancelled_on=TODAY, cancel_reason="x")
    came = [each for each in coming.who_came(TODAY - 3 * WEEK, TODAY) if each.person.given_name in ("Ann", "Keen")]
    found = [(each.person.given_name, each.days, each.last) for each in came]
    assert found == [("Keen", 3, TODAY - WEEK), ("Ann", 2, TODAY - WEEK)]


@pytest.mark.world("season")
def test_who_completed_a_course_and_has_not_been_back_stands_first(come):
    done = list(coming.completions(TODAY - timedelta(days=600), TODAY + timedelta(days=600)))
    on = max(each.completed_on for each in done) + timedelta(days=20)
    late = [each.place.person for each in done if on - coming.FRESH_FOR <= each.completed_on]
    assert late
    SignOn.objects.filter(person__in=late).update(cancelled_on=TODAY, cancel_reason="x")
    with clock.on(on):
        assert {each.days for each in coming.fresh_from_a_course(on)} == {0}
    assert {each.place.person for each in coming.not_back_from_a_course(on)} == set(late)
    day = RangeDay.objects.create(date=on, place="Far range")
    SignOn.objects.create(range_day=day, person=late[0], gear="own", paid="nothing", recorded_by=User.objects.first())
    found = coming.fresh_from_a_course(on)
    assert [(each.person, each.days, each.first) for each in found if each.days] == [(late[0], 1, on)]
    assert found[-1].person == late[0]
    assert {each.place.person for each in coming.not_back_from_a_course(on)} == set(late[1:])


class TestHours:
    """Hours of a day as it was set, or from the first phone entry to the last."""

    def hours(self):
        return [(each.user.username, each.days, str(each.hours)) for each in coming.volunteers(TODAY - WEEK, TODAY)]

    def test_each_who_made_an_entry_or_counted_has_the_hours_of_the_day(self, day, member, coordinator, range_helper):
        services.set_hours(range_day=day, begins_at=time(9), ends_at=time(12, 30), by=coordinator)
        services.sign_on(range_day=day, person=member, gear="own", paid="nothing", by=range_helper)
        assert self.hours() == [(range_helper.username, 1, "3.5")]
        treasurer = User.objects.create_user("counter", is_staff=True)
        services.close_day(range_day=day, pieces={}, second_counter=treasurer, by=coordinator, on=TODAY)
        assert {name for name, *_ in self.hours()} == {range_helper.username, coordinator.username, "counter"}
        assert {hours for *_, hours in self.hours()} == {"3.5"}

    def test_a_day_without_hours_lasts_from_the_first_phone_entry_to_the_last(self, day, member, range_helper, by):
        begins = clock.start_of(TODAY) + timedelta(hours=9)
        for minutes, key in ((0, 1), (135, 2)):
            at = begins + timedelta(minutes=minutes)
            day.taps.create(tapped_at=at, visitor_name=f"Noor {key}", recorded_by=range_helper)
        services.sign_on(range_day=day, person=member, gear="own", paid="nothing", by=by)
        assert (range_helper.username, 1, "2.3") in self.hours()


class TestTheNextDay:
    def test_on_generated_seasons_the_forecast_is_nearer_than_the_time_before(self):
        """No source; the seasons are made for the tests and know nothing of the method."""
        tried = [forecast.tried(list(generated(seed))) for seed in range(20)]
        assert mean(each.ours for each in tried) < 0.9 * mean(each.as_before for each in tried)
        assert sum(each.ours < each.as_before for each in tried) >= 18

    def test_each_day_is_tried_by_the_days_before_it_alone(self):
        """Against it written out once more: the forecast of a day is what the days up to it come to."""
        counts = [random.Random(7).randint(10, 40) for _ in range(12)]
        found = forecast.tried(counts)
        off = [abs(forecast.smoothed(counts[:n])[-1] - counts[n]) for n in range(forecast.FEWEST, len(counts))]
        assert (found.days, found.ours) == (8, pytest.approx(mean(off)))
        assert forecast.tried(counts[: forecast.FEWEST]) is None

    def test_kit_is_told_by_kind_and_hand_against_what_is_fit_for_use(self, book, come, by):
        left, other = (Kit.objects.create(number=f"L{n}", kind="bow", hand="left") for n in (1, 2))
        right = Kit.objects.create(number="R1", kind="bow", hand="right")
        child = come(factories.PersonFactory(), 1, 2, 3, 4, 5)
        for signed in child.sign_ons.order_by("pk"):
            for bow in (left, right, other):
                KitLoan.objects.create(kit=bow, sign_on=signed, given_at=NOON, back_at=NOON, recorded_by=by)
        services.set_kit_aside(kit=other, on=TODAY, note="cracked", by=by)
        found = [(each.hand, str(each.wanted), each.there, each.lacking)
                 for each in forecast.gear_needed(RangeDay(date=TODAY, place="Main range"))]  # fmt: skip
        assert found == [("left", "2", 1, 1), ("right", "1", 1, 0)]


NOON = clock.start_of(TODAY) + timedelta(hours=12)


class TestThePage:
    @pytest.fixture
    def page(self, client, coordinator):
        client.force_login(coordinator)
        return lambda **asked: client.get(reverse("admin:range_coming"), asked)

    SPAN = {"since": str(TODAY - 20 * WEEK), "until": str(TODAY)}

    def test_each_list_comes_as_a_file_with_what_the_page_shows(self, page, saturdays, come):
        come(factories.PersonFactory(given_name="Ann", family_name="Quoll"), 4, 5, 6, 7, 8)
        header, row = page(**self.SPAN, list="stopped", **{"as": "csv"}).content.decode("utf-8-sig").splitlines()
        assert header == "who,last came,guardian,phone,e-mail"
        assert row.startswith(f"Ann Quoll,{TODAY - 4 * WEEK},")
        book = load_workbook(io.BytesIO(page(**self.SPAN, list="came", **{"as": "xlsx"}).content))
        assert [cell.value for cell in book.active[2]][:2] == [str(saturdays), 16]

    def test_what_no_list_is_called_or_no_file_is_shows_the_page(self, page, saturdays):
        assert page(**self.SPAN, list="nobody", **{"as": "csv"}).status_code == 200
        assert page(**self.SPAN, list="came", **{"as": "exe"}).status_code == 200

    def test_days_the_wrong_way_round_are_told(self, page):
        assert "The last day is before the first." in page(since="2026-09-12", until="2026-09-01").content.decode()

    def test_it_asks_as_often_of_many_as_of_few(self, page, saturdays, come):
        come(factories.PersonFactory(), 4, 5, 6, 7, 8)
        page(**self.SPAN)
        with CaptureQueriesContext(connection) as few:
            page(**self.SPAN)
        for _ in range(20):
            come(factories.PersonFactory(), 4, 5, 6, 7, 8)
        with CaptureQueriesContext(connection) as many:
            page(**self.SPAN)
        assert len(many) == len(few) <= 30

    def test_a_range_helper_does_not_read_it(self, client, range_helper):
        client.force_login(range_helper)
        assert client.get(reverse("admin:range_coming")).status_code == 403
