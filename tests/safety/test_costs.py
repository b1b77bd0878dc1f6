"""The pages of a safe day cost as many questions for many rows as for a few."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.rangeday import services as rangeday
from clubdesk.safety import services
from clubdesk.safety.models import Duty
from tests import factories
from tests.safety.conftest import NOW, volunteer

pytestmark = pytest.mark.django_db


def grow(club, day, first, last):
    """A volunteer on duty, a child who came alone, an incident with two notes, for each number."""
    for number in range(first, last):
        person = volunteer(f"Ida{number}")
        club.checked(person)
        services.put_on_duty(range_day=day, person=person, duty=Duty.HELPER, by=club.by)
        child = factories.PersonFactory()
        services.note_arrival(range_day=day, person=child, at=clock.now(), by=club.by)
        said = {"kind": "incident", "on": NOW, "place": "line", "what": "A fall", "child": child}
        made = services.record_incident(**said, by=club.by)
        services.note_weather(range_day=day, kind="heat", words=f"{number} degrees", by=club.by)
        services.note_incident(incident=made, words="Iced", on=NOW, by=club.by)
    return made


def asked(client, url):
    client.get(url)  # once unmeasured: Django remembers content types from then on
    with CaptureQueriesContext(connection) as captured:
        assert client.get(url).status_code == 200, url
    return len(captured)


def test_with_three_volunteers_and_with_twelve(client, club, day, keeper):
    club.asks(people=1, children=100, arrivals=True)
    client.force_login(keeper)
    made = grow(club, day, 0, 3)
    names = ("turn", "volunteercheck", "stay", "incident", "opening", "dayrules")
    urls = [reverse(f"admin:safety_{name}_changelist") for name in names]
    urls += [reverse("admin:safety_roster"), reverse("admin:index"), reverse("admin:safety_turn_plan")]
    urls += [reverse("admin:rangeday_rangeday_change", args=[day.pk])]
    urls += [reverse("admin:safety_incident_change", args=[made.pk])]
    few = {url: asked(client, url) for url in urls}
    grow(club, day, 3, 12)
    services.note_incident(incident=made, words="Better", on=NOW, by=club.by)
    assert {url: asked(client, url) for url in urls} == few
    assert max(few.values()) <= 50


def test_the_roster_asks_no_more_for_more_weeks(client, club, keeper):
    club.asks()
    client.force_login(keeper)
    plan = {"every": 7, "place": "River range", "by": club.by}
    rangeday.plan_days(first_day=NOW, last_day=NOW + timedelta(weeks=1), **plan)
    few = asked(client, reverse("admin:safety_roster"))
    rangeday.plan_days(first_day=NOW, last_day=NOW + timedelta(weeks=6), **plan)
    assert asked(client, reverse("admin:safety_roster")) == few
