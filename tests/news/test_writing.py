"""Writing to many: one letter a family, in plain words with fields, once, and news to nobody who wants none."""

import html
import re
import uuid
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from clubdesk import clock
from clubdesk.care import services as care
from clubdesk.care.models import Kind
from clubdesk.courses import services as courses
from clubdesk.demoing import Demo
from clubdesk.errors import Refused
from clubdesk.mail.fields import FIELD, filled
from clubdesk.mail.models import Message
from clubdesk.news.demo import plan
from clubdesk.news.models import Concern, Writing
from clubdesk.news.selectors import To
from clubdesk.roll import links
from clubdesk.roll import services as roll
from clubdesk.roll.models import Guardian, Household
from tests import factories, families
from tests.forms import form_of
from tests.news.conftest import NOW, write

pytestmark = pytest.mark.django_db


class TestALetter:
    def test_is_one_for_a_family_with_all_its_children(self, family):
        family("Quoll", "Ada", "Ben", "Cy")
        write(subject="For {children}", text="Dear {guardian}, {children} of the {family} come.\n\nSee you at {club}.")
        letter = Message.objects.get()
        assert letter.subject == "For Ada, Ben and Cy"
        assert "Hello Ida Quoll,\n\nDear Ida Quoll, Ada, Ben and Cy of the Quoll family come." in letter.body
        assert "See you at Reedbank Archers." in letter.body
        assert (letter.is_news, letter.link_path) == (True, "/news/")
        assert "To end it, open this and tap once:\n{link}" in letter.body

    def test_about_their_own_matter_leads_to_their_page_and_ends_no_news(self, family):
        family("Quoll", "Ada")
        write(concern=Concern.OWN)
        letter = Message.objects.get()
        assert (letter.is_news, letter.link_path) == (False, "/account/")
        assert "To end it" not in letter.body

    def test_names_only_the_children_whom_it_concerns(self, family):
        home, (_, ben) = family("Quoll", "Ada", "Ben")
        write(To("one", {home.pk: [ben.pk]}), text="{children} only.")
        assert "Ben only." in Message.objects.get().body

    def test_says_that_there_is_no_date_where_none_is(self, family):
        family("Quoll", "Ada")
        write(text="Next:\n{next dates}")
        assert "Next:\nno dates yet" in Message.objects.get().body

    def test_is_kept_as_it_was_written_with_how_many_it_went_to(self, family, by):
        family("Quoll", "Ada")
        family("Bilby", "Cy", email="")
        home, _ = family("Numbat", "Di")
        roll.end_news(guardian=home.guardians.get(), by=by)
        kept = write()
        assert (kept.letters, kept.without_address, kept.declined, kept.had_it) == (1, 1, 1, 0)
        assert kept.audience == "All families"
        with pytest.raises(Exception, match="A letter to many keeps what the ledger says of it"):
            Writing.objects.filter(pk=kept.pk).update(text="other")

    @pytest.mark.parametrize("name", ["child", "link", "", "Children"])
    def test_with_an_unknown_field_is_refused_in_a_sentence_that_names_those_there_are(self, family, name):
        family("Quoll", "Ada")
        with pytest.raises(Refused, match=r"is no field; nobody could fill it in. You can use \{children\}, \{guard"):
            write(text=f"Hello {{{name}}}")
        assert Message.objects.count() == 0

    def test_to_nobody_is_refused(self, book):
        with pytest.raises(Refused, match="There is nobody to write to"):
            write()

    def test_names_of_fields_in_a_name_are_not_filled_in_again(self, family):
        family("Quoll", "{guardian}")
        write(text="For {children}.")
        assert "For {guardian}." in Message.objects.get().body


@given(values=st.dictionaries(st.sampled_from(["children", "club"]), st.text()), text=st.text())
def test_text_without_fields_stays_as_it_is(values, text):
    plain = FIELD.sub("", text)
    if not FIELD.search(plain):
        assert filled(plain, values) == plain


class TestOnce:
    def test_a_second_press_of_the_button_writes_nothing_more(self, family):
        family("Quoll", "Ada")
        key = uuid.uuid4()
        assert write(key=key) == write(key=key)
        assert Message.objects.count() == 1

    def test_the_same_letter_to_two_cohorts_reaches_a_family_of_both_once(self, family):
        home, (ada, ben) = family("Quoll", "Ada", "Ben")
        other, (cy,) = family("Bilby", "Cy")
        write(To("first", {home.pk: [ada.pk]}))
        second = write(To("second", {home.pk: [ben.pk], other.pk: [cy.pk]}))
        assert (second.letters, second.had_it) == (1, 1)
        assert Message.objects.filter(household=home).count() == 1

    def test_a_week_later_the_same_words_are_a_new_letter(self, family):
        family("Quoll", "Ada")
        write()
        clock.set_today(NOW + timedelta(days=7))
        assert write().letters == 1

    def test_other_words_are_another_letter(self, family):
        family("Quoll", "Ada")
        write()
        write(text="The fair is on Sunday.")
        assert Message.objects.count() == 2


class TestNews:
    def test_goes_to_nobody_who_said_no(self, family, by):
        home, _ = family("Quoll", "Ada")
        family("Bilby", "Cy")
        roll.end_news(guardian=home.guardians.get(), by=by)
        write()
        assert [str(each.household) for each in Message.objects.all()] == ["Bilby family"]

    def test_goes_to_the_other_guardian_who_has_not_ended_it(self, family, by):
        home, _ = family("Quoll", "Ada")
        Guardian.objects.create(household=home, name="Otto", email="otto@example.org")
        roll.end_news(guardian=home.guardians.first(), by=by)
        write()
        assert Message.objects.get().to == "otto@example.org"

    def test_their_own_matter_reaches_them_all_the_same(self, family, by):
        home, _ = family("Quoll", "Ada")
        roll.end_news(guardian=home.guardians.get(), by=by)
        write(concern=Concern.OWN)
        assert Message.objects.get().to == "quoll@example.org"

    def test_ends_by_the_link_of_a_letter_and_one_button(self, family, client):
        home, _ = family("Quoll", "Ada")
        page = families.page_of(client, home, "/news/")
        assert "End the news" in client.get(page).content.decode()
        assert home.guardians.get().news_ended_at is None
        client.post(page, {"do": "end"})
        assert home.guardians.get().news_ended_at == clock.now()
        assert "I agree: send me your news again" in client.get(page).content.decode()
        client.post(page, {"do": "take-up"})
        assert home.guardians.get().news_ended_at is None

    def test_is_agreed_to_in_the_words_that_were_shown_with_their_version_and_who_said_so_when(
        self, family, client, by
    ):
        home, _ = family("Quoll", "Ada")
        care.write_text(kind=Kind.NEWS, text="News once a month.", asks_anew=False, on=clock.today(), by=by)
        page = families.page_of(client, home, "/news/")
        assert "News once a month. (Version 1)" in client.get(page).content.decode()
        for do in ("take-up", "take-up", "end", "end", "take-up"):
            client.post(page, {"do": do})
        said = home.news_choices.order_by("pk").values_list("said_by", "wanted", "version", "wording")
        name = home.guardians.get().name
        agreed = (name, True, 1, "News once a month.")
        assert list(said) == [agreed, (name, False, 0, ""), agreed]
        with pytest.raises(DatabaseError, match="A choice keeps what the ledger says of it"), transaction.atomic():
            home.news_choices.update(wanted=False)

    def test_is_agreed_to_again_once_the_words_are_new_and_nobody_is_asked_anew(self, family, client, by):
        home, _ = family("Quoll", "Ada")
        page = families.page_of(client, home, "/news/")
        client.post(page, {"do": "take-up"})
        assert "I agree" not in client.get(page).content.decode()
        with pytest.raises(Refused, match="can be ended by one tap, so nobody is asked anew"):
            care.write_text(kind=Kind.NEWS, text="Other words.", asks_anew=True, on=clock.today(), by=by)
        care.write_text(kind=Kind.NEWS, text="Other words.", asks_anew=False, on=clock.today(), by=by)
        assert "I agree: send me your news" in client.get(page).content.decode()
        assert home.guardians.get().news_ended_at is None

    def test_stands_with_what_is_held_of_the_family_and_is_erased_with_it(self, family, client, coordinator):
        home, _ = family("Quoll", "Ada")
        client.post(families.page_of(client, home, "/news/"), {"do": "end"})
        client.force_login(coordinator)
        page = client.get(reverse("admin:roll_household_change", args=[home.pk])).content.decode()
        assert "ended it" in page
        home.news_choices.update(said_by="Erased")
        with pytest.raises(DatabaseError, match="Who said so stays written"), transaction.atomic():
            home.news_choices.update(said_by="Otto")

    def test_ends_by_a_tap_in_the_mail_program(self, family, client):
        # Source: RFC 8058 section 3.1: a post of those words, without a cookie, answered without a redirect.
        home, _ = family("Quoll", "Ada")
        link = links.path_for(home.guardians.get(), "/news/")
        answer = client.post(link, {"List-Unsubscribe": "One-Click"})
        assert (answer.status_code, answer.cookies) == (200, {})
        assert home.guardians.get().news_ended_at
        client.post(link, {"List-Unsubscribe": "One-Click"})
        assert home.guardians.get().news_ended_at == clock.now()

    def test_does_not_end_by_a_link_that_was_ended_nor_by_looking_at_it(self, family, client, by):
        home, _ = family("Quoll", "Ada")
        link = links.path_for(home.guardians.get(), "/news/")
        client.get(link)
        assert home.guardians.get().news_ended_at is None
        roll.end_links(household=home, by=by)
        assert client.post(link, {"List-Unsubscribe": "One-Click"}).status_code == 404
        assert home.guardians.get().news_ended_at is None

    def test_is_ended_and_taken_up_by_the_coordinator(self, family, client, coordinator):
        home, _ = family("Quoll", "Ada")
        client.force_login(coordinator)
        for slug, ended in (("end-news", True), ("take-up-news", False)):
            url = reverse(f"admin:roll_household_{slug}", args=[home.pk])
            client.post(url, form_of(client.get(url), guardian=home.guardians.get().pk))
            assert bool(home.guardians.get().news_ended_at) is ended

    def test_stands_on_the_familys_own_page(self, family, client):
        home, _ = family("Quoll", "Ada")
        assert "Our news: end it or have it again" in client.get(families.page_of(client, home)).content.decode()

    def test_does_not_keep_from_a_family_that_the_clubs_account_is_new(self, family, by):
        home, (ada,) = family("Quoll", "Ada")
        factories.paid_into()
        factories.paid_into(bsb="012-003", account_number="4500124")
        write()
        courses.book_place(person=ada, cohort=factories.cohort(), on=NOW, by=by)
        assert "4500124" in Message.objects.filter(household=home, is_news=False).latest("pk").body


class TestThePage:
    @pytest.fixture
    def page(self, client, coordinator):
        client.force_login(coordinator)
        return reverse("admin:write_to_families")

    def typed(self, client, page, **more):
        given = {"to": "families:0", "concern": "news", "subject": "Fair", "text": "Come, {children}."}
        return form_of(client.get(page), **{**given, **more})

    def test_shows_first_what_goes_to_whom_and_sends_nothing(self, client, page, family):
        for number in range(5):
            family(f"Quoll{number}", "Ada")
        family("Bilby", "Cy", email="", phone="(08) 7010 0001")
        shown = client.post(page, self.typed(client, page)).content.decode()
        assert "5 letters go out" in shown
        assert shown.count('class="letter"') == 3
        assert "Come, Ada." in shown
        assert 'href="tel:0870100001"' in shown
        assert Message.objects.count() == Writing.objects.count() == 0

    def test_sends_at_the_second_press_and_once(self, client, page, family):
        family("Quoll", "Ada")
        looked = client.post(page, self.typed(client, page))
        sent = form_of(looked, do="send")
        for _ in range(2):
            answer = client.post(page, sent)
            assert answer.url == reverse("admin:news_writing_change", args=[Writing.objects.get().pk])
        assert Message.objects.count() == 1

    def test_shows_again_what_was_changed_after_it_was_looked_at(self, client, page, family):
        family("Quoll", "Ada")
        looked = client.post(page, self.typed(client, page))
        again = client.post(page, form_of(looked, do="send", text="Other words."))
        assert "Other words." in again.content.decode()
        assert Message.objects.count() == 0

    def test_a_test_goes_to_whoever_writes_with_invented_children(self, client, page, family, coordinator):
        coordinator.email = "co@example.org"
        coordinator.save()
        family("Quoll", "Zebedee")
        looked = client.post(page, self.typed(client, page))
        answer = client.post(page, form_of(looked, do="test")).content.decode()
        letter = Message.objects.get()
        assert (letter.to, letter.household) == ("co@example.org", None)
        assert "Come, Ada and Ben." in letter.body
        assert "A test with invented children goes to co@example.org." in answer
        assert "Send 1 letter" in answer

    def test_without_an_address_of_ones_own_there_is_no_test(self, client, page, family):
        family("Quoll", "Ada")
        answer = client.post(page, self.typed(client, page) | {"do": "test"})
        assert "Your own sign-in has no e-mail address" in answer.content.decode()

    def test_an_unknown_field_is_said_in_its_place_and_what_was_typed_stays(self, client, page, family):
        family("Quoll", "Ada")
        answer = client.post(page, self.typed(client, page, text="Dear {parent}"))
        assert answer.status_code == 422
        assert "{parent} is no field" in answer.content.decode()
        assert ">\nDear {parent}</textarea>" in answer.content.decode()

    @pytest.mark.parametrize("spoilt", ["x", "1:2:3", "1:x", "9" * 30 + ":1"])
    def test_a_list_that_came_through_spoilt_is_refused(self, client, page, family, spoilt):
        family("Quoll", "Ada")
        answer = client.post(page, self.typed(client, page) | {"to": "chosen", "families": spoilt})
        assert answer.status_code == 422
        assert "Select a valid choice" in answer.content.decode()

    def test_begins_with_the_families_that_were_chosen_in_a_list(self, client, page, family):
        chosen, (ada, _) = family("Quoll", "Ada", "Ben")
        family("Bilby", "Cy")
        began = client.post(
            reverse("admin:roll_person_changelist"), {"action": "write_to_these", "_selected_action": [ada.pk]}
        )
        assert "The one family that you chose" in began.content.decode()
        form = form_of(began, subject="Fair", text="For {children}.", concern="own")
        client.post(page, form_of(client.post(page, form), do="send"))
        letter = Message.objects.get()
        assert letter.household == chosen
        assert "For Ada." in letter.body

    @pytest.mark.parametrize(
        "model", ["roll_household", "membership_membership", "courses_booking", "courses_place", "rangeday_signon"]
    )
    def test_every_list_of_families_offers_it(self, client, page, model):
        screen = reverse(f"admin:{model}_changelist")
        began = client.post(screen, {"action": "write_to_these", "_selected_action": [1]})
        assert "Choose whom to write to" in began.content.decode()

    def test_a_whole_list_of_families_as_it_is_filtered(self, client, page, family):
        for name in ("Quoll", "Bilby", "Quolling"):
            family(name, "Ada")
        began = client.post(
            f"{reverse('admin:roll_household_changelist')}?q=Quoll",
            {"action": "write_to_these", "select_across": "1", "_selected_action": [Household.objects.first().pk]},
        )
        assert "The 2 families that you chose" in began.content.decode()

    def test_is_reached_from_a_family_with_the_family_chosen(self, client, page, family):
        home, (ada,) = family("Quoll", "Ada")
        family("Bilby", "Cy")
        shown = client.get(reverse("admin:roll_household_change", args=[home.pk])).content.decode()
        link = html.unescape(re.search(r'href="(/news/write/[^"]+)"', shown)[1])
        assert form_of(client.get(link))["to"] == "chosen"
        looked = client.post(
            page, form_of(client.get(link), subject="Bow", text="{children} left a bow.", concern="own")
        )
        client.post(page, form_of(looked, do="send"))
        assert Message.objects.get().household == home
        assert f"{ada.given_name} left a bow." in Message.objects.get().body

    def test_is_reached_from_a_cohort_with_the_cohort_chosen(self, client, page, book):
        cohort = factories.cohort()
        shown = client.get(reverse("admin:courses_cohort_change", args=[cohort.pk])).content.decode()
        link = re.search(r'href="(/news/write/[^"]+)"', shown)[1]
        assert form_of(client.get(link))["to"] == f"cohort:{cohort.pk}"

    def test_the_list_of_letters_leads_to_it(self, client, page):
        assert client.get(reverse("admin:news_writing_add")).url == page

    def test_asks_first_whom_to_write_to(self, client, page, family):
        answer = client.post(page, self.typed(client, page, to=""))
        assert "Choose whom to write to." in answer.content.decode()

    def test_only_the_coordinator_writes(self, client, page, treasurer, range_helper):
        for user in (treasurer, range_helper):
            client.force_login(user)
            assert client.get(page).status_code == 403
            assert "write_to_these" not in client.get(reverse("admin:roll_person_changelist")).content.decode()

    def test_afterwards_says_how_it_went_and_whom_to_ring(self, client, page, family):
        family("Quoll", "Ada")
        family("Bilby", "Cy", email="", phone="08 7010 0001")
        said = client.get(reverse("admin:news_writing_change", args=[write().pk])).content.decode()
        assert "Waiting to go out" in said
        assert 'href="tel:0870100001"' in said


@pytest.mark.slow
def test_asks_as_often_for_50_families_as_for_500(client, coordinator, family):
    client.force_login(coordinator)
    page = reverse("admin:write_to_families")
    form = {"to": "families:0", "concern": "news", "subject": "s", "text": "{children} {next dates}"}
    form["key"] = str(uuid.uuid4())
    counts = []
    for count in (50, 450):
        for number in range(count):
            family(f"Q{count}x{number}", "Ada", "Ben")
        with CaptureQueriesContext(connection) as asked:
            assert client.post(page, form).status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_in_the_demo_the_club_writes_to_its_families_twice_a_year(family, by):
    family("Quoll", "Ada")
    demo = Demo(NOW, None, {"coordinator": by})
    plan(demo, NOW)
    for acts in demo.plans.values():
        for act in acts:
            act()
    assert [each.subject for each in Writing.objects.all()] == ["Hats, water and heat"]
