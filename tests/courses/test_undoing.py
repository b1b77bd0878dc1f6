"""A withdrawal is undone while the place is free, or offered on and not accepted yet."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clubdesk.courses import services
from clubdesk.courses.models import RefundStep
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method, Voucher
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories
from tests.courses.families import NOW, again, history, sound, states

pytestmark = pytest.mark.django_db


def pay(booking, amount, by):
    charging.record_receipt(household=booking.household, amount=as_amount(amount), method=Method.CARD, on=NOW, by=by)


def left(booking, by):
    """The party withdraws; gives the first place that it had."""
    services.withdraw(booking=booking, on=NOW, reason="camp", by=by)
    return booking.places.order_by("pk").first()


def back(place, by):
    return services.undo_withdrawal(place=place, on=NOW, by=by)


class TestTheSeat:
    def test_while_it_is_free_the_child_has_it_again(self, ask, october, by):
        booking = ask(12, cohorts=[october])
        gone = left(booking, by)
        place = back(gone, by)
        assert (place.cohort, place.state, again(booking).state) == (october, "held", "held")
        assert back(gone, by) == place
        assert states(booking) == ["withdrawn", "held"]
        assert history(booking)[-1] == "Withdrawal undone: Family01 in From 2026-10-04."
        assert sound()

    def test_offered_on_it_is_taken_back_and_that_family_is_told_kindly(self, ask, october, by):
        booking, _others, waiting = (
            ask(12, cohorts=[october]),
            ask(12, 12, cohorts=[october]),
            ask(12, cohorts=[october]),
        )
        gone = left(booking, by)
        assert again(waiting).state == "offered"
        back(gone, by)
        assert (again(booking).state, again(waiting).state) == ("held", "waiting")
        letter = Message.objects.filter(household=waiting.household).latest("pk").body
        assert "is not free after all" in letter
        assert "You owe nothing and keep your turn." in letter
        assert sound()

    def test_once_it_is_accepted_it_stays_with_who_accepted(self, ask, october, by):
        booking, _others, waiting = (
            ask(12, cohorts=[october]),
            ask(12, 12, cohorts=[october]),
            ask(12, cohorts=[october]),
        )
        gone = left(booking, by)
        services.accept_offer(booking=waiting, on=NOW, by=by)
        with pytest.raises(Refused, match="is somebody else’s by now"):
            back(gone, by)
        assert again(booking).state == "withdrawn"
        assert sound()

    def test_who_waited_has_the_old_turn_again(self, ask, october, by):
        ask(12, 12, 12, cohorts=[october])
        first, second = ask(12, cohorts=[october]), ask(12, cohorts=[october])
        gone = left(first, by)
        back(gone, by)
        assert (again(first).state, again(first).rank < again(second).rank) == ("waiting", True)
        assert sound()

    def test_one_of_a_party_comes_back_alone(self, ask, october, by):
        booking = ask(12, 12, cohorts=[october])
        gone = services.withdraw_place(place=booking.places.first(), on=NOW, reason="camp", by=by)
        back(gone, by)
        assert states(booking) == ["withdrawn", "held", "held"]
        assert sound()

    @pytest.mark.parametrize(("ends", "sentence"), [
        (lambda booking, by: services.cancel_cohort(
            cohort=booking.places.first().cohort, on=NOW, reason="flood", by=by), "is over or was cancelled"),
        (lambda booking, by: services.book_place(
            person=booking.places.first().person, cohort=booking.places.first().cohort, on=NOW, by=by), "already"),
    ])  # fmt: skip
    def test_what_cannot_be_is_refused_in_words(self, ask, october, ends, sentence, by):
        booking = ask(12, cohorts=[october])
        gone = left(booking, by)
        ends(booking, by)
        with pytest.raises(Refused, match=sentence):
            back(gone, by)

    def test_one_of_a_group_comes_back_though_the_other_has_lapsed_since(self, ask, october, by):
        booking = ask(12, 12, cohorts=[october], hold_only=True)
        gone = services.withdraw_place(place=booking.places.order_by("pk").first(), on=NOW, reason="camp", by=by)
        services.lapse_offers(on=NOW + timedelta(days=8), by=by)
        assert (again(booking).state, states(booking)) == ("lapsed", ["withdrawn", "lapsed"])
        back(gone, by)
        assert states(booking) == ["withdrawn", "lapsed", "offered"]
        assert sound()

    def test_a_withdrawal_is_undone_once_and_the_lapse_of_what_came_of_it_is_not(self, ask, october, by):
        booking = ask(12, cohorts=[october], hold_only=True)
        gone = left(booking, by)
        back(gone, by)
        services.lapse_offers(on=NOW + timedelta(days=8), by=by)
        with pytest.raises(Refused, match="has asked for Beginner course again since"):
            back(gone, by)
        assert states(booking) == ["withdrawn", "lapsed"]

    def test_a_place_that_is_held_was_never_given_up(self, ask, october, by):
        other = ask(12, cohorts=[october])
        services.lapse_offers(on=NOW, by=by)
        assert back(other.places.get(), by) == other.places.get()


class TestTheMoney:
    @pytest.fixture
    def course(self, october):
        RefundStep.objects.create(course=october.course, days_before=14, percent=50)
        return october.course

    @pytest.fixture
    def scheme(self, book):
        return factories.scheme()

    def test_what_was_kept_and_what_was_given_back_pay_the_fee_again(self, ask, october, by):
        booking = ask(12, cohorts=[october])
        pay(booking, 126, by)
        back(left(booking, by), by)
        assert fees.balance(booking.household) == as_amount(0)
        assert fees.open_amount(booking.places.get(state="held").charge) == as_amount(0)
        assert sound()

    def test_its_price_is_that_of_then_and_goodwill_stays(self, ask, october, by):
        booking = ask(12, cohorts=[october])
        charging.credit_charge(
            charge=booking.places.get().charge, amount=as_amount(20), on=NOW, reason="goodwill", by=by
        )
        gone = left(booking, by)
        october.course.fee_item.prices.create(valid_from=NOW, amount=as_amount(150))
        back(gone, by)
        assert fees.balance(booking.household) == as_amount(106)
        assert sound()

    @pytest.mark.parametrize("lodged", [False, True])
    def test_its_voucher_pays_it_again(self, ask, october, scheme, lodged, by):
        booking = ask(12, cohorts=[october])
        charging.accept_voucher(scheme=scheme, charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
        if lodged:
            charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        back(left(booking, by), by)
        charge = booking.places.get(state="held").charge
        standing = Voucher.objects.filter(charge=charge).exclude(state="released").get()
        assert (standing.amount, standing.state) == (as_amount(100), "lodged" if lodged else "accepted")
        assert fees.balance(booking.household) == as_amount(26)
        assert sound()

    def test_a_voucher_that_pays_something_else_by_now_stays_there(self, ask, october, scheme, by):
        booking = ask(12, cohorts=[october])
        RefundStep.objects.update(percent=100)
        charging.accept_voucher(scheme=scheme, charge=booking.places.get().charge, code="SV1", on=NOW, by=by)
        gone = left(booking, by)
        kit = factories.price(code="kit", amount="90.00")
        charge = charging.charge(
            household=booking.household, person=gone.person, price=kit, on=NOW, starts_on=NOW, by=by
        )
        charging.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        back(gone, by)
        assert fees.balance(booking.household) == as_amount(126)
        assert sound()


def test_the_coordinator_undoes_it_on_the_page_of_the_place(client, coordinator, ask, october, by):
    booking = ask(12, cohorts=[october])
    gone = left(booking, by)
    client.force_login(coordinator)
    url = reverse("admin:courses_place_undo", args=[gone.pk])
    page = client.get(url).content.decode()
    assert "Places free now" in page
    text = client.post(url, {"key": "9b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"}, follow=True).content.decode()
    assert "has a place in" in text
    assert (
        "Undo the withdrawal" not in client.get(reverse("admin:courses_place_change", args=[gone.pk])).content.decode()
    )
