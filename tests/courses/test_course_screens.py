"""The coordinator's screens of the courses: booking by phone, the queue, a cohort from its page."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.models import Booking, Certificate, Cohort
from clubdesk.errors import Refused
from clubdesk.mail.models import Message
from tests.courses.families import NOW, again, family, sound, states
from tests.forms import agreed, form_of

pytestmark = pytest.mark.django_db


class TestTheCoordinatorsScreens:
    KEY = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"

    @pytest.fixture
    def desk(self, client, coordinator):
        client.force_login(coordinator)
        return client

    def new_family(self, cohort, **more):
        return {
            "key": self.KEY, "guardian": "Ida Solano", "phone": "08 7010", "email": "ida@example.org",
            "person-TOTAL_FORMS": 1, "person-INITIAL_FORMS": 0, "person-0-given_name": "Ada",
            "person-0-family_name": "Solano", "person-0-birth_date": "2014-05-05", "cohorts": [cohort.pk], **more,
        }  # fmt: skip

    def test_a_parent_on_the_phone_takes_one_screen_of_eight_fields(self, desk, october):
        url = reverse("admin:courses_booking_add")
        form = desk.get(url).context["form"]
        assert len([*form.visible_fields(), *form.rows.forms[0].visible_fields()]) == 8
        for _ in range(2):
            answer = agreed(desk, url, self.new_family(october), follow=True)
        assert "Ada has a place in Beginner course" in answer.content.decode()
        assert Booking.objects.count() == 1
        again = self.new_family(october, key="6b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01")
        assert "born 5 May 2014, of Solano family is on the roll already" in desk.post(url, again).content.decode()

    def test_what_a_booking_comes_to_stands_directly_above_its_button(self, desk, october):
        page = desk.post(reverse("admin:courses_booking_add"), self.new_family(october)).content.decode()
        outcome, button = page.index('class="outcome"'), page.index('<div class="go">')
        assert page.index('name="guardian"') < outcome
        assert "New on the roll" in page[outcome:button]
        assert "<input" not in page[outcome:button].replace('<input type="hidden"', "")
        assert "New on the roll" not in page[:outcome]

    def test_who_is_on_the_roll_is_asked_before_the_guardian_of_a_new_family(self, desk, october):
        page = desk.get(reverse("admin:courses_booking_add")).content.decode()
        assert page.index("On the roll already") < page.index("Guardian’s name")

    @pytest.mark.parametrize(("wrong", "sentence"), [
        ({"guardian": ""}, "Write down the guardian of the new family."),
        ({"cohorts": []}, "Tick at least one"),
        ({"person-0-birth_date": "2034-05-05"}, "That day has not come yet"),
    ])  # fmt: skip
    def test_what_is_missing_is_said(self, desk, october, wrong, sentence):
        answer = desk.post(reverse("admin:courses_booking_add"), self.new_family(october) | wrong)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert not Booking.objects.exists()

    def test_a_family_books_together_from_its_own_page(self, desk, october):
        people = family(12, 14)
        url = reverse("admin:roll_household_book-course", args=[people[0].household_id])
        form = {"key": self.KEY, "people": [each.pk for each in people], "cohorts": [october.pk]}
        assert "Mirabar1 and Mirabar2 have places" in agreed(desk, url, form, follow=True).content.decode()

    def test_what_was_mistyped_is_refused_before_letters_go_out(self, desk, october, course, ask, by):
        ask(12, 12)
        october.first_session = date(2026, 9, 11)
        with pytest.raises(Refused, match="11 Sep 2026 has passed"):
            services.save_cohort(cohort=october, on=NOW, by=by)
        with pytest.raises(Refused, match="has not come yet"):
            (child,) = family(9, name="Young")
            services.record_reach_check(person=child, checked_by="Coach", on=date(2027, 9, 12), by=by)
        url = reverse("admin:courses_cohort_add")
        form = {"course": course.pk, "name": "X", "first_session": "2026-12-06", "last_session": "2026-11-06",
                "days_between": 0, "capacity": 2}  # fmt: skip
        text = desk.post(url, form).content.decode()
        assert "The last session is before the first." in text
        assert "Constraint" not in text
        steps = {"refund_steps-TOTAL_FORMS": 2, "refund_steps-INITIAL_FORMS": 0, "refund_steps-0-days_before": 28,
                 "refund_steps-0-percent": 10, "refund_steps-1-days_before": 7, "refund_steps-1-percent": 90,
                 "name": course.name, "fee_item": course.fee_item_id, "minimum_age": 10, "offer_days": 7,
                 "sessions_to_complete": 3, "reminder_days": 7}  # fmt: skip
        text = desk.post(reverse("admin:courses_course_change", args=[course.pk]), steps).content.decode()
        assert "Who withdraws later would get more back" in text

    def test_a_new_cohort_says_who_was_offered_its_seats(self, desk, course, ask):
        ask(12, 12, 12)
        ask(12, 12)
        form = {"course": course.pk, "name": "Summer", "first_session": "2026-12-06", "last_session": "2026-12-27",
                "days_between": 7, "capacity": 2}  # fmt: skip
        first = desk.post(reverse("admin:courses_cohort_add"), form).content.decode()
        assert "Nothing is saved yet." in first
        assert "Places offered: 2 to Family1 family" in first
        assert "Letters: 1 letter goes out." in first
        assert not Cohort.objects.filter(name="Summer").exists()
        asked = form_of(desk.post(reverse("admin:courses_cohort_add"), form))
        text = desk.post(reverse("admin:courses_cohort_add"), asked, follow=True).content.decode()
        assert "1 waiting bookings were offered 2 seats" in text

    def test_a_cohort_tells_only_of_the_offers_that_it_made_itself(self, october, course, ask, by):
        full, waiting, other = ask(12, 12, 12), ask(12, 12), ask(12)
        saved = services.save_cohort(cohort=october, on=NOW, by=by)
        assert (saved.offered, saved.seats) == ((), 0)
        services.withdraw(booking=full, places=full.places.all()[:2], on=NOW, reason="ill", by=by)
        assert again(waiting).state == "offered"
        october.capacity = 4
        saved = services.save_cohort(cohort=october, on=NOW, by=by)
        assert (list(saved.offered), saved.seats) == ([other], 1)

    def test_the_finder_finds_who_waits_only_where_the_order_asks(self, desk, ask):
        held, waiting = ask(12, 12, 12), ask(12)

        def found(model, field):
            asked = {"app_label": "courses", "model_name": model, "field_name": field, "term": ""}
            answer = desk.get(reverse("admin:autocomplete"), asked).json()
            return {int(row["id"]) for row in answer["results"]}

        assert found("bookingevent", "booking") == {waiting.pk}
        assert found("place", "booking") == {held.pk, waiting.pk}

    def test_who_may_only_look_does_nothing(self, auditor, ask):
        booking = ask(12)
        with pytest.raises(Refused, match="Withdraw: your sign-in may not do that"):
            services.withdraw(booking=booking, on=NOW, reason="ill", by=auditor)
        with pytest.raises(Refused, match="your sign-in may not do that"):
            services.lapse_offers_of(course=booking.course, on=NOW, by=auditor)

    def test_withdrawing_says_what_became_of_the_money_and_the_seat(self, desk, october, ask):
        full, waiting = ask(12, 12, 12), ask(12)
        waiting.guardian.email = ""
        waiting.guardian.save()
        url = reverse("admin:courses_booking_withdraw", args=[full.pk])
        assert desk.get(url).content.decode().count(" checked") == 0
        form = {"key": self.KEY, "places": [full.places.first().pk], "on": "2026-09-12", "reason": "too busy"}
        text = desk.post(url, form, follow=True).content.decode()
        assert "Withdrawn: Family01, too busy; $126.00 of the fee credited." in text
        assert "Family1 family: Offered 1 place in From 2026-10-04 until 19 Sep 2026." in text

    def test_a_family_without_e_mail_is_to_be_told_by_phone(self, desk, october):
        url = reverse("admin:courses_booking_add")
        text = agreed(desk, url, self.new_family(october, email=""), follow=True).content.decode()
        assert "No letter can go out" in text
        assert "tell them yourself on 08 7010" in text

    def test_the_pages_of_a_booking_do_what_they_say(self, desk, october, february, ask, by):
        full, waiting, last = ask(12, 12, 12, cohorts=[october]), ask(12, cohorts=[october]), ask(12, cohorts=[october])
        page = lambda booking, slug: reverse(f"admin:courses_booking_{slug}", args=[booking.pk])  # noqa: E731
        moved = {"key": self.KEY, "before": waiting.pk, "reason": "promised"}
        assert "or the end of the waitlist" in desk.post(page(last, "move"), moved | {"last": "on"}).content.decode()
        desk.post(page(last, "move"), moved)
        assert selectors.position(again(last)) == 1
        desk.post(page(waiting, "cohorts"), {"key": self.KEY, "cannot_make": [october.pk]})
        assert again(waiting).state == "offered"
        assert waiting.places.get().cohort == february
        desk.post(page(waiting, "accept"), {"key": self.KEY, "on": "2026-09-12"})
        assert again(waiting).state == "held"
        places = [place.pk for place in full.places.all()]
        form = {"key": self.KEY, "places": places[:2], "cohort": february.pk, "on": "2026-09-12", "reason": "camp"}
        assert "moved" not in desk.post(page(full, "transfer"), form, follow=True).content.decode()
        assert again(last).state == "offered"
        form = {"key": self.KEY, "places": places[2:], "on": "2026-09-12", "reason": "ill"}
        desk.post(page(full, "withdraw"), form)
        assert sorted(states(full)) == ["held", "held", "withdrawn"]
        text = desk.get(reverse("admin:courses_booking_change", args=[full.pk])).content.decode()
        assert "Transferred from From 2026-10-04 to From 2027-02-07: Family01 and Family02, camp." in text
        assert "Beginner course: transferred" in text
        assert sound()

    def test_the_cohort_page_says_what_to_do_next_each_a_click(self, desk, october, ask, by):
        ask(12, 12)
        ask(12, 12)
        single = ask(12)
        text = desk.get(reverse("admin:courses_cohort_change", args=[october.pk])).content.decode()
        assert "3 of 3 seats taken: 3 held, 0 offered" in text
        assert "Record their payment" in text
        assert "1 booking waits for Beginner course" in text
        services.withdraw(booking=single, on=NOW, reason="ill", by=by)
        with clock.on(date(2026, 10, 26)):
            form = {"key": self.KEY, "session": "2026-10-04",
                    "present": [place.pk for place in october.places.filter(state="held")]}  # fmt: skip
            url = reverse("admin:courses_cohort_attendance", args=[october.pk])
            for day in ("2026-10-04", "2026-10-11", "2026-10-18"):
                assert desk.post(url, form | {"session": day}).status_code == 302
            desk.post(url, form | {"session": "2026-10-25", "present": []})
            first = desk.get(url, {"session": "2026-10-04"}).content.decode()
            assert "Who came on Sunday, 4 October 2026" in first
            assert (first.count(" checked"), desk.get(url).content.decode().count(" checked")) == (2, 0)
            desk.post(reverse("admin:courses_cohort_certificates", args=[october.pk]), {"key": self.KEY})
            assert Certificate.objects.count() == 2
            sheet = desk.get(reverse("admin:course_sheet", args=[october.pk])).content.decode()
            assert sheet.count('aria-label="came"') == 6
            assert "08 7010" in sheet

    def test_cancelling_a_cohort_shows_first_what_is_credited(self, desk, october, ask):
        ask(12, 12)
        url = reverse("admin:courses_cohort_cancel", args=[october.pk])
        assert "252.00" in desk.get(url).content.decode()
        desk.post(url, {"key": self.KEY, "on": "2026-09-12", "reason": "flood"})
        october.refresh_from_db()
        assert october.cancelled_on == NOW
        assert sound()

    def test_the_course_page_shows_the_queue_with_the_likely_wait_and_the_figures(self, desk, course, ask):
        ask(12, 12, 12)
        ask(12)
        text = desk.get(reverse("admin:courses_course_change", args=[course.pk])).content.decode()
        assert "about January 2027 (" in text
        assert "of 16 places booked half a year ahead about 12 are kept" in text
        assert "378.00" in text

    def test_a_letter_that_failed_is_sent_to_another_guardian_and_to_nobody_else(self, desk, ask):
        household = ask(12).household
        household.guardians.create(name="Ulf Mirabar", email="right@example.org")
        letter = Message.objects.get()
        Message.objects.update(state="failed", outcome="550 no such mailbox")
        url = reverse("admin:mail_message_send-again", args=[letter.pk])
        assert "550 no such mailbox" in desk.get(url).content.decode()
        assert desk.post(url, {"key": self.KEY, "to": "stranger@example.org"}).status_code == 422
        desk.post(url, {"key": self.KEY, "to": "right@example.org"})
        letter.refresh_from_db()
        assert (letter.state, letter.to) == ("waiting", "right@example.org")
        page = desk.get(reverse("admin:mail_message_change", args=[letter.pk])).content.decode()
        assert "shown only to them" in page
        assert "/book/own/" not in page
