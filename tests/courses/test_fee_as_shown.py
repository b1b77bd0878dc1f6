"""A family is charged the fee that it was shown: each date has its own, and an offer keeps its price."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.fees.models import FeePrice
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories, families
from tests.courses.families import NOW, OCTOBER, again, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def dearer(october):
    """From January on the course costs 140.00."""
    item = october.course.fee_item
    return FeePrice.objects.create(item=item, valid_from=date(2027, 1, 1), amount=as_amount(140))


class TestTheParentsPage:
    def page(self, client, course):
        return client.get(reverse("book:course", args=[course.pk])).content.decode()

    def test_each_date_shows_its_own_fee(self, client, course, october, february, dearer):
        text = self.page(client, course)
        assert f"{october.name}: Sunday 4, 11, 18 and 25 October 2026, from age 10, $126.00" in text
        assert f"{february.name}: Sunday 7, 14 and 21 February 2027, from age 10, $140.00" in text
        assert "<dt>Fee</dt>" not in text

    def test_adults_see_theirs(self, client, course, october):
        course.adult_fee_item = factories.price(code="adults", amount="150.00").item
        course.save()
        assert "$126.00, adults $150.00" in self.page(client, course)

    def test_a_date_without_a_price_names_none(self, client, course, october):
        FeePrice.objects.filter(item=course.fee_item).update(valid_until=date(2026, 9, 30))
        assert "from age 10 (" in self.page(client, course)

    def test_where_no_date_is_set_the_fee_is_that_of_today(self, client, course, october, dearer):
        clock.set_today(OCTOBER + timedelta(days=1))
        assert "<dt>Fee</dt><dd>$126.00</dd>" in self.page(client, course)


class TestAnOfferKeepsItsPrice:
    @pytest.fixture
    def offered(self, ask, february, by):
        full, waiting = ask(12, 12, 12, cohorts=[february]), ask(12, cohorts=[february])
        services.withdraw(booking=full, on=NOW, reason="ill", by=by)
        return again(waiting)

    def letter(self, booking):
        return Message.objects.filter(household=booking.household).latest("pk").body

    def test_what_the_letter_quotes_is_charged_though_the_price_has_risen(self, offered, dearer, client, by):
        assert "The fee is $126.00." in self.letter(offered)
        assert "The fee is $126.00." in client.get(families.booking_of(client, offered)).content.decode()
        accepted = services.accept_offer(booking=offered, on=NOW, by=by)
        assert accepted.places.get().charge.amount == as_amount(126)
        assert sound()

    def test_once_it_has_lapsed_the_next_offer_is_at_the_price_of_then(self, offered, dearer, february, by):
        services.lapse_offers(on=NOW + timedelta(days=8), by=by)
        person = offered.places.get().person
        clock.set_today(NOW + timedelta(days=8))
        place = services.book_place(person=person, cohort=february, on=clock.today(), by=by)
        assert place.charge.amount == as_amount(140)

    def test_a_price_that_is_offered_is_not_changed_meanwhile(self, ask, february, dearer, by):
        held = ask(12, cohorts=[february], hold_only=True)
        assert held.places.get().offered_price == dearer
        with pytest.raises(IntegrityError, match="was offered a place at this price"), transaction.atomic():
            FeePrice.objects.filter(pk=dearer.pk).update(amount=as_amount(130))
        services.withdraw(booking=held, on=NOW, reason="ill", by=by)
        FeePrice.objects.filter(pk=dearer.pk).update(amount=as_amount(130))

    def test_a_cancelled_cohort_takes_its_price_along(self, offered, dearer, february, by):
        services.cancel_cohort(cohort=february, on=NOW, reason="flood", by=by)
        assert offered.places.get().offered_price is None
        factories.cohort(capacity=3, first=date(2027, 4, 4))
        services.offer_free_seats(course=february.course, on=NOW, by=by)
        assert "The fee is $140.00." in self.letter(offered)
