"""Who a group is: a sibling waits with it, one of it leaves, another of the family comes in somebody's place."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.models import Course, Place
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, Method, Voucher
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Consent
from tests import factories, families
from tests.courses.families import NOW, OCTOBER, again, history, sound, states

pytestmark = pytest.mark.django_db


def sibling(booking, age=12, name="Bo"):
    return factories.PersonFactory(
        household=booking.household, given_name=name, family_name="Mirabar", birth_date=date(2026 - age, 3, 9)
    )


def letter(booking):
    return Message.objects.filter(household=booking.household).latest("pk")


@pytest.fixture
def waiting(ask, october):
    """One child that waits in front of another family, since the cohort is full."""
    ask(12, 12, 12, cohorts=[october])
    first, second = ask(12, cohorts=[october]), ask(12, cohorts=[october])
    assert first.rank < second.rank
    return first


def add(booking, person, by):
    return services.add_to_group(booking=booking, person=person, on=NOW, by=by)


class TestASiblingWaitsWithThem:
    def test_the_group_keeps_its_turn_and_wants_one_place_more(self, waiting, by):
        grown = add(waiting, sibling(waiting), by)
        assert (grown.seats, grown.state, grown.rank, selectors.position(grown)) == (2, "waiting", waiting.rank, 1)
        assert history(grown)[-1] == "Bo waits with the group, which keeps its turn and wants 2 places now."
        assert "Bo now waits together with you. You keep your turn" in letter(grown).body
        assert sound()

    def test_twice_is_once(self, waiting, by):
        bo = sibling(waiting)
        add(waiting, bo, by)
        assert add(waiting, bo, by).seats == 2
        assert len(history(waiting)) == 2

    def test_one_place_that_comes_free_is_not_theirs_any_more(self, waiting, by):
        add(waiting, sibling(waiting), by)
        services.withdraw_place(place=Place.objects.filter(state="held").first(), on=NOW, reason="camp", by=by)
        assert again(waiting).state == "waiting"
        services.withdraw_place(place=Place.objects.filter(state="held").first(), on=NOW, reason="camp", by=by)
        assert (again(waiting).state, states(waiting)) == ("waiting", ["waiting", "waiting"])
        assert sound()

    def test_the_familys_own_page_names_both_and_says_the_wait(self, waiting, client, by):
        add(waiting, sibling(waiting), by)
        page = client.get(families.booking_of(client, waiting)).content.decode()
        assert "Bo" in page
        assert "as number 1 in the queue" in page

    def test_who_has_a_place_waits_or_is_of_another_family_is_refused(self, waiting, ask, by):
        other = ask(12).places.get().person
        with pytest.raises(Refused, match="a booking is of one family, which pays"):
            add(waiting, other, by)
        bo = sibling(waiting)
        own = services.book_party(course=waiting.course, people=[bo], on=NOW, by=by)
        with pytest.raises(Refused, match="waitlist of Beginner course already: waiting"):
            add(waiting, bo, by)
        assert again(own).state == "waiting"

    def test_who_is_too_young_for_each_cohort_is_refused_unless_a_reach_check_stands(self, waiting, by):
        Course.objects.update(minimum_age=10)
        bo = sibling(waiting, age=8)
        with pytest.raises(Refused, match="takes people from 10. Record a draw check"):
            add(waiting, bo, by)
        services.record_reach_check(person=bo, checked_by="Ida", on=NOW, by=by)
        assert add(waiting, bo, by).seats == 2

    def test_a_cohort_that_they_cannot_make_makes_nobody_old_enough(self, waiting, february, by):
        Course.objects.update(minimum_age=10)
        bo = factories.PersonFactory(household=waiting.household, birth_date=date(2016, 12, 1))
        waiting.cannot_make.set([february])
        with pytest.raises(Refused, match="takes people from 10"):
            add(waiting, bo, by)

    def test_a_group_of_the_most_takes_nobody_in(self, waiting, by):
        for index in range(5):
            add(waiting, sibling(waiting, name=f"Bo{index}"), by)
        with pytest.raises(Refused, match="A group is at most 6 people; book a place for Cato alone"):
            add(waiting, sibling(waiting, name="Cato"), by)

    def test_once_it_has_places_or_an_offer_nobody_joins(self, ask, october, by):
        booking = ask(12, cohorts=[october])
        with pytest.raises(Refused, match=r"Only a booking that waits takes somebody in \(has a place\)"):
            add(booking, sibling(booking), by)
        held = ask(12, cohorts=[october], hold_only=True)
        with pytest.raises(Refused, match="offered a place"):
            add(held, sibling(held), by)

    def test_whose_details_were_erased_does_not_come(self, waiting, by):
        bo = sibling(waiting)
        type(bo).objects.filter(pk=bo.pk).update(erased_on=NOW)
        with pytest.raises(Refused, match="were erased"):
            add(waiting, bo, by)

    def test_the_coordinator_adds_on_the_page_of_the_booking(self, waiting, client, coordinator):
        url = reverse("admin:courses_booking_add-person", args=[waiting.pk])
        bo = sibling(waiting)
        client.force_login(coordinator)
        assert "Add one to the group" in client.get(url).content.decode()
        sent = {"person": bo.pk, "key": "9b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a02"}
        text = client.post(url, sent, follow=True).content.decode()
        assert "Family1" in text
        assert "The wait: " in text
        assert again(waiting).seats == 2


class TestOneOfThemLeaves:
    def test_the_others_of_a_waiting_group_keep_their_turn_and_are_offered_what_fits_now(self, ask, october, by):
        ask(12, 12, cohorts=[october])
        group = ask(12, 12, cohorts=[october])
        services.withdraw(booking=group, places=[group.places.last()], on=NOW, reason="camp", by=by)
        assert (again(group).state, again(group).seats, again(group).rank) == ("offered", 1, group.rank)
        assert states(group) == ["offered", "withdrawn"]
        assert sound()

    def test_the_others_of_a_group_with_places_keep_theirs(self, ask, october, by):
        group = ask(12, 12, cohorts=[october])
        services.withdraw_place(place=group.places.last(), on=NOW, reason="camp", by=by)
        assert (again(group).state, states(group)) == ("held", ["held", "withdrawn"])
        assert fees.balance(group.household) == as_amount(126)
        assert sound()

    def test_the_page_says_that_only_who_is_ticked_leaves(self, waiting, client, coordinator):
        client.force_login(coordinator)
        page = client.get(reverse("admin:courses_booking_withdraw", args=[waiting.pk])).content.decode()
        assert "the others keep their places, or their turn" in page


def swap(place, person, by, **more):
    return services.swap_person(place=place, person=person, on=NOW, reason="exams", by=by, **more)


@pytest.fixture
def held(ask, october):
    return ask(12, cohorts=[october]).places.get()


class TestAnotherComesInstead:
    def test_has_the_place_and_nobody_else_is_offered_it(self, held, ask, october, by):
        ask(12, 12, cohorts=[october])
        waits = ask(12, cohorts=[october])
        came = swap(held, sibling(held.booking), by)
        assert (came.person.given_name, came.cohort, came.state) == ("Bo", october, "held")
        assert (states(held.booking), again(held.booking).seats) == (["withdrawn", "held"], 1)
        assert again(waits).state == "waiting"
        assert history(held.booking)[-1] == "Bo comes to From 2026-10-04 in the place of Family01, exams."
        assert sound()

    def test_twice_is_once(self, held, by):
        bo = sibling(held.booking)
        came = swap(held, bo, by)
        assert swap(held, bo, by) == came
        assert Charge.objects.count() == 2

    def test_what_has_paid_the_fee_pays_it_again_also_where_something_older_is_owed(self, held, by):
        home, day = held.booking.household, {"on": NOW, "by": by}
        paid = {"amount": as_amount(126), "method": Method.CARD, "charges": [held.charge]}
        charging.record_receipt(household=home, **paid, **day)
        before = factories.price(code="kit", amount="90.00")
        older = charging.charge(household=home, price=before, starts_on=NOW, **day)
        came = swap(held, sibling(held.booking), by)
        assert (fees.open_amount(came.charge), fees.open_amount(older)) == (as_amount(0), as_amount(90))
        assert fees.balance(home) == as_amount(90)
        assert sound()

    def test_the_price_is_that_of_then_and_goodwill_stays(self, held, october, by):
        charging.credit_charge(charge=held.charge, amount=as_amount(20), on=NOW, reason="goodwill", by=by)
        october.course.fee_item.prices.create(valid_from=NOW, amount=as_amount(150))
        swap(held, sibling(held.booking), by)
        assert fees.balance(held.booking.household) == as_amount(106)
        assert sound()

    def test_an_adult_pays_the_fee_of_adults(self, held, october, by):
        dearer = factories.price(code="adult", amount="180.00")
        Course.objects.update(adult_fee_item=dearer.item)
        came = swap(held, sibling(held.booking, age=40), by)
        assert came.charge.amount == as_amount(180)
        assert fees.balance(held.booking.household) == as_amount(180)
        assert "The fee is $180.00, and was $126.00." in letter(held.booking).body
        assert sound()

    @pytest.mark.parametrize(("ends", "sentence"), [
        ((), "Press “Do not claim this voucher” on its page first"),
        (("lodge",), "Remove it from the claim first, or withdraw"),
        (("lodge", "pay"), r"\(paid\) pays this fee. Withdraw the place instead"),
    ])  # fmt: skip
    def test_a_voucher_of_the_one_is_not_the_others(self, held, ends, sentence, by):
        scheme, day = factories.scheme(), {"on": NOW, "by": by}
        charging.accept_voucher(scheme=scheme, charge=held.charge, code="SV1", **day)
        if ends:
            batch = charging.lodge_vouchers(scheme=scheme, **day)
        if "pay" in ends:
            charging.record_lodgement_paid(lodgement=batch, **day)
        with pytest.raises(Refused, match=sentence):
            swap(held, sibling(held.booking), by)

    def test_once_it_is_released_they_may_change(self, held, by):
        scheme, day = factories.scheme(), {"on": NOW, "by": by}
        charging.accept_voucher(scheme=scheme, charge=held.charge, code="SV1", **day)
        charging.release_voucher(voucher=Voucher.objects.get(), reason="another child comes", **day)
        swap(held, sibling(held.booking), by)
        assert fees.balance(held.booking.household) == as_amount(126)
        assert sound()

    def test_who_cannot_come_is_refused_in_words(self, held, ask, october, by):
        bo = sibling(held.booking, age=8)
        Course.objects.update(minimum_age=10)
        with pytest.raises(Refused, match="takes people from 10"):
            swap(held, bo, by)
        with pytest.raises(Refused, match="a booking is of one family"):
            swap(held, ask(12).places.get().person, by)
        with pytest.raises(Refused, match="already: has a place"):
            swap(held, held.person, by)

    def test_only_who_holds_a_place_that_has_not_begun_can_be_another(self, held, ask, october, by):
        ask(12, 12, cohorts=[october])
        waiting = ask(12, cohorts=[october])
        with pytest.raises(Refused, match="holds no place"):
            swap(waiting.places.get(), sibling(waiting), by)
        with pytest.raises(Refused, match="has begun; withdraw Family01"):
            services.swap_person(place=held, person=sibling(held.booking), on=OCTOBER, reason="exams", by=by)
        with pytest.raises(Refused, match="Say why"):
            services.swap_person(place=held, person=sibling(held.booking), on=NOW, reason=" ", by=by)

    def test_a_fee_that_is_paid_in_parts_is_agreed_on_first(self, held, by):
        home = held.booking.household
        charging.agree_parts(household=home, parts=[(OCTOBER, as_amount(126))], on=NOW, by=by)
        with pytest.raises(Refused, match="pays this fee in parts. End the arrangement first"):
            swap(held, sibling(held.booking), by)

    def test_what_the_course_asks_is_asked_for_the_new_one(self, held, by):
        Course.objects.update(consent_text="Photos may be taken.")
        bo = sibling(held.booking)
        with pytest.raises(Refused, match="Ask the family what the course asks of Bo"):
            swap(held, bo, by)
        swap(held, bo, by, agreed_by="Ida Mirabar")
        given = Consent.objects.get(household=held.booking.household)
        assert (given.given_by, given.wording) == ("Ida Mirabar", "Photos may be taken.")

    def test_nobody_has_given_up_who_sends_another(self, held, by):
        swap(held, sibling(held.booking), by)
        assert selectors.habits(held.course, NOW).given_up == 0

    def test_the_days_to_pay_begin_anew(self, held, by):
        Course.objects.update(pay_days=14)
        swap(held, sibling(held.booking), by)
        assert again(held.booking).pay_by == date(2026, 9, 26)

    def test_it_is_undone_by_changing_again_and_not_as_a_withdrawal(self, held, by):
        came = swap(held, sibling(held.booking), by)
        with pytest.raises(Refused, match="let them change again instead"):
            services.undo_withdrawal(place=held, on=NOW, by=by)
        back = swap(came, held.person, by)
        assert (back.person, back.state) == (held.person, "held")
        assert fees.balance(held.booking.household) == as_amount(126)
        assert sound()

    def test_the_coordinator_changes_it_on_the_page_of_the_place(self, held, client, coordinator):
        clock.set_today(NOW)
        Course.objects.update(consent_text="Photos may be taken.")
        bo = sibling(held.booking)
        url = reverse("admin:courses_place_swap", args=[held.pk])
        client.force_login(coordinator)
        page = client.get(url).content.decode()
        assert f"Fee if {bo} comes" in page
        assert "Photos may be taken." in page
        sent = {
            "person": bo.pk,
            "agreed_by": "Ida",
            "on": NOW,
            "reason": "exams",
            "key": "9b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a03",
        }
        assert "Bo has a place in" in client.post(url, sent, follow=True).content.decode()
        assert (
            "Undo the withdrawal"
            not in client.get(reverse("admin:courses_place_change", args=[held.pk])).content.decode()
        )
