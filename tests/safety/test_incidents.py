"""Incidents and near misses: written once, added to, kept as long as the club says; seen by few.

Source of the time: Royal Commission into Institutional Responses to Child Sexual Abuse, Final Report, volume 8,
recommendation 8.1 (at least 45 years for records about child sexual abuse).
"""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from clubdesk import clock
from clubdesk.desk.erasing import erase_person, what_stays
from clubdesk.errors import Refused
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Kit, KitState
from clubdesk.rooms import APPROVER, AUDITOR, COORDINATOR, RANGE_HELPER, ROLES, TREASURER
from clubdesk.safety import personal, selectors, services
from clubdesk.safety.models import DayRules, Incident, IncidentNote, Involved
from tests import factories
from tests.safety.conftest import NOW, volunteer
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
WORDS = "An arrow came off the rest and flew low over the next target"


@pytest.fixture
def bow():
    return Kit.objects.create(number="B12", kind="bow")


@pytest.fixture
def record(club, by):
    def recorded(**more):
        said = {"kind": "near_miss", "on": NOW, "place": "target 4", "what": WORDS, "by": by, **more}
        return services.record_incident(**said)

    return recorded


class TestWriting:
    def test_who_what_where_and_a_piece_of_kit(self, record, bow):
        child, helper = factories.PersonFactory(given_name="Ada", family_name="Mirabar"), volunteer("Odo")
        made = record(child=child, helper=helper, others="a walker on the path", piece=bow, first_aid="a plaster")
        assert [str(each) for each in made.involved.all()] == [
            "Child: Ada Mirabar", "Helper: Odo Quoll", "Somebody else: a walker on the path", "Piece of kit: Bow B12",
        ]  # fmt: skip

    def test_the_piece_of_kit_is_set_aside_at_once_and_not_given_out(self, record, club, bow, day):
        record(piece=bow)
        bow.refresh_from_db()
        assert bow.state == KitState.SET_ASIDE
        assert bow.checks.get().note == "part of an incident on 12 Sep 2026"
        signed = club.sign(day)
        with pytest.raises(Refused) as refusal:
            rangeday.give_out(kit=bow, sign_on=signed, at=clock.now(), by=club.by)
        assert refusal.value.sentence == (
            "Bow B12 was set aside as unsafe. Have it checked by someone qualified before anybody shoots with it."
        )

    def test_one_that_was_retired_stays_so(self, record, club, bow):
        rangeday.set_kit_aside(kit=bow, note="old", on=NOW, by=club.by, state=KitState.RETIRED)
        record(piece=bow)
        bow.refresh_from_db()
        assert bow.state == KitState.RETIRED

    def test_the_database_names_no_kit_that_is_still_in_use(self, record, bow, by):
        made = record()
        with pytest.raises(IntegrityError, match="is set aside first"), transaction.atomic():
            Involved.objects.create(incident=made, part="kit", kit=bow, name="Bow B12", recorded_by=by)

    def test_sent_twice_it_is_one_record(self, record):
        key = "11111111-1111-4111-8111-111111111111"
        assert record(key=key) == record(key=key)

    @pytest.mark.parametrize(
        ("wrong", "sentence"),
        [
            ({"what": " "}, "Say what happened and where"),
            ({"place": ""}, "Say what happened and where"),
            ({"on": NOW + timedelta(days=1)}, "That day has not come yet"),
        ],
    )
    def test_what_is_missing_is_said(self, record, wrong, sentence):
        with pytest.raises(Refused, match=sentence):
            record(**wrong)
        assert not Incident.objects.exists()

    def test_what_was_found_out_since_is_added_and_the_record_stays(self, record, by, bow):
        made = record()
        services.note_incident(incident=made, words="The rest was bent", on=NOW, by=by)
        services.add_to_incident(incident=made, piece=bow, by=by)
        services.add_to_incident(incident=made, piece=bow, by=by)
        assert [note.words for note in made.notes.all()] == ["The rest was bent"]
        assert made.involved.count() == 1
        with pytest.raises(IntegrityError, match="never changed; add a note"), transaction.atomic():
            Incident.objects.filter(pk=made.pk).update(what="Nothing happened")
        with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
            IncidentNote.objects.all().delete()

    def test_when_a_guardian_was_told_is_noted_once(self, record, by):
        made = record(child=factories.PersonFactory())
        assert selectors.not_told(NOW).get() == made
        services.note_guardian_told(incident=made, told_whom="Ida Mirabar, 10:40", on=NOW, by=by)
        services.note_guardian_told(incident=made, told_whom="Otto Mirabar", on=NOW, by=by)
        made.refresh_from_db()
        assert (made.told_on, made.told_whom) == (NOW, "Ida Mirabar, 10:40")
        assert not selectors.not_told(NOW).exists()

    def test_where_a_child_may_be_at_risk_nobody_is_asked_to_tell_a_guardian(self, record):
        record(child=factories.PersonFactory(), at_risk=True)
        assert not selectors.not_told(NOW).exists()


class TestKeeping:
    def test_forty_five_years_unless_the_club_says_otherwise(self, record, club):
        assert record().kept_until == date(2071, 9, 12)
        club.asks(keep_years=10)
        assert record().kept_until == date(2036, 9, 12)

    def test_a_shorter_time_takes_nothing_from_what_was_promised_and_a_longer_one_counts(self, record, club):
        made = record()
        rules = club.asks(keep_years=10)
        assert selectors.kept_until(made) == date(2071, 9, 12)
        DayRules.objects.filter(pk=rules.pk).update(keep_years=60)
        assert selectors.kept_until(made) == date(2086, 9, 12)

    def test_then_its_words_and_names_go_and_that_there_was_one_stays(self, record, by):
        made = record(child=factories.PersonFactory(), first_aid="a plaster")
        services.note_incident(incident=made, words="The rest was bent", on=NOW, by=by)
        services.note_guardian_told(incident=made, told_whom="Ida", on=NOW, by=by)
        assert services.forget_incidents(on=date(2071, 9, 12)) == 0
        assert services.forget_incidents(on=date(2071, 9, 13)) == 1
        assert services.forget_incidents(on=date(2071, 9, 14)) == 0
        made.refresh_from_db()
        said = {made.what, made.place, made.first_aid, made.told_whom, made.notes.get().words, made.involved.get().name}
        assert said == {"erased"}
        assert made.happened_on == NOW
        with pytest.raises(Refused, match="its years are over"):
            services.note_incident(incident=made, words="Late", on=NOW, by=by)

    def test_erasing_somebody_says_what_stays_why_and_until_when(self, record, by, client, keeper):
        child = factories.PersonFactory(given_name="Ada", family_name="Mirabar")
        made = record(child=child)
        sentence = (
            "The name in the record of the near miss of 12 Sep 2026: such records are kept to 12 Sep 2071, since they"
            " may be asked for many years later."
        )
        assert what_stays(child) == [sentence]
        later = date(2036, 7, 1)
        with clock.on(later):
            erase_person(person=child, on=later, by=by)
        child.refresh_from_db()
        assert child.given_name == "Erased"
        assert made.involved.get().name == "Ada Mirabar"
        assert what_stays(child) == [sentence]

    def test_the_page_that_erases_says_it_before(self, record, client, keeper):
        child = factories.PersonFactory()
        record(child=child)
        client.force_login(keeper)
        page = client.get(reverse("admin:roll_person_erase", args=[child.pk]), follow=True).content.decode()
        assert "kept to 12 Sep 2071" in page


class TestTelling:
    def test_the_familys_file_says_that_there_is_a_record_and_not_its_words(self, record):
        child = factories.PersonFactory(given_name="Ada", family_name="Mirabar")
        record(child=child)
        (row,) = personal._incidents(child.household)
        assert row == ("Ada Mirabar", NOW, "Near miss", "target 4", "", "nobody was told yet")

    def test_nothing_where_a_child_may_be_at_risk(self, record):
        child = factories.PersonFactory()
        record(child=child, at_risk=True)
        assert list(personal._incidents(child.household)) == []


WRITE, LIST, READ, AS_FILE, NOTE, TELL, WHO = "write", "list", "read", "as a file", "add a note", "told", "add who"
PAGES = (WRITE, LIST, READ, AS_FILE, NOTE, TELL, WHO)
MAY = {(COORDINATOR, page) for page in PAGES} | {(RANGE_HELPER, WRITE)}
"""Nobody else: neither who sees money nor who audits it reads what happened to a child."""


def addresses(incident):
    of_one = {READ: "change", NOTE: "note", TELL: "told", WHO: "add-who"}
    found = {page: reverse(f"admin:safety_incident_{slug}", args=[incident.pk]) for page, slug in of_one.items()}
    listed = reverse("admin:safety_incident_changelist")
    return {**found, WRITE: reverse("admin:safety_incident_add"), LIST: listed, AS_FILE: f"{listed}?as=csv"}


def signed_in(role):
    client = Client()
    client.force_login(User.objects.get(username=username(role)))
    return client


class TestByRole:
    def test_each_role_opens_just_the_pages_of_the_table(self, record):
        made = record(child=factories.PersonFactory())
        opened, told = set(), set()
        for role in ROLES:
            client = signed_in(role)
            for page, address in addresses(made).items():
                answer = client.get(address)
                if answer.status_code == 200:
                    opened.add((role, page))
                content = answer.getvalue() if answer.streaming else answer.content
                if b"target 4" in content or WORDS.encode() in content:
                    told.add((role, page))
        assert opened == MAY
        assert told == {(COORDINATOR, page) for page in (LIST, READ, AS_FILE, NOTE, TELL, WHO)}

    def test_search_persons_page_and_home_say_nothing_of_it_to_anybody(self, record, bow):
        child = factories.PersonFactory()
        record(child=child, piece=bow)
        elsewhere = [
            f"{reverse('admin:find')}?q=arrow", reverse("admin:roll_person_change", args=[child.pk]),
            reverse("admin:roll_household_change", args=[child.household_id]), reverse("admin:index"),
            reverse("admin:rangeday_kit_change", args=[bow.pk]),
        ]  # fmt: skip
        told = {
            (role, url)
            for role in ROLES
            for url in elsewhere
            if WORDS in signed_in(role).get(url).content.decode(errors="replace")
        }
        assert told == set()

    def test_a_helper_records_and_lands_on_home(self, club, range_helper):
        client = signed_in(RANGE_HELPER)
        typed = {"kind": "incident", "on": "2026-09-12", "place": "target 2", "what": "A finger was pinched"}
        answer = client.post(reverse("admin:safety_incident_add"), {**typed, "key": "1" * 32}, follow=True)
        assert answer.redirect_chain == [("/", 302)]
        assert "Recorded: Incident of 12 Sep 2026." in answer.content.decode()
        assert Incident.objects.get().recorded_by == range_helper

    def test_every_page_says_that_the_law_says_whom_to_tell(self, record, client, keeper):
        made = record()
        client.force_login(keeper)
        pages = [addresses(made)[page] for page in (WRITE, READ, NOTE, TELL)]
        said = ["the law of your place says whom to tell" in client.get(url).content.decode() for url in pages]
        assert said == [True] * 4

    def test_money_and_decisions_see_none_of_it(self):
        assert not {role for role, _ in MAY} & {TREASURER, APPROVER, AUDITOR}
