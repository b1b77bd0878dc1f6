"""What a family says of its own: whom to ring, what to know, who may collect, what it agrees to; each as it changes."""

import re
import uuid
from datetime import date

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.care import selectors
from clubdesk.care import services as care
from clubdesk.care.models import (
    Agreement,
    AgreementText,
    Confirmation,
    HealthNote,
    Kind,
    Look,
    MayCollect,
    PersonToRing,
)
from clubdesk.care.selectors import Contact
from clubdesk.care.services import Health, Said
from clubdesk.courses import services as courses
from clubdesk.errors import Refused
from clubdesk.mail.models import Message
from clubdesk.rangeday import selectors as rangeday
from clubdesk.rangeday.looks import came_and_nobody_can_be_rung
from clubdesk.roll import services as roll
from clubdesk.roll.models import Consent
from tests import factories, families
from tests.care.conftest import NOW, UNCLE, WORDS
from tests.forms import form_of

pytestmark = pytest.mark.django_db
MOST_BYTES = 30_000
LATER = date(2026, 10, 1)


def known(child):
    return selectors.known(child.person)


def stands(child, kind=Kind.PHOTOS):
    return selectors.said_now(child.person, kind)


def own(client, child):
    families.page_of(client, child.home, "/known/")
    return reverse("care:child", args=[child.person.pk])


# Whom to ring


def test_without_a_name_of_their_own_the_guardians_with_a_phone_are_rung(child):
    child.home.guardians.create(name="Kim Vinegrove")
    child.home.guardians.create(name="Lee Vinegrove", phone="08 7010 0103")
    assert [each.name for each in known(child).ring] == ["Ida Vinegrove", "Lee Vinegrove"]
    assert known(child).are_guardians


def test_whoever_is_named_is_rung_in_that_order_and_takes_the_guardians_place(child, by):
    aunt = Contact("Una Pell", "0400 000 111", "aunt")
    care.name_contacts(person=child.person, ring=[aunt, UNCLE], collect=[], by=by)
    assert known(child).ring == [aunt, UNCLE]
    care.name_contacts(person=child.person, ring=[UNCLE, aunt], collect=[UNCLE], by=by)
    assert known(child).ring == [UNCLE, aunt]
    assert [each.name for each in known(child).collect] == ["Odo Vinegrove"]


@pytest.mark.parametrize(
    ("ring", "collect", "sentence"),
    [
        ([Contact("Una")], [], "Write a phone for Una"),
        ([Contact("Una", "ask me")], [], "Write a phone for Una"),
        ([Contact("", "0400 000 111")], [], "Write the name of whom we ring on 0400 000 111"),
        ([], [Contact("", "0400 000 111")], "Write the name of who may collect"),
        ([UNCLE, UNCLE, UNCLE], [], "at most 2 people to ring"),
    ],
)
def test_whom_nobody_could_ring_is_refused_in_a_sentence(child, by, ring, collect, sentence):
    child.says()
    with pytest.raises(Refused, match=sentence):
        care.name_contacts(person=child.person, ring=ring, collect=collect, by=by)
    assert PersonToRing.objects.count() == MayCollect.objects.count() == 1


def test_the_same_said_twice_is_once(child):
    child.says()
    before = [list(model.objects.values()) for model in (PersonToRing, MayCollect, HealthNote, Agreement)]
    with clock.on(LATER):
        child.says()
    assert [list(model.objects.values()) for model in (PersonToRing, MayCollect, HealthNote, Agreement)] == before


def test_a_child_who_came_and_for_whom_nobody_can_be_rung_waits_and_is_marked(child, by, client, coordinator):
    day = child.shoots()
    assert not came_and_nobody_can_be_rung(NOW).exists()
    child.home.guardians.update(phone="")
    assert list(came_and_nobody_can_be_rung(NOW)) == [child.person]
    assert "g" in rangeday.sheet(day, with_money=False)[0].marks
    client.force_login(coordinator)
    assert "Ada Vinegrove" in client.get(reverse("admin:nobody_to_ring")).content.decode()
    care.name_contacts(person=child.person, ring=[UNCLE], collect=[], by=by)
    assert not came_and_nobody_can_be_rung(NOW).exists()
    assert "g" not in rangeday.sheet(day, with_money=False)[0].marks


# What to know


def test_a_health_note_says_who_said_so_and_when_and_goes_as_a_whole(child, by):
    care.note_health(person=child.person, allergy=" bees \n and wasps", medication="", needs="", said_by="Ida", by=by)
    note = HealthNote.objects.get()
    assert (note.allergy, note.said_by) == ("bees and wasps", "Ida")
    assert known(child).to_know == [("Allergies", "bees and wasps")]
    care.forget_health(person=child.person, by=by)
    care.forget_health(person=child.person, by=by)
    assert not HealthNote.objects.exists()
    with pytest.raises(Refused, match="Write who said so"):
        care.note_health(person=child.person, allergy="bees", medication="", needs="", said_by=" ", by=by)


def test_a_family_that_empties_the_fields_deletes_the_note(child):
    child.says()
    child.says(health=Health())
    assert not HealthNote.objects.exists()


# What is agreed to


def test_what_was_said_before_stays_written_and_the_newest_counts(child):
    child.says()
    assert stands(child).given is True
    child.says(agreed={Kind.PHOTOS: False})
    assert stands(child).given is False
    assert stands(child, Kind.DATA).given is True
    rows = Agreement.objects.filter(text__kind=Kind.PHOTOS).order_by("pk")
    assert [(row.given, row.said_by, row.text.version) for row in rows] == [
        (True, "Ida Vinegrove", 1),
        (False, "Ida Vinegrove", 1),
    ]


def test_what_was_said_is_never_changed_nor_deleted(child):
    child.says()
    for change in (
        Agreement.objects.all().delete,
        lambda: Agreement.objects.update(given=False),
        lambda: Agreement.objects.update(said_by="Somebody"),
        lambda: AgreementText.objects.update(text="All is allowed."),
    ):
        with pytest.raises(DatabaseError, match=r"deleted|keeps|stays written|new version"), transaction.atomic():
            change()


def test_new_words_go_on_to_count_unless_they_ask_anew(child, by):
    child.says()
    first = AgreementText.objects.get(kind=Kind.PHOTOS)
    text = {"kind": Kind.PHOTOS, "on": NOW, "by": by}
    assert care.write_text(text=first.text, asks_anew=True, **text) == first
    assert care.write_text(text="Photos of groups.", asks_anew=False, **text).version == 2
    assert stands(child).given is True
    care.write_text(text="Photos and films.", asks_anew=True, **text)
    assert (stands(child).given, stands(child).is_asked) == (None, True)
    assert not known(child).agreed(Kind.PHOTOS)
    child.says()
    assert known(child).agreed(Kind.PHOTOS)
    assert "version 3" in stands(child).words
    with pytest.raises(Refused, match="Write what families agree to"):
        care.write_text(text=" ", asks_anew=False, **text)


def test_a_family_is_asked_anew_once_by_letter_and_on_its_page_until_it_answers(child, by, client):
    child.says(agreed={Kind.PHOTOS: True})
    text = {"asks_anew": True, "on": NOW, "by": by}
    care.write_text(kind=Kind.FIRST_AID, text="Only plasters.", **text)
    assert care.ask_anew(on=NOW) == 0  # to that it never said anything
    care.write_text(kind=Kind.PHOTOS, text="Photos and films.", **text)
    assert [care.ask_anew(on=NOW), care.ask_anew(on=NOW)] == [1, 0]
    assert "“Photos”" in Message.objects.filter(household=child.home).latest("pk").body
    families.page_of(client, child.home)
    assert "Words that you agreed to have changed" in client.get("/account/").content.decode()
    child.says(agreed={Kind.PHOTOS: False})
    assert "Words that you agreed to have changed" not in client.get("/account/").content.decode()
    assert care.ask_anew(on=NOW) == 0
    care.write_text(kind=Kind.PHOTOS, text="Photos, films and drawings.", **text)
    assert care.ask_anew(on=NOW) == 1


def test_the_first_words_tell_truthfully_who_gets_what():
    # Compared with what the rooms do: membership passes members on, a voucher claim names child, birth date and code.
    text = selectors.newest(Kind.DATA).text
    assert "Where somebody becomes a member, the sport’s associations get the member’s name, birth date" in text
    assert "Where you hand in a sport voucher, its department gets the child’s name, birth date and the code" in text


def test_what_was_agreed_to_with_a_booking_counts_for_the_use_of_data(child, by):
    assert stands(child, Kind.DATA).given is None
    Consent.objects.create(household=child.home, given_by="Ida Vinegrove", wording="I agree.")
    found = stands(child, Kind.DATA)
    assert found.given is True
    assert re.fullmatch(r"agreed by Ida Vinegrove on \d+ \w+ \d{4}, with a booking", found.words)
    care.agree(person=child.person, kind=Kind.DATA, given=False, said_by="Ida Vinegrove", on=NOW, by=by)
    assert stands(child, Kind.DATA).given is False


def test_an_agreement_pressed_twice_is_written_once(child, by):
    key = uuid.uuid4()
    for _ in range(2):
        care.agree(person=child.person, kind="photos", given=True, said_by="Ida", on=NOW, by=by, key=key)
    assert Agreement.objects.count() == 1


# The family's own pages


def test_the_family_says_all_of_it_in_one_form_and_sees_it_afterwards(child, client):
    address = own(client, child)
    typed = {
        "ring_1_name": UNCLE.name, "ring_1_phone": UNCLE.phone, "ring_1_who": UNCLE.who, "collect_1_name": "Una Pell",
        "allergy": WORDS["allergy"], "photos": "no", "first_aid": "yes",
    }  # fmt: skip
    answer = client.post(address, form_of(client.get(address), **typed))
    assert answer.url == "/known/"
    said = client.get("/known/").content.decode()
    for words in (UNCLE.name, UNCLE.phone, "Una Pell", WORDS["allergy"], "Not agreed by Ida Vinegrove on 12 Sep 2026"):
        assert words in said
    again = client.get(address).content.decode()
    assert WORDS["allergy"] in again
    assert re.search(r'name="photos" value="no"[^>]*checked', again)


def test_what_was_typed_stays_where_it_is_refused(child, client):
    address = own(client, child)
    answer = client.post(address, {"ring_1_name": "Una", "needs": "sits out in dust"})
    assert answer.status_code == 422
    said = answer.content.decode()
    assert "Write a phone for Una, as in 08 7010 0100, so that we can ring." in said
    assert "sits out in dust" in said
    assert not HealthNote.objects.exists()


def test_one_button_says_that_all_of_it_is_right(child, client):
    own(client, child)
    assert "Yes, all of it is right" in client.get("/known/").content.decode()
    for _ in range(2):
        assert client.post("/known/").url == "/known/"
    assert "Thank you, that is noted" in client.get("/known/").content.decode()
    found = Confirmation.objects.get()
    assert (found.confirmed_on, found.said_by) == (NOW, "Ida Vinegrove")


@pytest.mark.parametrize("page", ["/known/", "child"])
def test_the_pages_weigh_less_than_30_kb_and_need_no_script(child, client, page):
    child.says()
    for number in range(3):
        factories.PersonFactory(household=child.home, given_name=f"Sib{number}")
    address = own(client, child)
    content = client.get(page if page == "/known/" else address).content
    assert len(content) < MOST_BYTES
    assert b"<script" not in content


def test_they_ask_the_book_as_often_for_one_child_as_for_many(child, client):
    child.says()
    own(client, child)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            client.get("/known/")
        return len(queries)

    one = asked()
    for number in range(4):
        factories.PersonFactory(household=child.home, given_name=f"Sib{number}")
    assert asked() == one


def test_the_family_page_leads_there_and_says_whom_we_ring_but_not_what_to_know(child, client):
    child.says()
    families.page_of(client, child.home)
    said = client.get("/account/").content.decode()
    assert "We ring Odo Vinegrove" in said
    assert "Health note of 12 Sep 2026" in said
    assert WORDS["allergy"] not in said
    assert reverse("care:child", args=[child.person.pk]) in said


# The desk


def test_the_persons_page_says_whom_to_ring_and_that_there_is_a_note(child, client, coordinator):
    child.says()
    client.force_login(coordinator)
    said = client.get(reverse("admin:roll_person_change", args=[child.person.pk])).content.decode()
    for words in (
        "Odo Vinegrove, uncle",
        "there is one, of 12 Sep 2026, said by Ida Vinegrove",
        "Open it (this is noted)",
    ):
        assert words in said
    assert not Look.objects.exists()


def test_the_desk_writes_and_deletes_a_note_on_its_own_page(child, client, coordinator):
    client.force_login(coordinator)
    address = reverse("admin:care_health", args=[child.person.pk])
    client.post(address, {"keep": "yes", "allergy": "bees", "said_by": "Ida, by phone"})
    assert HealthNote.objects.get().said_by == "Ida, by phone"
    assert "bees" in client.get(address).content.decode()
    answer = client.post(address, {"keep": "yes", "allergy": "wasps", "said_by": ""})
    assert answer.status_code == 422
    assert "wasps" in answer.content.decode()
    client.post(address, {"forget": "yes"})
    assert not HealthNote.objects.exists()


def test_the_desk_names_whom_to_ring_and_writes_down_an_agreement(child, client, coordinator):
    client.force_login(coordinator)
    address = reverse("admin:roll_person_contacts", args=[child.person.pk])
    page = client.get(address)
    client.post(address, form_of(page, ring_1_name="Una Pell", ring_1_phone="0400 000 111", key=str(uuid.uuid4())))
    assert [each.name for each in known(child).ring] == ["Una Pell"]
    address = reverse("admin:roll_person_agree", args=[child.person.pk])
    client.post(address, form_of(client.get(address), kind="photos", given="no", said_by="Ida", key=str(uuid.uuid4())))
    assert stands(child).given is False


# Two that are one


def test_of_two_who_are_one_only_one_may_have_a_note_since_somebody_must_look_which_is_right(child, by):
    child.says()
    other = factories.PersonFactory(household=child.home)
    care.note_health(person=other, allergy="none known", medication="", needs="", said_by="Ida", by=by)
    with pytest.raises(Refused, match="Both have a health note: look which is right"):
        roll.merge_people(person=child.person, other=other, on=NOW, by=by)
    care.forget_health(person=other, by=by)
    care.agree(person=other, kind="photos", given=False, said_by="Ida", on=NOW, by=by)
    roll.merge_people(person=child.person, other=other, on=NOW, by=by)
    assert stands(child).given is False
    assert known(child).to_know[0] == ("Allergies", WORDS["allergy"])


def test_a_family_changes_nobody_elses(child, by):
    other = factories.PersonFactory()
    with pytest.raises(Refused, match="Only your own family can be changed here"):
        care.keep_by_family(guardian=child.guardian, person=other, said=Said(), on=NOW, by=by)


def test_a_child_waiting_for_a_course_has_a_page_too(by, client):
    cohort = factories.cohort()
    home = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
    person = factories.PersonFactory(household=home)
    courses.book_place(person=person, cohort=cohort, on=NOW, by=by)
    families.page_of(client, home, "/known/")
    assert client.get(reverse("care:child", args=[person.pk])).status_code == 200
