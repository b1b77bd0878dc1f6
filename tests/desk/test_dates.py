"""The club's dates: a page and a feed for everybody, and a family's own by its guardian's link."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.db import IntegrityError, transaction
from django.test import RequestFactory
from django.urls import reverse
from icalendar import Calendar

from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort
from clubdesk.dates import Dated
from clubdesk.desk.dates import views
from clubdesk.desk.dates.feed import calendar_of
from clubdesk.errors import Refused
from clubdesk.membership import services as membership
from clubdesk.rangeday import services
from clubdesk.rangeday.models import ClosedDays, RangeDay
from clubdesk.roll import links
from tests import factories
from tests.families import guardian_of, page_of

TODAY = date(2026, 9, 12)
SATURDAY = date(2026, 9, 19)


def events_of(answer):
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/calendar")
    return {str(each["summary"]): each for each in Calendar.from_ical(answer.content).walk("VEVENT")}


@pytest.fixture
def child(book, by):
    """A member of the junior class, whose guardian gets letters."""
    found = factories.PersonFactory(given_name="Oriel")
    plan = factories.plan()
    membership.take_out_membership(person=found, plan=plan, starts_on=TODAY, on=TODAY, by=by)
    guardian_of(found.household)
    return found


@pytest.fixture
def season_of_dates(book, by):
    """Each kind of thing that the club has, in the weeks to come."""
    day = factories.range_day(SATURDAY)
    services.set_hours(range_day=day, begins_at=time(9), ends_at=time(12), by=by)
    off = factories.range_day(SATURDAY + timedelta(days=7))
    services.call_off_day(range_day=off, reason="heat", on=TODAY, by=by)
    ClosedDays.objects.create(first_day=date(2026, 12, 20), last_day=date(2027, 1, 10), reason="summer break")
    factories.event(fee="80.00", held=date(2026, 10, 17), ends_on=date(2026, 10, 18))
    return factories.cohort()


class TestForEverybody:
    def test_the_page_shows_every_kind_of_date_by_month(self, client, season_of_dates):
        shown = client.get("/dates/").content.decode()
        for words in (
            "September 2026", "Sat 19 Sep", "9:00–12:00", "River range", "Called off: heat", "not on",
            "Beginner course", "Session 1 of 4", "State clout championship", "Entry fee $80.00",
            "Entries close: State clout championship", "No shooting: summer break",
        ):  # fmt: skip
            assert words in shown, words
        assert shown.index("September 2026") < shown.index("October 2026") < shown.index("December 2026")

    def test_no_name_of_anybody_stands_in_page_or_feed(self, client, season_of_dates, child, by):
        courses.book_party(
            course=season_of_dates.course, people=[child], cohorts=[season_of_dates],
            on=TODAY, by=by,
        )  # fmt: skip
        for address in ("/dates/", "/dates/club.ics"):
            shown = client.get(address).content.decode()
            assert "Oriel" not in shown
            assert child.family_name not in shown

    def test_a_course_that_parents_do_not_book_is_not_told_of(self, client, season_of_dates):
        season_of_dates.course.on_parents_page = False
        season_of_dates.course.save()
        assert "Beginner course" not in client.get("/dates/").content.decode()

    def test_an_empty_book_says_that_nothing_is_set(self, client, book):
        assert "Nothing is set for the next months yet." in client.get("/dates/").content.decode()

    def test_the_feed_tells_hours_and_what_is_off(self, client, season_of_dates):
        found = events_of(client.get("/dates/club.ics"))
        zone = ZoneInfo(settings.TIME_ZONE)
        day = found["Range day"]
        assert day.decoded("dtstart") == datetime(2026, 9, 19, 9, tzinfo=zone)
        assert day.decoded("dtend") == datetime(2026, 9, 19, 12, tzinfo=zone)
        assert str(day["location"]) == "River range"
        assert str(found["Called off: Range day"]["status"]) == "CANCELLED"

    def test_days_without_hours_are_whole_days_and_end_on_the_day_after(self, client, season_of_dates):
        """Source: RFC 5545, section 3.6.1: DTEND of a DATE is not part of the event."""
        event = events_of(client.get("/dates/club.ics"))["State clout championship"]
        assert (event.decoded("dtstart"), event.decoded("dtend")) == (date(2026, 10, 17), date(2026, 10, 19))

    def test_what_changes_keeps_its_uid(self, client, season_of_dates, by):
        before = events_of(client.get("/dates/club.ics"))["Range day"]["uid"]
        services.call_off_day(range_day=RangeDay.objects.get(date=SATURDAY), reason="wind", on=TODAY, by=by)
        after = Calendar.from_ical(client.get("/dates/club.ics").content).walk("VEVENT")
        assert [str(each["status"]) for each in after if each["uid"] == before] == ["CANCELLED"]

    def test_it_asks_as_often_for_many_days_as_for_few(self, client, season_of_dates, django_assert_num_queries, by):
        with django_assert_num_queries(5):
            client.get("/dates/")
        services.plan_days(first_day=date(2026, 10, 3), last_day=date(2027, 2, 27), every=7, place="Hall", by=by)
        with django_assert_num_queries(5):
            client.get("/dates/")


class TestTheStandard:
    """Source: RFC 5545 (iCalendar) and RFC 7986."""

    LONG = Dated("odd 1", "event", "Ärger; Komma, Strich \\ und\nZeile " * 6, SATURDAY, SATURDAY, line="–" * 90)

    def test_lines_are_folded_at_75_octets_and_end_with_cr_lf(self):
        """Section 3.1."""
        content = calendar_of([self.LONG], "Club", datetime(2026, 9, 12, tzinfo=ZoneInfo("UTC")))
        assert content.endswith(b"END:VCALENDAR\r\n")
        assert max(map(len, content.split(b"\r\n"))) <= 75
        assert b"\n" not in content.replace(b"\r\n", b"")

    def test_text_is_escaped_and_read_back_as_it_was(self):
        """Section 3.3.11."""
        content = calendar_of([self.LONG], "Club", datetime(2026, 9, 12, tzinfo=ZoneInfo("UTC")))
        event = Calendar.from_ical(content).walk("VEVENT")[0]
        assert str(event["summary"]) == self.LONG.title
        assert str(event["description"]) == self.LONG.line

    def test_what_must_be_there_is_there_once(self):
        """Sections 3.6 (PRODID, VERSION) and 3.6.1 (UID, DTSTAMP in UTC)."""
        twice = [self.LONG, Dated("odd 2", "range", "Two", SATURDAY, SATURDAY, begins=time(9), ends=time(10))]
        content = calendar_of(twice, "Club", datetime(2026, 9, 12, 1, 2, 3, tzinfo=ZoneInfo("UTC")))
        lines = content.decode().replace("\r\n ", "").split("\r\n")
        assert lines[0] == "BEGIN:VCALENDAR"
        for name in ("PRODID:", "VERSION:2.0", "REFRESH-INTERVAL;VALUE=DURATION:PT6H"):
            assert sum(line.startswith(name) for line in lines) == 1, name
        assert lines.count("DTSTAMP:20260912T010203Z") == 2
        uids = [line for line in lines if line.startswith("UID:")]
        assert len(set(uids)) == 2
        assert all(line.endswith("Z") for line in lines if line.startswith(("DTSTART:2", "DTEND:2")))

    def test_an_hour_that_the_clocks_skip_is_told_all_the_same(self):
        """Clocks go forward on 4 October 2026 in some places; the end stays after the beginning."""
        each = Dated("odd 3", "range", "Early", date(2026, 10, 4), date(2026, 10, 4), begins=time(2, 30), ends=time(4))
        event = Calendar.from_ical(calendar_of([each], "Club", datetime(2026, 9, 12, tzinfo=ZoneInfo("UTC")))).walk(
            "VEVENT"
        )[0]
        assert event.decoded("dtstart") < event.decoded("dtend")


class TestAFamilysOwn:
    @pytest.fixture
    def place(self, season_of_dates, child, by):
        return courses.book_party(
            course=season_of_dates.course, people=[child], cohorts=[season_of_dates],
            on=TODAY, by=by,
        )  # fmt: skip

    def feed(self, household):
        return reverse("dates:own_feed", args=[links.feed_token(guardian_of(household))])

    def test_it_has_its_childs_sessions_the_range_and_what_the_child_may_enter(self, client, child, place):
        shown = client.get(page_of(client, child.household, "/dates/ours/")).content.decode()
        for words in ("Oriel: Beginner course", "Range day", "Oriel may enter.", "may enter", "Your dates"):
            assert words in shown, words

    def test_the_membership_ends_in_it(self, child):
        found = views.of_family(child.household, TODAY, TODAY + timedelta(days=400))
        assert "Oriel’s membership ends" in [each.title for each in found]

    def test_nothing_of_another_family_is_in_it(self, client, child, place):
        other = factories.PersonFactory(given_name="Petra")
        guardian_of(other.household)
        found = events_of(client.get(self.feed(other.household)))
        assert found == {}

    def test_a_family_without_a_member_has_no_range_days(self, season_of_dates):
        other = factories.PersonFactory()
        assert views.of_family(other.household, TODAY, TODAY + timedelta(days=90)) == []

    def test_the_feed_opens_without_anything_else_and_ends_with_the_link(self, client, child, place):
        address = self.feed(child.household)
        assert any(name.startswith("Oriel: Beginner course") for name in events_of(client.get(address)))
        guardian = guardian_of(child.household)
        guardian.email = "another@example.org"
        guardian.save()
        assert client.get(address).status_code == 404

    def test_a_token_that_is_guessed_or_of_a_letter_opens_nothing(self, client, child):
        opened = links.path_for(guardian_of(child.household), "/dates/ours/").split("/")[2]
        for token in ("guessed", opened):
            assert client.get(reverse("dates:own_feed", args=[token])).status_code == 404

    def test_without_the_link_the_page_says_how_to_open_it(self, client, child):
        answer = client.get("/dates/ours/")
        assert answer.status_code == 404
        assert "Open the link again" in answer.content.decode()

    def test_an_offer_stands_on_its_last_day(self, season_of_dates, child, by):
        full = Cohort.objects.filter(pk=season_of_dates.pk)
        full.update(capacity=1)
        first = factories.PersonFactory()
        course = season_of_dates.course
        booked = courses.book_party(course=course, people=[first], cohorts=[season_of_dates], on=TODAY, by=by)
        courses.book_party(course=course, people=[child], cohorts=[season_of_dates], on=TODAY, by=by)
        courses.withdraw(booking=booked, on=TODAY, reason="moves away", by=by)
        found = views.of_family(child.household, TODAY, TODAY + timedelta(days=30))
        [offer] = [each for each in found if each.kind == "answer"]
        assert offer.first == TODAY + timedelta(days=7)
        assert offer.title.startswith("Answer by today: Beginner course")


class TestPlanning:
    def plan(self, by, **more):
        asked = {"first_day": SATURDAY, "last_day": date(2026, 10, 17), "every": 7, "place": "River range", **more}
        return services.plan_days(by=by, **asked)

    def test_a_range_day_is_set_up_each_week_with_its_hours(self, book, by):
        planned = self.plan(by, begins_at=time(9), ends_at=time(12))
        assert [day.date.day for day in planned.days] == [19, 26, 3, 10, 17]
        assert {day.hours for day in planned.days} == {"9:00–12:00"}

    def test_days_that_stand_are_passed_over_and_the_same_again_changes_nothing(self, book, by):
        factories.range_day(date(2026, 9, 26))
        assert self.plan(by).stood == (date(2026, 9, 26),)
        again = self.plan(by)
        assert (again.days, len(again.stood)) == ((), 5)

    def test_nobody_is_called_to_the_range_while_it_is_closed(self, book, by):
        ClosedDays.objects.create(first_day=date(2026, 9, 25), last_day=date(2026, 10, 3), reason="works")
        planned = self.plan(by)
        assert planned.closed == (date(2026, 9, 26), date(2026, 10, 3))
        assert not RangeDay.objects.filter(date__in=planned.closed).exists()

    @pytest.mark.parametrize(
        ("asked", "said"),
        [
            ({"last_day": date(2026, 9, 1)}, "The last day is before the first"),
            ({"last_day": date(2030, 9, 1), "every": 1}, "plan at most 120 at once"),
            ({"begins_at": time(9)}, "from when until when"),
            ({"begins_at": time(9), "ends_at": time(9)}, "from when until when"),
        ],
    )
    def test_what_cannot_be_is_refused_in_a_sentence(self, book, by, asked, said):
        with pytest.raises(Refused, match=said):
            self.plan(by, **asked)

    def test_the_page_shows_the_days_before_it_sets_them_up(self, client, coordinator):
        client.force_login(coordinator)
        address = reverse("admin:rangeday_rangeday_plan")
        asked = {"first_day": "2026-09-19", "last_day": "2026-10-03", "every": "7", "place": "River range",
                 "begins_at": "9:00", "ends_at": "12:00", "key": "7f3d3f0e-7d09-4f3c-8f10-3a8f8f3f6c11"}  # fmt: skip
        shown = client.post(address, asked)
        assert "Sat 26 Sep 2026" in shown.content.decode()
        assert not RangeDay.objects.exists()

    @pytest.mark.parametrize(("begins", "ends"), [(time(9), None), (None, time(9)), (time(10), time(9))])
    def test_the_database_refuses_hours_that_do_not_follow_each_other(self, book, begins, ends):
        cohort = factories.cohort()
        for row in (RangeDay(date=SATURDAY, place="X"), cohort):
            row.begins_at, row.ends_at = begins, ends
            with pytest.raises(IntegrityError, match="ends_after_it_begins"), transaction.atomic():
                row.save()

    def test_a_day_that_is_over_keeps_its_hours(self, book, by):
        day = factories.range_day(SATURDAY)
        services.call_off_day(range_day=day, reason="heat", on=TODAY, by=by)
        with pytest.raises(Refused, match="its hours stay as they were"):
            services.set_hours(range_day=day, begins_at=time(9), ends_at=time(10), by=by)

    def test_a_form_for_a_day_on_which_nobody_shoots_says_why(self, client, coordinator):
        ClosedDays.objects.create(first_day=SATURDAY, last_day=SATURDAY, reason="working bee")
        client.force_login(coordinator)
        answer = client.post(reverse("admin:rangeday_rangeday_add"), {"date": SATURDAY.isoformat(), "place": "Hall"})
        assert "Nobody shoots then: working bee" in answer.content.decode()

    def test_closing_over_a_day_that_was_planned_is_pointed_out(self, client, coordinator):
        factories.range_day(SATURDAY)
        client.force_login(coordinator)
        asked = {"first_day": "2026-09-18", "last_day": "2026-09-20", "reason": "works"}
        answer = client.post(reverse("admin:rangeday_closeddays_add"), asked, follow=True)
        assert "stands in that time; call it off" in answer.content.decode()


def test_a_public_page_keeps_no_cookie(client, book):
    assert not client.get("/dates/").cookies
    assert views.club(RequestFactory().get("/dates/")).status_code == 200
