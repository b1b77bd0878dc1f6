"""A child belongs to another family: what is to come goes along, what is past stays, and one family pays each fee."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk.courses import services
from clubdesk.courses.models import Booking
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, Method
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Person
from clubdesk.roll.services import add_to_family
from clubdesk.verbs import shell_user
from tests import factories
from tests.courses.families import NOW, again, family, sound, states
from tests.forms import agreed, form_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def home(db):
    """The family that the child belongs to from now on."""
    return family(9, name="Wren", email="odo@example.org")[0].household


def pay(household, amount, by):
    charging.record_receipt(household=household, amount=as_amount(amount), method=Method.CARD, on=NOW, by=by)


def child_of(booking):
    return booking.places.order_by("pk").first().person


def move(booking, home, by, takes_over=False):
    child = child_of(booking)
    services.move_person(person=child, household=home, takes_over=takes_over, on=NOW, by=by)
    return child, Booking.objects.filter(household=home).order_by("pk").last()


class TestWaiting:
    def test_the_turn_goes_along(self, ask, october, home, by):
        ask(12, 12, 12, cohorts=[october])
        first, second = ask(12, 12, cohorts=[october]), ask(12, 12, cohorts=[october])
        child, own = move(first, home, by)
        assert (again(first).seats, states(first)) == (1, ["withdrawn", "waiting"])
        assert own.places.get().person == child
        assert again(first).rank < own.rank < again(second).rank
        assert sound()

    def test_an_offer_goes_along_to_the_same_day(self, ask, october, home, by):
        gone = ask(12, 12, 12, cohorts=[october])
        waits = ask(12, cohorts=[october])
        services.withdraw(booking=gone, on=NOW, reason="camp", by=by)
        until = again(waits).offer_lapses_on
        _, own = move(waits, home, by)
        assert (own.state, own.offer_lapses_on) == ("offered", until)
        services.accept_offer(booking=own, on=NOW, by=by)
        assert Charge.objects.latest("pk").household == home
        assert sound()


class TestAPlace:
    def test_that_is_paid_goes_along_and_stays_paid_by_who_paid(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        pay(booking.household, 126, by)
        child, own = move(booking, home, by)
        place = own.places.get()
        assert (place.state, place.cohort, place.charge.household) == ("held", october, booking.household)
        assert again(booking).state == "withdrawn"
        assert fees.balance(home) == fees.balance(booking.household) == as_amount(0)
        assert Person.objects.get(pk=child.pk).household == home
        assert sound()

    def test_that_is_not_paid_stays_with_the_family_that_pays(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        _, own = move(booking, home, by)
        assert own is None
        assert again(booking).state == "held"
        assert fees.balance(booking.household) == as_amount(126)
        assert sound()

    def test_or_goes_along_where_the_new_family_takes_the_fee_over(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        pay(booking.household, 50, by)
        _, own = move(booking, home, by, takes_over=True)
        assert (own.state, own.places.get().charge.household) == ("held", home)
        assert (fees.balance(home), fees.balance(booking.household)) == (as_amount(126), as_amount(-50))
        assert sound()

    def test_in_a_course_that_has_begun_is_past(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        pay(booking.household, 126, by)
        child = child_of(booking)
        services.move_person(person=child, household=home, on=october.first_session, by=by)
        assert again(booking).state == "held"
        assert Booking.objects.filter(household=home).count() == 0
        assert sound()

    def test_with_a_sibling_only_the_childs_own_goes_along(self, ask, october, home, by):
        booking = ask(12, 12, cohorts=[october])
        pay(booking.household, 252, by)
        _, own = move(booking, home, by)
        assert (states(booking), states(own)) == (["withdrawn", "held"], ["held"])
        assert sound()

    def test_both_families_are_told_and_neither_hears_who_the_other_is(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        pay(booking.household, 126, by)
        move(booking, home, by)
        gone = Message.objects.filter(household=booking.household).latest("pk").body
        came = Message.objects.filter(household=home).latest("pk").body
        assert "belongs to another family now" in gone
        assert "belongs to your family now" in came
        assert home.name not in gone
        assert booking.household.name not in came

    def test_it_is_done_once(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        pay(booking.household, 126, by)
        move(booking, home, by)
        move(booking, home, by)
        assert Booking.objects.filter(household=home).count() == 1

    def test_and_back_again(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        pay(booking.household, 126, by)
        child, _ = move(booking, home, by)
        services.move_person(person=child, household=booking.household, on=NOW, by=by)
        back = Booking.objects.filter(household=booking.household).latest("pk")
        assert (back.state, back.places.get().charge.household) == ("held", booking.household)
        assert sound()


class TestTwoHomes:
    """A child of two homes: one of them pays for each thing."""

    @pytest.fixture
    def booked(self, october, home, by):
        child = family(12, name="Ada")[0]
        booking = services.book_party(
            course=october.course, people=[child], payer=home, cohorts=[october], on=NOW, by=by
        )
        return child, booking

    def test_the_other_home_books_pays_and_is_written_to(self, booked, home):
        child, booking = booked
        assert (booking.household, child.household == home) == (home, False)
        assert (fees.balance(home), fees.balance(child.household)) == (as_amount(126), as_amount(0))
        assert Message.objects.get().household == home
        assert sound()

    def test_what_it_pays_stays_with_it_wherever_the_child_belongs(self, booked, home, by):
        child, booking = booked
        third = family(9, name="Owl", email="uma@example.org")[0].household
        services.move_person(person=child, household=third, takes_over=True, on=NOW, by=by)
        assert again(booking).state == "held"
        assert (fees.balance(home), fees.balance(third)) == (as_amount(126), as_amount(0))
        assert sound()

    def test_it_is_booked_on_the_page_of_the_family_that_pays(self, october, home, client, coordinator):
        child = family(12, name="Ada")[0]
        client.force_login(coordinator)
        url = reverse("admin:roll_household_book-course", args=[home.pk])
        agreed(client, url, form_of(client.get(url), child=str(child.pk), cohorts=[str(october.pk)]))
        assert Booking.objects.get().household == home
        assert Booking.objects.get().places.get().person == child

    def test_nobody_is_said_where_nobody_is_chosen(self, october, home, client, coordinator):
        client.force_login(coordinator)
        url = reverse("admin:roll_household_book-course", args=[home.pk])
        answer = client.post(url, form_of(client.get(url), cohorts=[str(october.pk)]))
        assert "Say who wants to do the course." in answer.content.decode()
        assert Booking.objects.count() == 0


class TestRefused:
    def test_a_place_for_which_the_new_days_made_the_child_too_young_waits_for_a_draw_check(
        self, ask, october, home, by
    ):
        booking = ask(10, cohorts=[october])
        Person.objects.filter(pk=child_of(booking).pk).update(birth_date=date(2016, 10, 1))
        october.first_session = date(2026, 9, 27)
        services.save_cohort(cohort=october, on=NOW, by=by)
        with pytest.raises(Refused, match="Record a draw check first; then the place goes along"):
            move(booking, home, by, takes_over=True)
        services.record_reach_check(person=child_of(booking), checked_by="Coach", on=NOW, by=by)
        _, own = move(booking, home, by, takes_over=True)
        assert own.state == "held"
        assert sound()

    def test_while_a_voucher_pays_what_would_be_taken_over(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        charge = booking.places.get().charge
        charging.accept_voucher(scheme=factories.scheme(), charge=charge, code="SV1", on=NOW, by=by)
        with pytest.raises(Refused, match="Press “Do not claim this voucher” on its page first"):
            move(booking, home, by, takes_over=True)
        assert again(booking).state == "held"

    def test_while_it_is_paid_in_parts(self, ask, october, home, by):
        booking = ask(12, cohorts=[october])
        charging.agree_parts(household=booking.household, parts=[(NOW, as_amount(126))], on=NOW, by=by)
        with pytest.raises(Refused, match="pays this fee in parts. End the arrangement first, or let it pay on."):
            move(booking, home, by, takes_over=True)
        assert child_of(booking).household == booking.household

    def test_by_one_of_the_two_families(self, ask, october, home, coordinator):
        booking = ask(12, cohorts=[october])
        add_to_family(household=home, user=coordinator, by=shell_user())
        with pytest.raises(Refused, match="Somebody else must do this"):
            move(booking, home, coordinator)
        assert child_of(booking).household == booking.household


class TestThePage:
    def test_shows_what_becomes_of_it_before_it_does_it(self, ask, october, home, by, client, coordinator):
        booking = ask(12, cohorts=[october])
        child = child_of(booking)
        client.force_login(coordinator)
        url = reverse("admin:roll_person_move", args=[child.pk])
        typed = {"household": str(home.pk), "takes_over": "on"}
        shown = client.post(url, form_of(client.get(url), **typed))
        words = shown.content.decode()
        assert shown.status_code == 200
        assert f"<dt>{home} owes</dt><dd>$126.00</dd>" in words
        assert "2 letters go out" in words
        assert Person.objects.get(pk=child.pk).household == booking.household
        done = client.post(url, form_of(shown), follow=True)
        assert f"{child} belongs to {home} from now on." in done.content.decode()
        assert fees.balance(home) == as_amount(126)
        assert sound()
