"""The parents' page: it books for whoever asks, and tells nobody what the book knows of anybody."""

import re
import uuid
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.models import Booking, PageUse, Place, RefundStep
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.ledger.invariants import check_all
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Consent, Guardian, Household, Person
from tests import factories, families

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def cohort(book):
    return factories.cohort(capacity=2)


@pytest.fixture
def page(cohort):
    return reverse("book:course", args=[cohort.course_id])


def party(cohort, email="ida@example.org", children=(("Ada", "Mirabar", "2014-05-05"),), **more):
    """What the form sends for a guardian and some children."""
    form = {
        "key": str(uuid.uuid4()), "guardian": "Ida Mirabar", "email": email, "phone": "08 7010 0001", "seen": "yes",
        "cohorts": [cohort.pk], "consent": "on", "website": "",
        "person-TOTAL_FORMS": len(children), "person-INITIAL_FORMS": 0,
    }  # fmt: skip
    for index, (given, family, born) in enumerate(children):
        form |= {
            f"person-{index}-given_name": given,
            f"person-{index}-family_name": family,
            f"person-{index}-birth_date": born,
        }
    return form | more


class TestBooking:
    def test_a_new_family_books_with_one_form_and_is_written_to(self, client, cohort, page):
        answer = client.post(page, party(cohort))
        assert (answer.status_code, answer.url) == (302, "/book/thanks/")
        booking = Booking.objects.get()
        assert booking.state == "held"
        assert (booking.household.name, booking.guardian.name) == ("Mirabar family", "Ida Mirabar")
        letter = Message.objects.get()
        assert letter.to == "ida@example.org"
        assert "Ada has a place in Beginner course, From 2026-10-04" in letter.body
        assert Consent.objects.get().given_by == "Ida Mirabar"
        assert sound()

    def test_several_children_and_the_guardian_stay_together(self, client, cohort, page):
        children = (("Ada", "Mirabar", "2014-05-05"), ("Bela", "Mirabar", "2012-01-01"))
        client.post(page, party(cohort, children=(*children, ("Ida", "Mirabar", "1985-06-06"))))
        booking = Booking.objects.get()
        assert (booking.state, booking.seats) == ("waiting", 3)
        assert {str(place.person) for place in booking.places.all()} == {"Ada Mirabar", "Bela Mirabar", "Ida Mirabar"}

    def test_the_club_own_words_are_shown_and_kept(self, client, cohort, page):
        cohort.course.consent_text = "We take photos on the last day only."
        cohort.course.save()
        assert "photos on the last day" in client.get(page).content.decode()
        client.post(page, party(cohort))
        assert Consent.objects.get().wording == "We take photos on the last day only."

    def test_pressing_twice_books_once(self, client, cohort, page):
        form = party(cohort)
        for _ in range(3):
            assert client.post(page, form).status_code == 302
        assert Booking.objects.count() == Household.objects.count() == Message.objects.count() == 1

    def test_one_more_child_is_asked_for_and_nothing_typed_is_lost(self, client, cohort, page):
        answer = client.post(page, party(cohort, more="person"))
        text = answer.content.decode()
        assert answer.status_code == 200
        assert 'name="person-1-given_name"' in text
        assert 'value="Ada"' in text
        assert 'value="ida@example.org"' in text
        assert re.search(rf'name="cohorts" value="{cohort.pk}"[^>]* checked', text)
        assert "errorlist" not in text
        assert not Booking.objects.exists()

    @pytest.mark.parametrize(("wrong", "sentence"), [
        ({"email": "ida"}, "valid email address"),
        ({"consent": ""}, "We can only book with your agreement."),
        ({"cohorts": []}, "Tick at least one"),
        ({"person-0-birth_date": "2030-01-01"}, "That day has not come yet"),
        ({"person-0-birth_date": "sometime"}, "valid date"),
        ({"person-0-given_name": ""}, "Fill this in."),
        ({"phone": "abc 12"}, "at least six digits"),
        ({"cohorts": [999999]}, "not one of the available choices"),
        ({"key": "x"}, "Please put this right"),
    ])  # fmt: skip
    def test_what_is_wrong_is_said_and_nothing_is_saved(self, client, cohort, page, wrong, sentence):
        answer = client.post(page, party(cohort) | wrong)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert 'value="Ida Mirabar"' in answer.content.decode()
        assert not Household.objects.exists()

    @pytest.mark.parametrize("value", ["", "x" * 5000, "0", "-1", "9" * 30, "<script>", "\x00", "2026-02-30"])
    def test_nonsense_in_every_field_is_told_and_books_nothing(self, client, cohort, page, value):
        form = dict.fromkeys(party(cohort), value) | {"website": ""}
        assert client.post(page, form).status_code == 422
        assert client.post(page, form | {"more": "person"}).status_code == 200
        assert not Household.objects.exists()

    def test_a_younger_child_waits_for_a_draw_check(self, client, cohort, page):
        assert client.post(page, party(cohort, children=(("Ada", "Mirabar", "2018-05-05"),))).status_code == 302
        assert Booking.objects.get().state == "waiting"
        assert "We first look whether Ada can draw and hold a bow" in Message.objects.get().body

    def test_the_courses_own_rules_are_read_before_booking(self, client, cohort, page):
        RefundStep.objects.create(course=cohort.course, days_before=28, percent=100)
        cohort.course.pay_days = 14
        cohort.course.save()
        text = client.get(page).content.decode()
        assert "Please pay within 14 days." in text
        assert "gets back 100 % until 28 days before the first session, and nothing after that" in text
        assert "$126.00" in text

    def test_no_date_set_up_means_joining_the_waitlist(self, client, cohort, page):
        cohort.first_session = date(2026, 9, 6)
        cohort.save()
        form = party(cohort)
        del form["cohorts"]
        assert "No dates are set yet" in client.get(page).content.decode()
        client.post(page, form)
        assert Booking.objects.get().state == "waiting"

    def test_a_course_that_is_not_on_the_page_cannot_be_booked_there(self, client, cohort, page):
        cohort.course.on_parents_page = False
        cohort.course.save()
        assert client.post(page, party(cohort)).status_code == 404
        assert "No course can be booked" in client.get("/book/").content.decode()


class TestWhatItNeverTells:
    def answers(self, client, page, form):
        answer = client.post(page, form)
        return answer.status_code, answer.headers.get("Location"), client.get("/book/thanks/").content

    def test_the_answer_is_the_same_whether_or_not_a_family_or_child_is_known(self, client, cohort, page):
        new = self.answers(client, page, party(cohort))
        known_address = self.answers(client, page, party(cohort, children=(("Bela", "Mirabar", "2013-01-01"),)))
        known_child = self.answers(client, page, party(cohort))
        childs_name_only = self.answers(client, page, party(cohort, email="stranger@example.org"))
        assert new == known_address == known_child == childs_name_only

    def test_who_books_again_is_told_by_letter_to_the_known_address_only(self, client, cohort, page):
        client.post(page, party(cohort))
        client.post(page, party(cohort))
        assert [letter.subject for letter in Message.objects.order_by("pk")] == [
            "Beginner course: your booking",
            "Beginner course: you have booked already",
        ]
        assert Booking.objects.count() == 1

    def test_a_stranger_who_names_a_known_child_learns_nothing_and_reaches_nothing(self, client, cohort, page):
        client.post(page, party(cohort))
        client.post(page, party(cohort, email="stranger@example.org"))
        letters_out = Message.objects.order_by("pk")
        assert letters_out[1].to == "stranger@example.org"
        assert letters_out[1].subject == "Beginner course: your booking"
        assert Booking.objects.values("household").distinct().count() == 2
        assert Person.objects.filter(given_name="Ada").count() == 2

    def test_whoever_only_knows_an_address_puts_nobody_on_that_familys_roll(self, client, cohort, page):
        client.post(page, party(cohort))
        form = party(cohort, children=(("Uma", "Tarn", "2013-01-01"),), guardian="Ivo Tarn")
        client.post(page, form)
        assert Household.objects.count() == 2
        assert Household.objects.get(name="Mirabar family").people.count() == 1

    def test_an_address_is_known_whatever_its_case(self, client, cohort, page):
        client.post(page, party(cohort))
        client.post(page, party(cohort, email="Ida@Example.org", children=(("Bela", "Mirabar", "2013-01-01"),)))
        assert Household.objects.count() == 1
        assert Guardian.objects.get().email == "ida@example.org"

    def test_the_page_names_nobody(self, client, cohort, page):
        client.post(page, party(cohort))
        text = client.get(page).content.decode()
        assert "Mirabar" not in text
        assert "last seats" in text
        assert "1 seat left" not in text


class TestLimits:
    def test_a_program_that_fills_the_trap_gets_the_same_answer_and_books_nothing(self, client, cohort, page):
        answer = client.post(page, party(cohort, website="https://example.org"))
        assert (answer.status_code, answer.url) == (302, "/book/thanks/")
        assert not Household.objects.exists()

    def test_a_form_without_its_token_is_refused_in_words(self, cohort, page):
        strict = Client(enforce_csrf_checks=True)
        answer = strict.post(page, party(cohort))
        assert answer.status_code == 403
        assert "load the page again" in answer.content.decode()

    def test_so_many_an_hour_from_one_address(self, client, cohort, page):
        for number in range(12):
            assert client.post(page, party(cohort, email=f"f{number}@example.org")).status_code == 302
        refused = client.post(page, party(cohort, email="more@example.org"))
        assert refused.status_code == 429
        assert "Too many bookings" in refused.content.decode()
        assert 'value="more@example.org"' in refused.content.decode()
        elsewhere = client.post(page, party(cohort, email="more@example.org"), REMOTE_ADDR="203.0.113.9")
        assert elsewhere.status_code == 302
        PageUse.objects.update(at=timezone.now() - timedelta(hours=2))
        assert client.post(page, party(cohort, email="last@example.org")).status_code == 302

    def test_so_many_an_hour_for_one_e_mail_known_or_not(self, client, cohort, page):
        for number in range(5):
            form = party(cohort, children=((f"Child{number}", "Mirabar", "2014-05-05"),))
            assert client.post(page, form, REMOTE_ADDR=f"203.0.113.{number}").status_code == 302
        assert Booking.objects.count() == 4

    def test_behind_proxies_of_the_clubs_own_the_visitors_address_counts(self, rf, settings):
        from clubdesk.courses.views import address_of

        request = rf.get("/", HTTP_X_FORWARDED_FOR="6.6.6.6, 203.0.113.7, 198.51.100.2", REMOTE_ADDR="10.0.0.1")
        assert address_of(request) == "10.0.0.1"
        settings.PROXIES = 2
        assert address_of(request) == "203.0.113.7"

    def test_no_address_is_kept_and_the_digests_go_after_a_day(self, client, cohort, page):
        client.post(page, party(cohort))
        assert "127.0.0.1" not in str(list(PageUse.objects.values()))
        PageUse.objects.update(at=timezone.now() - timedelta(days=2))
        services.forget_page_uses()
        assert not PageUse.objects.exists()


class TestTheFamilysOwnPage:
    @pytest.fixture
    def four(self, client, cohort, page):
        """Two with places, two who wait."""
        for number in range(4):
            client.post(page, party(cohort, f"f{number}@example.org", ((f"Child{number}", "Mirabar", "2014-05-05"),)))
        return list(Booking.objects.order_by("number"))

    @pytest.fixture
    def own(self, client):
        return lambda booking: families.booking_of(client, booking)

    def test_it_shows_position_and_likely_wait_and_nobody_else(self, client, own, four):
        text = client.get(own(four[3])).content.decode()
        assert "Child3 waits for Beginner course, as number 2 in the queue." in text
        assert "ost likely" in text
        assert "Child2" not in text

    def test_an_offer_is_accepted_there(self, client, own, four, by):
        services.withdraw(booking=four[0], on=NOW, reason="ill", by=by)
        url = own(four[2])
        assert "Accept the offer" in client.get(url).content.decode()
        for _ in range(2):
            client.post(url, {"act": "accept"})
        assert Booking.objects.get(pk=four[2].pk).state == "held"
        assert four[2].events.last().recorded_by.username == "families"
        assert fees.balance(four[2].household) == as_amount("126.00")
        assert sound()

    def test_withdrawing_shows_what_is_given_back_before(self, client, own, four, cohort):
        RefundStep.objects.create(course=cohort.course, days_before=7, percent=50)
        url = own(four[0])
        assert "63.00" in client.get(url, {"leave": "1"}).content.decode()
        place = Place.objects.get(booking=four[0])
        assert client.post(url, {"reason": "moving"}).status_code == 422
        client.post(url, {"places": [place.pk], "reason": "moving"})
        assert Booking.objects.get(pk=four[0].pk).state == "withdrawn"
        assert Booking.objects.get(pk=four[2].pk).state == "offered"
        assert fees.balance(four[0].household) == as_amount("63.00")
        assert sound()

    def test_only_a_whole_link_opens_it(self, client, own, four):
        url = families.link(four[0].household)
        own(four[0])
        for wrong in (f"/book/own/{four[1].pk}/", url[:-2] + "/", "/book/own/1:x/"):
            answer = client.get(wrong)
            assert answer.status_code == 404
            assert "Child" not in answer.content.decode()

    def test_somebody_elses_place_is_not_withdrawn_by_it(self, client, own, four):
        foreign = Place.objects.get(booking=four[1])
        assert client.post(own(four[0]), {"places": [foreign.pk]}).status_code == 422
        assert Place.objects.get(pk=foreign.pk).state == "held"

    def test_pages_with_a_family_on_them_are_kept_nowhere(self, client, own, four):
        answer = client.get(own(four[0]))
        assert "no-store" in answer.headers["Cache-Control"]
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert "noindex" in answer.content.decode()


class TestCertificates:
    @pytest.fixture
    def certificate(self, client, cohort, page, by):
        client.post(page, party(cohort))
        place = Place.objects.get()
        for session in cohort.sessions[:3]:
            clock.set_today(session)
            services.record_attendance(cohort=cohort, session=session, present=[place], by=by)
        return services.issue_certificates(cohort=cohort, by=by)[0]

    def test_who_holds_it_can_check_it(self, client, certificate):
        check = {"number": certificate.shown_number, "family_name": "mirabar"}
        assert "is genuine" in client.get("/book/certificate/", check).content.decode()
        for wrong in ({"number": "1234 5678"}, {"family_name": "Solano"}):
            text = client.get("/book/certificate/", check | wrong).content.decode()
            assert "has issued no certificate" in text
            assert "Beginner course" not in text

    def test_the_family_opens_its_own_and_no_other(self, client, cohort, page, certificate):
        path = families.booking_of(client, certificate.place.booking)
        answer = client.get(f"{path}certificate/{certificate.pk}/")
        assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
        client.post(page, party(cohort, "f@example.org", (("Bela", "Solano", "2013-01-01"),)))
        other = families.booking_of(client, Booking.objects.latest("pk"))
        assert client.get(f"{other}certificate/{certificate.pk}/").status_code == 404
        assert client.get(f"/courses/certificate/{certificate.pk}/pdf/").status_code == 302


class TestWhoKnowsAnAddressAndAName:
    """Whoever can type a known family's address and name spends none of its money and learns nothing."""

    @pytest.fixture
    def known(self, book, by):
        household = factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar", email="ida@example.org")
        amount = as_amount(200)
        charging.record_receipt(household=household, amount=amount, method="card", on=NOW, by=by)
        return household

    def test_a_known_family_is_offered_its_places_and_owes_nothing_until_it_accepts(self, client, known, cohort, page):
        answer = client.post(page, party(cohort))
        assert (answer.status_code, answer.url) == (302, "/book/thanks/")
        booking = Booking.objects.get()
        assert (booking.state, booking.household) == ("offered", known)
        assert fees.unused_credit(known) == as_amount(200)
        assert "We hold this for you." in Message.objects.get().body
        client.post(families.booking_of(client, booking), {"act": "accept"})
        booking.refresh_from_db()
        assert booking.state == "held"
        assert fees.unused_credit(known) == as_amount("74.00")
        assert sound()

    def test_booked_already_is_told_once_to_the_guardian_who_asks(self, client, known, cohort, page):
        known.guardians.create(name="Ulf Mirabar", email="ulf@example.org")
        client.post(page, party(cohort))
        form = party(cohort, email="ulf@example.org", guardian="Ulf Mirabar")
        for _ in range(2):
            client.post(page, form)
        assert [letter.to for letter in Message.objects.order_by("pk")] == ["ida@example.org", "ulf@example.org"]
        assert Consent.objects.count() == 2

    def test_a_form_sent_again_with_another_child_books_that_child_too(self, client, cohort, page):
        form = party(cohort)
        client.post(page, form)
        client.post(page, form | {"person-0-given_name": "Bela"})
        assert {str(place.person) for place in Place.objects.all()} == {"Ada Mirabar", "Bela Mirabar"}
        assert Household.objects.count() == 1


class TestOddForms:
    """What a phone, or a hand, may send."""

    def test_a_row_left_blank_is_left_out(self, client, cohort, page):
        form = party(cohort, children=(("Ada", "Mirabar", "2014-05-05"), ("", "", "")))
        assert client.post(page, form).status_code == 302
        assert Place.objects.count() == 1

    @pytest.mark.parametrize("count", ["²", "9" * 400, "-1", "", "x"])
    def test_an_odd_number_of_rows_books_nothing(self, client, cohort, page, count):
        form = party(cohort) | {"person-TOTAL_FORMS": count}
        assert client.post(page, form).status_code == 422
        assert client.post(page, form | {"more": "person"}).status_code == 200
        assert not Household.objects.exists()

    @pytest.mark.parametrize("number", ["9223372036854775808", "-1", "²", "9" * 300])
    def test_a_cohort_that_no_row_has(self, client, cohort, page, number):
        assert client.post(page, party(cohort) | {"cohorts": [number]}).status_code == 422

    @pytest.mark.parametrize("born", ["0001-01-01", "1850-05-05", "2026-09-13", "2014-02-30"])
    def test_a_birth_date_that_cannot_be(self, client, cohort, page, born):
        form = party(cohort, children=(("Ada", "Mirabar", born),))
        assert client.post(page, form).status_code == 422
        assert not Household.objects.exists()
