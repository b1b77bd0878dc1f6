"""Who may see a child's health note: each role, on each page, in each state of the child."""

import io
import zipfile
from datetime import date, timedelta
from itertools import product

import pytest
from django.contrib import admin
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import User
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock, guards
from clubdesk.care import services as care
from clubdesk.care.models import HealthNote, Look
from clubdesk.desk.erasing import erase_person
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import RangeDay, SignOn
from clubdesk.rooms import APPROVER, AUDITOR, COORDINATOR, RANGE_HELPER, ROLES, TREASURER
from tests import factories, families
from tests.care.conftest import NOW, WORDS
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
JSON = {"Accept": "application/json"}
LATER = date(2036, 7, 1)
TODAY, ANOTHER_DAY, NOT_ON, ERASED = "signed on today", "signed on another day", "not signed on", "erased"
STATES = (TODAY, ANOTHER_DAY, NOT_ON, ERASED)
SHEET, SHEET_PAGE, NOTE, FILE = "the sheet's tap", "the tap as a page", "the page of the note", "the family's file"
ELSEWHERE = (
    "the person's page", "the family's desk page", "the people's list", "what search finds", "who looked", "the sheet",
    "the committee's page",
)  # fmt: skip
PAGES = (SHEET, SHEET_PAGE, NOTE, FILE, *ELSEWHERE)

MAY_SEE = {
    *product((COORDINATOR, RANGE_HELPER), (SHEET, SHEET_PAGE), (TODAY,)),
    *product((COORDINATOR,), (NOTE, FILE), (TODAY, ANOTHER_DAY, NOT_ON)),
}
"""Nobody but these, and the family itself by its own link."""
MAY_SEE_THE_LOOK = {COORDINATOR, AUDITOR}


class Place:
    """The child in one state, and the pages on which somebody may try to read its note."""

    def __init__(self, child, state):
        self.child, self.state = child, state
        self.day = factories.range_day(on=NOW)
        child.says()
        if state == TODAY:
            child.shoots(self.day)
        if state == ANOTHER_DAY:
            child.shoots(factories.range_day(on=NOW - timedelta(days=7)))
        if state == ERASED:
            erase(child)
            self.day = factories.range_day(on=LATER)

    def addresses(self):
        person, home = self.child.person.pk, self.child.home.pk
        sheet = reverse("admin:range_care", args=[self.day.pk, person])
        word = WORDS["medication"][:6]  # the list says again what was sought
        return {
            SHEET: (sheet, JSON),
            SHEET_PAGE: (sheet, {}),
            NOTE: (reverse("admin:care_health", args=[person]), {}),
            FILE: (reverse("admin:household_file", args=[home]), {}),
            "the person's page": (reverse("admin:roll_person_change", args=[person]), {}),
            "the family's desk page": (reverse("admin:roll_household_change", args=[home]), {}),
            "the people's list": (f"{reverse('admin:roll_person_changelist')}?q={word}", {}),
            "what search finds": (f"{reverse('admin:find')}?q=Vinegrove", {}),
            "who looked": (reverse("admin:care_look_changelist"), {}),
            "the sheet": (reverse("admin:range_sheet", args=[self.day.pk]), {}),
            "the committee's page": (reverse("admin:committee"), {}),
        }


def erase(child):
    owed = fees.balance(child.home)
    if owed.amount:
        charging.record_receipt(household=child.home, amount=owed, method=Method.CARD, on=NOW, by=child.by)
    clock.set_today(LATER)
    erase_person(person=child.person, on=LATER, by=child.by)


def signed_in(role):
    client = Client()
    client.force_login(User.objects.get(username=username(role)))
    return client


def text_of(answer):
    content = answer.getvalue() if answer.streaming else answer.content
    if content[:2] != b"PK":
        return content.decode(errors="replace")
    archive = zipfile.ZipFile(io.BytesIO(content))
    if "[Content_Types].xml" not in archive.namelist():
        return "".join(archive.read(name).decode(errors="replace") for name in archive.namelist())
    return repr([[cell.value for cell in row] for sheet in load_workbook(io.BytesIO(content)) for row in sheet])


def words_in(text):
    return [word for word in WORDS.values() if word in text]


@pytest.mark.parametrize("state", STATES)
def test_each_role_sees_the_note_on_each_page_only_where_the_table_says(child, state):
    place = Place(child, state)
    seen = set()
    for role in ROLES:
        client = signed_in(role)
        for page, (address, headers) in place.addresses().items():
            said = words_in(text_of(client.get(address, headers=headers)))
            assert said in ([], list(WORDS.values())), (role, page, said)
            if said:
                seen.add((role, page, state))
    assert seen == {each for each in MAY_SEE if each[2] == state}
    assert LogEntry.objects.filter(object_repr__contains="Vinegrove").count() == 0


def test_neither_search_workbook_nor_pack_knows_of_it(child):
    Place(child, TODAY)
    client = signed_in(COORDINATOR)
    for page in ("admin:roll_person_changelist", "admin:roll_household_changelist", "admin:find"):
        assert "Ada" not in client.get(f"{reverse(page)}?q={WORDS['allergy']}").content.decode()
    client = signed_in(TREASURER)
    for page in ("admin:workbook", "admin:audit_pack"):
        said = text_of(client.get(reverse(page, args=[2027])))
        assert "Vinegrove" in said
        for words in (*WORDS.values(), "Odo Vinegrove", "7010 0177"):
            assert words not in said


def test_the_table_knows_every_role():
    assert set(ROLES) == {COORDINATOR, RANGE_HELPER, APPROVER, TREASURER, AUDITOR}


def test_the_family_sees_its_own_and_no_other_familys(child, client):
    child.says()
    other = factories.PersonFactory()
    families.page_of(client, child.home, "/known/")
    own = reverse("care:child", args=[child.person.pk])
    assert len(words_in(client.get("/known/").content.decode())) == 3
    assert len(words_in(client.get(own).content.decode())) == 3
    assert client.get(reverse("care:child", args=[other.pk])).status_code == 404
    families.page_of(client, other.household, "/known/")
    assert client.get(own).status_code == 404
    assert words_in(client.get("/known/").content.decode()) == []
    assert words_in(client.get("/account/").content.decode()) == []


def test_without_a_sign_in_nothing_is_said(child, client):
    place = Place(child, TODAY)
    for page, (address, headers) in place.addresses().items():
        answer = client.get(address, headers=headers)
        assert answer.status_code == (403 if page == SHEET else 302), page
        assert words_in(answer.content.decode()) == []
    assert not Look.objects.exists()


@pytest.mark.parametrize("role", sorted(MAY_SEE_THE_LOOK))
def test_each_look_is_written_down_and_read_by_coordinator_and_auditor(child, role):
    place = Place(child, TODAY)
    signed_in(RANGE_HELPER).get(place.addresses()[SHEET][0], headers=JSON)
    found = Look.objects.get()
    assert (found.person, found.looked_by.username, found.day) == (child.person, username(RANGE_HELPER), NOW)
    said = signed_in(role).get(reverse("admin:care_look_changelist")).content.decode()
    assert "Ada Vinegrove" in said
    assert "at the range, 12 Sep 2026" in said


def test_a_look_at_a_desk_and_a_file_are_written_down_too(child):
    place = Place(child, NOT_ON)
    client = signed_in(COORDINATOR)
    for page in (NOTE, FILE):
        client.get(place.addresses()[page][0])
    assert list(Look.objects.values_list("day", flat=True)) == [None, None]
    signed_in(TREASURER).get(place.addresses()[FILE][0])
    assert Look.objects.count() == 2


@pytest.mark.parametrize("page", [SHEET, SHEET_PAGE, NOTE])
def test_no_browser_keeps_it(child, page):
    address, headers = Place(child, TODAY).addresses()[page]
    assert signed_in(COORDINATOR).get(address, headers=headers)["Cache-Control"] == "no-store"


def test_neither_the_sheet_nor_its_worker_knows_of_it(child, client):
    place = Place(child, TODAY)
    worker = client.get(reverse("admin:range_worker")).content.decode()
    sheet = signed_in(RANGE_HELPER).get(place.addresses()["the sheet"][0]).content.decode()
    assert "/care/" not in worker
    for said in (*WORDS.values(), "Odo Vinegrove", "7010 0177"):
        assert said not in sheet


def test_once_the_day_is_counted_or_called_off_nobody_sees_it_at_the_range(child, by):
    place = Place(child, TODAY)
    address, headers = place.addresses()[SHEET]
    rangeday.call_off_day(range_day=place.day, reason="hail", on=NOW, by=by)
    answer = signed_in(RANGE_HELPER).get(address, headers=headers)
    assert answer.status_code == 409
    assert answer.json() == {"sentence": "This can only be seen on the day itself, while it is open."}
    assert not Look.objects.exists()


def test_the_day_before_and_the_day_after_are_no_day_to_look(child, by):
    day = Place(child, TODAY).day
    for other in (NOW - timedelta(days=1), NOW + timedelta(days=1)):
        with clock.on(other), pytest.raises(Refused, match="only be seen on the day itself"):
            rangeday.look_at_the_range(range_day=day, person=child.person, by=by)


def test_whoever_was_signed_off_again_is_not_seen(child, by):
    day = Place(child, TODAY).day
    rangeday.cancel_sign_on(sign_on=SignOn.objects.get(), on=NOW, reason="went home", by=by)
    with pytest.raises(Refused, match="only be seen of who is signed on"):
        rangeday.look_at_the_range(range_day=day, person=child.person, by=by)


def test_the_database_itself_refuses_a_look_at_the_range_of_who_is_not_there(child, by):
    child.says()
    with pytest.raises(IntegrityError, match="only of who is signed on"), transaction.atomic():
        Look.objects.create(person=child.person, looked_by=by, day=NOW)


def test_a_look_is_neither_changed_nor_deleted(child, by):
    care.look(person=child.person, by=by)
    for change in (Look.objects.all().delete, lambda: Look.objects.update(day=NOW)):
        with pytest.raises(DatabaseError, match="stays written"), transaction.atomic():
            change()


def test_a_note_has_no_screen_of_its_own_and_no_string_says_what_stands_in_it(child):
    child.says()
    assert HealthNote not in admin.site._registry
    assert words_in(f"{HealthNote.objects.get()!r} {HealthNote.objects.get()}") == []


def everything():
    """Every row that the database holds, and what stands in its file once what was deleted is written over."""
    with connection.cursor() as cursor:
        tables = dict.fromkeys(connection.introspection.table_names())
        for table in tables:
            cursor.execute(f'SELECT * FROM "{table}"')
            tables[table] = repr(cursor.fetchall())
    return tables


def test_after_erasing_no_trace_is_left_in_any_table_file_or_log(child, settings, caplog, capfd):
    """Every table, every file of evidence and whatever was logged or printed while it was shown, said and erased."""
    place = Place(child, TODAY)
    for role in ROLES:
        for address, headers in place.addresses().values():
            signed_in(role).get(address, headers=headers)
    sought = [*WORDS.values(), "Odo Vinegrove", "7010 0177", "Ida Vinegrove", "uncle"]
    held = "".join(everything().values())
    assert [word for word in sought if word not in held] == []
    erase(child)
    with clock.on(LATER):
        care.forget_who_left(on=LATER)
    after = everything()
    assert [(table, word) for table, text in after.items() for word in sought if word in text] == []
    files = [path for path in settings.MEDIA_ROOT.rglob("*") if path.is_file()] if settings.MEDIA_ROOT.exists() else []
    assert [path for path in files for word in sought if word.encode() in path.read_bytes()] == []
    printed = capfd.readouterr()
    logged = f"{caplog.text}{printed.out}{printed.err}"
    assert words_in(logged) == []
    assert not Look.objects.exists()
    assert guards.faults(connection) == []


@pytest.mark.only_on("sqlite")
def test_what_sqlite_deletes_it_writes_over():
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA secure_delete")
        assert cursor.fetchone()[0] == 1


def test_a_range_day_that_does_not_exist_says_nothing(child):
    assert RangeDay.objects.count() == 0
    address = reverse("admin:range_care", args=[99, child.person.pk])
    assert signed_in(RANGE_HELPER).get(address, headers=JSON).status_code == 404
