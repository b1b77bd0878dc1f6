"""A day is called off and the families hear of it in the same step: once each, with all their children."""

from datetime import time, timedelta

import pytest
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.fees.selectors import open_amount
from clubdesk.mail.models import Message
from clubdesk.money import nil
from clubdesk.rangeday import services
from clubdesk.rangeday.models import ClosedDays, Gear, Paid, RangeDay
from clubdesk.roll import services as roll
from tests import factories
from tests.forms import form_of
from tests.worlds.day_one import TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def day(book):
    factories.hire()
    return factories.range_day(TODAY)


@pytest.fixture
def child(book):
    """A child of a family of that name, with an address unless said otherwise."""
    homes = {}

    def made(given, name, email=None, phone=""):
        if name not in homes:
            email = f"{name.lower()}@example.org" if email is None else email
            homes[name] = factories.HouseholdFactory(
                name=f"{name} family", guardian=f"Ida {name}", email=email, phone=phone
            )
        return factories.PersonFactory(household=homes[name], given_name=given, family_name=name)

    return made


@pytest.fixture
def off(day, by):
    def call(**more):
        given = {"range_day": day, "reason": "lightning", "on": TODAY, "by": by, "tell_them": True}
        return services.call_off_day(**{**given, **more})

    return call


@pytest.fixture
def signs(day, by):
    def sign(person, paid=Paid.ACCOUNT, on=None):
        return services.sign_on(range_day=on or day, person=person, gear=Gear.HIRE, paid=paid, by=by)

    return sign


@pytest.fixture
def regular(child, signs):
    """A child that came on the two days alike before, and has not signed on for this one."""
    came = child("Cy", "Bilby")
    for weeks in (1, 2):
        signs(came, on=factories.range_day(TODAY - timedelta(weeks=weeks)))
    return came


def letters():
    return {each.to: each.body for each in Message.objects.all()}


def test_each_family_has_one_letter_with_all_its_children(child, signs, off):
    for given in ("Ada", "Ben"):
        signs(child(given, "Quoll"), paid=Paid.CASH)
    off()
    (body,) = letters().values()
    assert "The range day on Saturday, 12 September 2026 is called off: lightning." in body
    assert "Please do not come to River range with Ada and Ben." in body
    assert "The $30.00 that you paid stands to your credit and pays what you owe next." in body


def test_what_moves_to_another_day_is_told_with_that_day(child, signs, off, book):
    later = factories.range_day(TODAY + timedelta(days=7))
    signs(child("Ada", "Quoll"), paid=Paid.CARD)
    off(move_to=later)
    (body,) = letters().values()
    assert "Ada is signed on for Saturday, 19 September 2026 at the same price." in body
    assert "The $15.00 that you paid pays for that day." in body


def test_who_had_paid_nothing_reads_that_nothing_is_charged(child, signs, off):
    signs(child("Ada", "Quoll"))
    off()
    assert "Nothing is charged for the day." in letters()["quoll@example.org"]


def test_who_usually_comes_is_told_too_and_of_no_money(child, signs, off, regular):
    signs(child("Ada", "Quoll"))
    off(also_usual=True)
    assert set(letters()) == {"quoll@example.org", "bilby@example.org"}
    assert "with Cy.\n\nTo see your account" in letters()["bilby@example.org"]


def test_unless_they_want_no_news_or_the_coordinator_leaves_them_out(off, regular, by):
    roll.end_news(guardian=regular.household.guardians.get(), by=by)
    off(also_usual=True)
    assert letters() == {}


def test_who_signed_on_is_told_though_they_want_no_news(child, signs, off, by):
    ada = child("Ada", "Quoll")
    signs(ada)
    roll.end_news(guardian=ada.household.guardians.get(), by=by)
    off()
    assert set(letters()) == {"quoll@example.org"}


def test_a_second_press_tells_nobody_twice(child, signs, off):
    signs(child("Ada", "Quoll"))
    first, second = off(), off()
    assert Message.objects.count() == 1
    assert second.letters == first.letters


def test_an_unknown_field_or_an_empty_letter_calls_nothing_off(child, signs, off, day):
    for text, said in (("Dear {parent}", "is no field"), (" ", "Write what the families are told")):
        with pytest.raises(Refused, match=said):
            off(letter=text)
    day.refresh_from_db()
    assert day.called_off_on is None


class TestMovedToAnotherDay:
    SUNDAY = TODAY + timedelta(days=1)

    @pytest.fixture
    def move(self, day, by):
        def moved(**more):
            given = {"range_day": day, "to": self.SUNDAY, "reason": "the hall is let", "on": TODAY, "by": by}
            return services.move_day(**{**given, "tell_them": True, **more})

        return moved

    def test_the_same_range_has_the_other_day_at_the_same_hours_and_this_one_is_off(self, day, move):
        RangeDay.objects.update(begins_at=time(9), ends_at=time(12))
        new = move().instead
        day.refresh_from_db()
        assert (new.date, new.place, new.hours) == (self.SUNDAY, day.place, "9:00–12:00")
        assert day.called_off_reason == "moved to Sun 13 Sep 2026: the hall is let"

    def test_who_signed_on_is_signed_on_for_it_and_what_was_paid_pays_for_it(self, child, signs, move):
        ada = child("Ada", "Quoll")
        signs(ada, paid=Paid.CASH)
        (row,) = move().moved
        assert (row.person, row.range_day.date, open_amount(row.charge)) == (ada, self.SUNDAY, nil())
        (body,) = letters().values()
        assert "moves to Sunday, 13 September 2026: the hall is let." in body
        assert "The $15.00 that you paid pays for that day." in body

    def test_a_second_press_moves_nothing_more(self, child, signs, move):
        signs(child("Ada", "Quoll"))
        assert (len(move().moved), move().moved) == (1, ())
        assert Message.objects.count() == 1

    def test_one_on_which_nobody_has_signed_on_may_move_to_an_earlier_day(self, book, move):
        later = factories.range_day(TODAY + timedelta(days=7))
        assert move(range_day=later, to=self.SUNDAY).instead.date == self.SUNDAY

    def test_one_with_who_signed_on_may_not(self, child, signs, move):
        later = factories.range_day(TODAY + timedelta(days=7))
        signs(child("Ada", "Quoll"), on=later)
        with pytest.raises(Refused, match="Move it to a later day that is open"):
            move(range_day=later)

    def test_to_a_day_without_shooting_or_that_has_passed_is_refused(self, move, day):
        ClosedDays.objects.create(first_day=self.SUNDAY, last_day=self.SUNDAY, reason="open day")
        for to in (self.SUNDAY, TODAY - timedelta(days=1), TODAY):
            with pytest.raises(Refused, match="Choose another day, from today on, on which the club shoots"):
                move(to=to)
        assert RangeDay.objects.count() == 1

    def test_the_page_shows_the_letter_and_sends_it(self, client, coordinator, child, signs, day):
        client.force_login(coordinator)
        signs(child("Ada", "Quoll"))
        page = reverse("admin:rangeday_rangeday_move", args=[day.pk])
        shown = client.get(page)
        assert "The range day on {day} moves to {new day}: {reason}." in shown.content.decode()
        form = form_of(shown, to=self.SUNDAY.isoformat(), reason="the hall is let")
        said = client.post(page, form, follow=True).content.decode()
        assert "is moved to Sun 13 Sep 2026. 1 letter goes out." in said


class TestThePage:
    @pytest.fixture
    def page(self, client, coordinator, day):
        client.force_login(coordinator)
        return reverse("admin:rangeday_rangeday_call-off", args=[day.pk])

    def test_says_how_many_and_shows_the_letter_written_already(self, client, page, child, signs, regular):
        for given in ("Ada", "Ben"):
            signs(child(given, "Quoll", email=""))
        said = client.get(page).content.decode()
        for label, count in (
            ("Signed on", 2), ("Families of who signed on", 1), ("Families of who usually comes besides", 1),
            ("Of all these without an e-mail address", 1),
        ):  # fmt: skip
            assert f"<dt>{label}</dt><dd>{count}</dd>" in said
        assert "The range day on {day} is called off: {reason}." in said

    def test_sends_it_in_the_same_step_and_then_shows_whom_to_ring_and_what_to_paste(
        self, client, page, child, signs, day
    ):
        signs(child("Ada", "Quoll"))
        signs(child("Di", "Numbat", email="", phone="08 7010 0001"))
        form = form_of(client.get(page), reason="heat", letter="Off: {reason}. Stay home, {children}.")
        said = client.post(page, form, follow=True).content.decode()
        assert "1 letter goes out. No e-mail address is known of Numbat family (08 7010 0001)" in said
        assert 'href="tel:0870100001"' in said
        assert "Called off: the range day on Saturday, 12 September 2026 at River range (heat)." in said
        assert "Off: heat. Stay home, Ada." in letters()["quoll@example.org"]

    def test_without_the_tick_nobody_is_written_to(self, client, page, child, signs):
        signs(child("Ada", "Quoll"))
        form = form_of(client.get(page), reason="heat")
        del form["tell_them"]
        said = client.post(page, form, follow=True).content.decode()
        assert "No letter went out" in said
        assert letters() == {}
