"""One form for all of a family, the same for parents and coordinator; what it comes to is shown before it is done."""

import re
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from clubdesk.courses import services, words
from clubdesk.courses.admin.bookings import BookForm
from clubdesk.courses.forms import AskingForm, ParentsForm
from clubdesk.courses.models import Booking, Cohort, PageUse, Place
from clubdesk.fees.models import Charge, FeeKind
from clubdesk.mail.models import Message
from clubdesk.money import shown
from clubdesk.roll.models import Consent, Household, Person
from tests import factories
from tests.courses.families import NOW, again, family, sound
from tests.courses.test_parents_page import party
from tests.forms import form_of

pytestmark = pytest.mark.django_db
THREE = (("Ada", "Mirabar", "2014-05-05"), ("Bo", "Mirabar", "2018-01-05"), ("Uma", "Mirabar", "1985-06-06"))


def facts_of(answer):
    return dict(answer.context["facts"])


def looked(client, url, form):
    """The page that says what it comes to."""
    return client.post(url, {name: value for name, value in form.items() if name != "seen"})


@pytest.fixture
def page(october):
    return reverse("book:course", args=[october.course_id])


def test_both_pages_are_of_one_form():
    assert issubclass(ParentsForm, AskingForm)
    assert issubclass(BookForm, AskingForm)


class TestTheParentsPage:
    @pytest.fixture
    def course(self, course):
        course.adult_fee_item = factories.price(FeeKind.COURSE, "148.00", code="adult").item
        course.save()
        return course

    def test_it_says_first_what_is_charged_and_where_the_letter_goes_and_saves_nothing(
        self, client, october, course, page
    ):
        answer = looked(client, page, party(october, children=THREE[:1] + THREE[2:]))
        assert answer.status_code == 200
        told = facts_of(answer)
        assert told["For"] == "Ada Mirabar, Uma Mirabar"
        assert shown(told["Fee for Ada Mirabar"]) == "$126.00"
        assert shown(told["Fee for Uma Mirabar"]) == "$148.00"
        assert shown(told["You owe"]) == "$274.00"
        assert told["A letter goes to"] == "ida@example.org"
        assert "have places in Beginner course" in told["Then"]
        for model in (Household, Person, Booking, Charge, Message, Consent):
            assert not model.objects.exists()

    def test_what_it_says_is_what_is_then_done(self, client, october, course, page):
        answer = looked(client, page, party(october, children=THREE[:1] + THREE[2:]))
        done = client.post(page, form_of(answer, seen="yes"))
        assert (done.status_code, done.url) == (302, "/book/thanks/")
        fees = {f"Fee for {each.person}": each.amount for each in Charge.objects.all()}
        assert fees.items() <= facts_of(answer).items()
        assert Message.objects.get().to == facts_of(answer)["A letter goes to"]
        assert sound()

    def test_a_younger_child_is_told_of_the_draw_check_before(self, client, october, page):
        told = facts_of(looked(client, page, party(october, children=THREE)))
        assert "We first look whether Bo can draw and hold a bow" in told["Then"]
        assert shown(told["You owe"]) == "$0.00"

    def test_nothing_typed_is_lost_on_the_way_back(self, client, october, page):
        answer = looked(client, page, party(october, children=THREE))
        back = client.post(page, form_of(answer, change="yes"))
        text = back.content.decode()
        assert back.status_code == 200
        assert all(f'value="{value}"' in text for value in ("Ida Mirabar", "Bo", "2018-01-05", "ida@example.org"))
        assert re.search(rf'name="cohorts" value="{october.pk}"[^>]* checked', text)
        assert re.search(r'name="consent"[^>]* checked', text)
        assert "errorlist" not in text

    def test_what_the_club_knows_of_a_family_is_not_told_before(self, client, october, page, by):
        known = factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar", email="ida@example.org")
        child = factories.PersonFactory(
            household=known, given_name="Ada", family_name="Mirabar", birth_date=date(2014, 5, 5)
        )
        stranger = facts_of(looked(Client(), page, party(october, email="other@example.org")))
        asked = facts_of(looked(client, page, party(october)))
        assert asked == {**stranger, "A letter goes to": "ida@example.org"}
        services.book_party(course=october.course, people=[child], on=NOW, by=by)
        assert facts_of(looked(client, page, party(october)))["Then"] == stranger["Then"]

    def test_looking_is_limited_too(self, client, october, page):
        for _ in range(services.parents.MOST_AN_HOUR["look"]):
            assert looked(client, page, party(october)).status_code == 200
        assert looked(client, page, party(october)).status_code == 429
        assert PageUse.objects.exists()

    def test_six_rows_at_most_and_the_family_name_goes_along(self, client, october, page):
        form, numbers = party(october), []
        for _ in range(7):
            answer = client.post(page, {**form, "more": "person"})
            form = form_of(answer)
            numbers.append(int(form["person-TOTAL_FORMS"]))
        assert numbers == [2, 3, 4, 5, 6, 6, 6]
        assert form["person-5-family_name"] == "Mirabar"
        assert "Add another child or adult" not in answer.content.decode()

    def test_the_button_leads_back_to_the_new_row(self, client, october, page):
        text = client.get(page).content.decode()
        assert 'formaction="#person-1"' in text
        assert 'id="person-1"' in client.post(page, party(october, more="person")).content.decode()

    def test_each_date_says_its_days_its_age_and_its_fee(self, client, october, page):
        text = client.get(page).content.decode()
        assert "Sunday 4, 11, 18 and 25 October 2026, from age 10, $126.00" in text


class TestTheCoordinator:
    URL = "/courses/booking/add/"

    @pytest.fixture
    def desk(self, client, coordinator):
        client.force_login(coordinator)
        return client

    def typed(self, cohort, rows, **more):
        form = {
            "key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "guardian": "Ida Mirabar", "phone": "08 7010 1",
            "email": "ida@example.org", "cohorts": [cohort.pk],
            "person-TOTAL_FORMS": len(rows), "person-INITIAL_FORMS": 0,
        }  # fmt: skip
        for number, row in enumerate(rows):
            names = ("given_name", "family_name", "birth_date") if isinstance(row, tuple) else ("person",)
            values = row if isinstance(row, tuple) else (row.pk,)
            form |= {f"person-{number}-{name}": value for name, value in zip(names, values, strict=True)}
        return form | more

    def test_a_new_family_of_two_is_looked_at_and_booked(self, desk, october):
        form = self.typed(october, THREE[:1] + THREE[2:])
        answer = desk.post(self.URL, form)
        told = facts_of(answer)
        assert told["New on the roll"] == "Ada Mirabar, Uma Mirabar"
        assert shown(told["Charged for Ada Mirabar"]) == "$126.00"
        assert shown(told["Charged in all"]) == "$252.00"
        assert told["Letters"] == "1 letter goes out."
        assert not Household.objects.exists()
        done = desk.post(self.URL, {**form, "seen": answer.context["seen"]}, follow=True)
        assert "Ada and Uma have places" in done.content.decode()
        assert shown(sum(each.amount for each in Charge.objects.all())) == "$252.00"
        assert Message.objects.count() == 1
        assert Household.objects.get().name == "Mirabar family"

    def test_what_was_changed_after_looking_is_looked_at_again(self, desk, october):
        form = self.typed(october, THREE[:1])
        seen = desk.post(self.URL, form).context["seen"]
        answer = desk.post(self.URL, {**self.typed(october, THREE[:1] + THREE[2:]), "seen": seen})
        assert shown(facts_of(answer)["Charged in all"]) == "$252.00"
        assert not Booking.objects.exists()

    def test_children_of_the_roll_and_a_sibling_that_is_new_go_together(self, desk, october):
        (ada,) = family(12)
        form = self.typed(october, [ada, THREE[0]], guardian="", phone="", email="")
        answer = desk.post(self.URL, form)
        assert facts_of(answer)["New on the roll"] == "Ada Mirabar"
        desk.post(self.URL, {**form, "seen": answer.context["seen"]})
        booking = Booking.objects.get()
        assert booking.household == ada.household
        assert Place.objects.filter(booking=booking).count() == 2
        assert Household.objects.count() == 1

    def test_two_of_different_families_are_refused_as_it_is_looked_at(self, desk, october):
        ada, odo = family(12)[0], family(12, name="Odo")[0]
        answer = desk.post(self.URL, self.typed(october, [ada, odo], guardian="", email="", phone=""))
        assert "A booking is of one family, which pays" in answer.content.decode()
        assert not Booking.objects.exists()

    @pytest.mark.parametrize(
        ("rows", "more", "sentence"),
        [
            ([], {}, "Say who would like to do the course."),
            ([("Ada", "", "2014-05-05")], {}, "Choose somebody from the roll, or write names and date of birth."),
            ([THREE[0], THREE[0]], {}, "The same person stands here twice."),
            ([THREE[0]], {"guardian": ""}, "Write down the guardian of the new family."),
            ([THREE[0]], {"phone": "none"}, "at least six digits"),
        ],
    )
    def test_what_is_missing_is_said_and_all_stays(self, desk, october, rows, more, sentence):
        answer = desk.post(self.URL, self.typed(october, rows, **more))
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert not Household.objects.exists()

    def test_one_row_more_keeps_everything_and_says_no_fault_yet(self, desk, october):
        answer = desk.post(self.URL, self.typed(october, [("Ada", "Mirabar", "x")], more="person"))
        text = answer.content.decode()
        assert answer.status_code == 200
        assert 'id="person-1"' in text
        assert all(f'value="{value}"' in text for value in ("Ida Mirabar", "Ada", "x", "08 7010 1"))
        assert "errorlist" not in text

    def test_the_link_of_a_cohort_only_begins_the_form(self, desk, october):
        answer = desk.get(f"{self.URL}?cohorts={october.pk}")
        assert "errorlist" not in answer.content.decode()
        assert re.search(rf'name="cohorts" value="{october.pk}"[^>]* checked', answer.content.decode())

    def test_a_family_s_own_page_looks_first_too(self, desk, october):
        people = family(12, 14)
        url = reverse("admin:roll_household_book-course", args=[people[0].household_id])
        form = {"key": self.typed(october, [])["key"], "people": [each.pk for each in people], "cohorts": [october.pk]}
        answer = desk.post(url, form)
        assert shown(facts_of(answer)["Charged in all"]) == "$252.00"
        assert not Booking.objects.exists()
        desk.post(url, {**form, "seen": answer.context["seen"]})
        assert again(Booking.objects.get()).state == "held"

    def test_others_who_are_offered_a_place_by_it_are_counted(self, desk, october, ask):
        waiting = ask(12, 12, 12, 12)
        october.capacity = 4
        october.save(update_fields=["capacity"])
        told = facts_of(desk.post(self.URL, self.typed(october, THREE[:1])))
        assert told["Letters"] == "2 letters go out."
        assert again(waiting).state == "waiting"


@pytest.mark.parametrize(
    ("first", "last", "apart", "said"),
    [
        (date(2026, 10, 4), date(2026, 10, 25), 7, "Sunday 4, 11, 18 and 25 October 2026"),
        (date(2026, 9, 27), date(2026, 10, 11), 7, "Sunday 27 September, 4 and 11 October 2026"),
        (date(2026, 12, 27), date(2027, 1, 3), 7, "Sunday 27 December 2026 and 3 January 2027"),
        (date(2026, 10, 5), date(2026, 10, 7), 1, "5, 6 and 7 October 2026"),
        (date(2026, 10, 4), date(2026, 10, 4), 7, "Sunday 4 October 2026"),
        (date(2026, 10, 4), date(2026, 12, 13), 7, "11 days, Sunday 4 October 2026 to 13 December 2026"),
    ],
)
def test_the_days_of_a_cohort_in_words(first, last, apart, said):
    assert words.days_in_words(Cohort(first_session=first, last_session=last, days_between=apart)) == said
