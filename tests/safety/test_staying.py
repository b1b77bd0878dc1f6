"""Children who come without a guardian, where the club notes it; and what is noted of the weather."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.care import services as care
from clubdesk.care.selectors import Contact
from clubdesk.errors import Refused
from clubdesk.rangeday.models import RangeDay
from clubdesk.safety import selectors, services
from clubdesk.safety.models import Stay
from tests import factories
from tests.safety.conftest import NOW, volunteer

pytestmark = pytest.mark.django_db


@pytest.fixture
def child(club):
    home = factories.HouseholdFactory(guardian="Ida Mirabar")
    return factories.PersonFactory(household=home, given_name="Ada", family_name="Mirabar")


class TestArriving:
    def arrives(self, club, day, person):
        return services.note_arrival(range_day=day, person=person, at=clock.now(), by=club.by)

    def test_not_where_the_club_does_not_want_it(self, club, day, child):
        with pytest.raises(Refused, match="does not note arrivals"):
            self.arrives(club, day, child)

    def test_a_child_is_there_once_until_somebody_collects_it(self, club, day, child):
        club.asks(people=0, arrivals=True)
        stay = self.arrives(club, day, child)
        assert self.arrives(club, day, child) == stay
        assert selectors.still_there(NOW).get() == stay
        services.note_leaving(stay=stay, collected_by="ida  mirabar", at=clock.now(), by=club.by)
        assert not selectors.still_there(NOW).exists()

    def test_an_adult_is_no_child(self, club, day):
        club.asks(people=0, arrivals=True)
        with pytest.raises(Refused, match="is no child any more"):
            self.arrives(club, day, volunteer())


class TestLeaving:
    @pytest.fixture
    def stay(self, club, day, child):
        club.asks(people=0, arrivals=True)
        return services.note_arrival(range_day=day, person=child, at=clock.now(), by=club.by)

    def leaves(self, club, stay, collected_by, agreed_by=""):
        return services.note_leaving(
            stay=stay, collected_by=collected_by, agreed_by=agreed_by, at=clock.now(), by=club.by
        )

    def test_with_whom_the_family_has_named(self, club, child, stay):
        care.name_contacts(person=child, ring=[], collect=[Contact("Odo Quoll")], by=club.by)
        assert self.leaves(club, stay, "Odo Quoll").collected_by == "Odo Quoll"

    def test_somebody_else_only_as_a_guardian_agrees(self, club, stay):
        with pytest.raises(Refused) as refusal:
            self.leaves(club, stay, "Pia Sand")
        assert refusal.value.sentence == (
            "Pia Sand is neither a guardian of Ada Mirabar nor named by the family as who may collect. Ring a guardian,"
            " and write who agreed."
        )
        assert self.leaves(club, stay, "Pia Sand", "Ida Mirabar, by phone").agreed_by == "Ida Mirabar, by phone"

    def test_nobody_is_no_answer(self, club, stay):
        with pytest.raises(Refused, match="Write who collected the child"):
            self.leaves(club, stay, " ", "Ida")

    def test_once_noted_it_stays(self, club, stay):
        first = self.leaves(club, stay, "Ida Mirabar")
        assert self.leaves(club, stay, "Pia Sand", "Ida").collected_by == first.collected_by
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            Stay.objects.update(collected_by="Pia Sand")

    def test_the_range_days_page_says_who_is_still_here(self, client, club, day, stay, keeper):
        client.force_login(keeper)
        page = reverse("admin:rangeday_rangeday_change", args=[day.pk])
        assert "still here" in client.get(page).content.decode()
        self.leaves(club, stay, "Ida Mirabar")
        shown = client.get(page).content.decode()
        assert "still here" not in shown
        assert "Ida Mirabar" in shown


class TestWeather:
    def test_a_note_by_hand_leads_to_calling_the_day_off_in_two_taps(self, client, club, day, keeper):
        services.note_weather(range_day=day, kind="heat", words="39 degrees in the shade", by=club.by)
        client.force_login(keeper)
        page = client.get(reverse("admin:rangeday_rangeday_change", args=[day.pk])).content.decode()
        first_tap = page.partition("/call-off/?reason=")
        assert first_tap[1]
        asked = first_tap[2].partition('"')[0]
        url = f"{reverse('admin:rangeday_rangeday_call-off', args=[day.pk])}?reason={asked}"
        form = client.get(url).context["form"]
        second_tap = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
        assert second_tap["reason"] == "heat: 39 degrees in the shade"
        client.post(url, {name: value for name, value in second_tap.items() if value is not None})
        assert RangeDay.objects.get(pk=day.pk).called_off_reason == "heat: 39 degrees in the shade"

    def test_nothing_is_no_note(self, club, day):
        with pytest.raises(Refused, match="Say what you saw or read"):
            services.note_weather(range_day=day, kind="wind", words="  ", by=club.by)

    def test_a_day_that_is_to_come_takes_one_too(self, club):
        later = factories.range_day(NOW + timedelta(days=1))
        assert services.note_weather(range_day=later, kind="wind", words="gusts", by=club.by).range_day == later
