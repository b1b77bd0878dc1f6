"""Two people on one page: the second is told what the first has changed, and neither undoes the other."""

import re
import threading
from datetime import date

import pytest
from django.contrib.auth.models import Group, User
from django.db import connection, connections
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort
from clubdesk.desk.house.pages import screens
from clubdesk.entryfund.models import StateEvent
from clubdesk.fees import services as fees
from clubdesk.fees.models import Charge, Method, Receipt
from clubdesk.fees.selectors import balance
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Kit, RangeDay
from clubdesk.roll.models import Guardian, Person
from clubdesk.screens.tables import page_of
from clubdesk.screens.verbs import VerbPage
from tests import factories
from tests.forms import form_of

pytestmark = [pytest.mark.django_db, pytest.mark.world("season")]
NOW = date(2026, 9, 12)
NOTHING_SAVED = "Nothing of yours was saved yet"
MOVED_ON = "This has moved on since you opened the page. Nothing was done yet"


@pytest.fixture
def desk(client, season, keeper):
    client.force_login(keeper)
    return client


@pytest.fixture
def home(season):
    home = factories.HouseholdFactory()
    factories.PersonFactory(household=home)
    Guardian.objects.create(household=home, name="Ida", phone="08 7010 0001", email="ida@example.org")
    return home


def said(response):
    """The page as it is read: without tags, in one line."""
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


# Forms of plain nouns


def test_the_second_of_two_changes_does_not_undo_the_first(desk, home):
    """One changes a guardian's phone, another with an older page the e-mail."""
    page = desk.get(page_of(home))
    home.guardians.update(phone="08 7010 0002")
    answer = desk.post(page_of(home), form_of(page, **{"guardians-0-email": "ada@example.org"}))
    assert answer.status_code == 200
    assert NOTHING_SAVED in said(answer)
    assert "You opened it with “08 7010 0001”; it has since been made “08 7010 0002”, which stays." in said(answer)
    assert "Please put this right" not in said(answer)
    assert home.guardians.get().email == "ida@example.org"
    assert form_of(answer)["guardians-0-phone"] == "08 7010 0002"
    assert form_of(answer)["guardians-0-email"] == "ada@example.org"
    assert desk.post(page_of(home), form_of(answer)).status_code == 302
    guardian = home.guardians.get()
    assert (guardian.phone, guardian.email) == ("08 7010 0002", "ada@example.org")


def test_of_two_who_change_the_same_the_second_sees_all_three_and_decides(desk, home):
    page = desk.get(page_of(home))
    home.guardians.update(phone="08 7010 0002")
    answer = desk.post(page_of(home), form_of(page, **{"guardians-0-phone": "08 7010 0003"}))
    assert (
        "You opened it with “08 7010 0001”; it has since been made “08 7010 0002”. "
        "You typed “08 7010 0003”, which replaces it if you save again." in said(answer)
    )
    assert home.guardians.get().phone == "08 7010 0002"
    assert form_of(answer)["guardians-0-phone"] == "08 7010 0003"
    desk.post(page_of(home), form_of(answer))
    assert home.guardians.get().phone == "08 7010 0003"


def test_a_third_change_while_the_second_looks_is_told_again(desk, home):
    page = desk.get(page_of(home))
    home.guardians.update(phone="08 7010 0002")
    answer = desk.post(page_of(home), form_of(page, **{"guardians-0-phone": "08 7010 0003"}))
    home.guardians.update(phone="08 7010 0004")
    again = desk.post(page_of(home), form_of(answer))
    assert "You opened it with “08 7010 0002”; it has since been made “08 7010 0004”." in said(again)


def test_who_types_what_the_other_made_it_is_told_nothing(desk, home):
    page = desk.get(page_of(home))
    home.guardians.update(phone="08 7010 0002")
    answer = desk.post(page_of(home), form_of(page, **{"guardians-0-phone": "08 7010 0002"}))
    assert answer.status_code == 302


def test_the_places_of_a_cohort_are_not_undone(desk, season):
    cohort = season.cohort
    page = desk.get(page_of(cohort))
    Cohort.objects.filter(pk=cohort.pk).update(capacity=25)
    answer = desk.post(page_of(cohort), form_of(page, name="Renamed"))
    assert f"You opened it with “{cohort.capacity}”; it has since been made “25”, which stays." in said(answer)
    assert desk.post(page_of(cohort), form_of(answer)).status_code == 302
    cohort.refresh_from_db()
    assert (cohort.name, cohort.capacity) == ("Renamed", 25)


def test_days_amounts_and_choices_are_told_as_people_say_them(desk, season):
    event = StateEvent.objects.first()
    StateEvent.objects.filter(pk=event.pk).update(fee=as_amount(45), held_on=date(2026, 11, 1), ends_on=None)
    page = desk.get(page_of(event))
    StateEvent.objects.filter(pk=event.pk).update(fee=as_amount(1080), held_on=date(2026, 11, 8), refunded=False)
    told = said(desk.post(page_of(event), form_of(page)))
    assert "You opened it with “$45.00”; it has since been made “$1,080.00”, which stays." in told
    assert "You opened it with “1 Nov 2026”; it has since been made “8 Nov 2026”, which stays." in told


def test_ticks_and_rows_picked_are_told_by_their_names(desk, keeper, home):
    helper = User.objects.get(username="range-helper")
    address = reverse("admin:auth_user_change", args=[helper.pk])
    page = desk.get(address)
    User.objects.filter(pk=helper.pk).update(is_active=False)
    helper.groups.clear()
    answer = desk.post(address, form_of(page, first_name="Anna"))
    assert "You opened it with “ticked”" not in said(answer)
    assert "You opened it with ticked; it has since been made not ticked, which stays." in said(answer)
    assert "it has since been made nothing, which stays." in said(answer)
    assert desk.post(address, form_of(answer)).status_code == 302
    helper.refresh_from_db()
    assert (helper.first_name, helper.is_active, helper.groups.count()) == ("Anna", False, 0)


def test_a_role_keeps_what_another_administrator_gave_it(desk):
    role = Group.objects.first()
    address = reverse("admin:auth_group_change", args=[role.pk])
    page = desk.get(address)
    taken = role.permissions.first()
    role.permissions.remove(taken)
    answer = desk.post(address, form_of(page))
    assert NOTHING_SAVED in said(answer)
    desk.post(address, form_of(answer))
    assert taken not in role.permissions.all()


def test_signing_in_meanwhile_is_no_change_of_a_sign_in(desk, treasurer):
    address = reverse("admin:auth_user_change", args=[treasurer.pk])
    page = desk.get(address)
    User.objects.filter(pk=treasurer.pk).update(last_login=clock.now())
    assert desk.post(address, form_of(page, first_name="Tess")).status_code == 302
    treasurer.refresh_from_db()
    assert treasurer.last_login == clock.now()


def test_a_row_that_somebody_changed_meanwhile_is_not_taken_away_unseen(desk, home):
    page = desk.get(page_of(home))
    home.guardians.update(phone="08 7010 0002")
    answer = desk.post(page_of(home), form_of(page, **{"guardians-0-DELETE": "on"}))
    assert NOTHING_SAVED in said(answer)
    assert home.guardians.count() == 1


def test_a_row_that_somebody_took_away_is_named(desk, home):
    Guardian.objects.create(household=home, name="Zephyrine Two")
    page = desk.get(page_of(home))
    Guardian.objects.filter(name="Zephyrine Two").delete()
    answer = desk.post(page_of(home), form_of(page, name="Renamed"))
    assert "Somebody has taken away guardian “Zephyrine Two” since you opened the page." in said(answer)
    home.refresh_from_db()
    assert home.name != "Renamed"
    assert desk.post(page_of(home), form_of(answer)).status_code == 302
    home.refresh_from_db()
    assert home.name == "Renamed"


def test_only_what_changed_is_written(desk, home):
    page = desk.get(page_of(home))
    with CaptureQueriesContext(connection) as asked:
        desk.post(page_of(home), form_of(page, **{"guardians-0-phone": "08 7010 0009"}))
    written = [each["sql"] for each in asked if each["sql"].startswith("UPDATE") and "guardian" in each["sql"]]
    assert len(written) == 1
    assert re.search(r'SET "phone" = \S+ 7010 0009\S* WHERE', written[0])
    kit = Kit.objects.create(number="B1", kind="bow")
    page = desk.get(page_of(kit))
    with CaptureQueriesContext(connection) as asked:
        desk.post(page_of(kit), form_of(page, description="Long"))
    (written,) = [each["sql"] for each in asked if each["sql"].startswith("UPDATE") and "rangeday_kit" in each["sql"]]
    assert re.search(r'SET "description" = \S+ WHERE', written)


def test_what_is_wrong_and_what_moved_on_are_both_told(desk, home):
    page = desk.get(page_of(home))
    home.guardians.update(phone="08 7010 0002")
    answer = desk.post(page_of(home), form_of(page, **{"guardians-0-email": "no address"}))
    assert "Please put this right" in said(answer)
    assert "Enter a valid email address." in said(answer)
    assert "it has since been made “08 7010 0002”, which stays." in said(answer)


def test_what_a_page_was_opened_with_is_sealed(desk, home):
    page = desk.get(page_of(home))
    assert desk.post(page_of(home), form_of(page, opened="made up", name="Renamed")).status_code == 302
    home.refresh_from_db()
    assert home.name == "Renamed"


@pytest.mark.either
def test_every_form_that_changes_something_carries_what_it_was_opened_with(desk, season):
    carrying = {}
    for screen in screens():
        row = screen.model._default_manager.order_by("pk").first()
        if row is not None:
            page = desk.get(page_of(row))
            if 'name="_save"' in page.content.decode():
                carrying[screen.named_as] = bool(form_of(page).get("opened"))
    assert len(carrying) > 10
    assert set(carrying.values()) == {True}


@pytest.mark.django_db(transaction=True)
def test_of_two_who_save_at_the_same_moment_one_is_told(keeper, season, home):
    clients = [Client(), Client()]
    for each in clients:
        each.force_login(keeper)
    page = clients[0].get(page_of(home))
    barrier, answers = threading.Barrier(2), [None, None]

    def save(number):
        barrier.wait()
        answers[number] = clients[number].post(page_of(home), form_of(page, name=f"Renamed by {number}"))
        connections.close_all()

    threads = [threading.Thread(target=save, args=(number,)) for number in range(2)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    told, saved = sorted(answers, key=lambda each: each.status_code)
    assert (told.status_code, saved.status_code) == (200, 302)
    assert NOTHING_SAVED in said(told)


# Pages of verbs


def receipts_page(home):
    return reverse("admin:roll_household_receipt", args=[home.pk])


@pytest.fixture
def owing(season, by):
    charge = next(each for each in Charge.objects.order_by("pk") if fees_owed(each.household) > 50)
    return charge.household


def fees_owed(home):
    return balance(home).amount


def test_a_receipt_that_somebody_else_just_took_is_seen_before_a_second(desk, owing, by):
    page = desk.get(receipts_page(owing))
    owed = fees_owed(owing)
    fees.record_receipt(household=owing, amount=as_amount(owed), method=Method.CARD, on=NOW, by=by)
    count = Receipt.objects.count()
    answer = desk.post(receipts_page(owing), form_of(page, reference="slip 12"))
    assert answer.status_code == 422
    assert MOVED_ON in said(answer)
    assert f"The family: owes ${owed:.2f} when you opened it, now" in said(answer)
    assert form_of(answer)["reference"] == "slip 12"
    assert Receipt.objects.count() == count
    assert desk.post(receipts_page(owing), form_of(answer)).status_code == 302
    assert Receipt.objects.count() == count + 1


def test_the_same_form_sent_again_answers_with_its_first_result(desk, owing):
    page = desk.get(receipts_page(owing))
    first = desk.post(receipts_page(owing), form_of(page))
    again = desk.post(receipts_page(owing), form_of(page), follow=True)
    assert first.status_code == 302
    assert again.redirect_chain == [(first.url, 302)]
    assert "This was done when the button was first pressed; nothing was done twice." in said(again)
    assert Receipt.objects.filter(key=form_of(page)["key"]).count() == 1


@pytest.fixture
def receipt(home, by):
    return fees.record_receipt(household=home, amount=as_amount(10), method=Method.CARD, on=NOW, by=by)


def test_a_form_that_was_filled_in_anew_is_not_the_same(desk, season):
    """Back in the browser, another day chosen, and sent again: it has the key of the first."""
    address = reverse("admin:courses_cohort_attendance", args=[season.cohort.pk])
    page = desk.get(address)
    sessions = [str(day) for day in season.cohort.sessions[:2]]
    answers = [desk.post(address, form_of(page, session=each, present=[]), follow=True) for each in sessions]
    assert ["nothing was done twice" in said(answer) for answer in answers] == [False, False]


def cancel_page(receipt):
    return reverse("admin:fees_receipt_cancel", args=[receipt.pk])


def test_so_does_a_form_whose_verb_takes_no_key(desk, receipt):
    page = desk.get(cancel_page(receipt))
    first, again = (desk.post(cancel_page(receipt), form_of(page, reason="Twice")) for _ in range(2))
    assert (first.status_code, again.status_code) == (302, 302)
    assert first.url == again.url


def test_a_document_that_moved_on_is_told_and_what_was_typed_stays(desk, receipt, by):
    page = desk.get(cancel_page(receipt))
    fees.cancel_receipt(receipt=receipt, on=NOW, reason="Wrong family", by=by)
    answer = desk.post(cancel_page(receipt), form_of(page, reason="Twice"))
    assert answer.status_code == 422
    assert MOVED_ON in said(answer)
    assert f"; {receipt}: there is nothing to do here now. See what holds now" in said(answer)
    assert "Cancel the receipt" not in said(answer)
    assert form_of(answer)["reason"] == "Twice"
    receipt.refresh_from_db()
    assert receipt.cancel_reason == "Wrong family"


def test_a_state_that_moved_on_is_told_in_words(desk, by):
    kit = Kit.objects.create(number="B1", kind="bow")
    address = reverse("admin:rangeday_kit_aside", args=[kit.pk])
    page = desk.get(address)
    rangeday.set_kit_aside(kit=kit, note="Broken", state="retired", on=NOW, by=by)
    answer = desk.post(address, form_of(page, note="A crack"))
    assert "State: Fit for use when you opened it, now Retired" in said(answer)
    assert kit.checks.count() == 1


def test_who_ticks_a_list_that_somebody_else_has_ticked_sees_it_first(desk, season, by):
    cohort = season.cohort
    address = reverse("admin:courses_cohort_attendance", args=[cohort.pk])
    ada, bo = cohort.places.filter(state="held").select_related("person")[:2]
    with clock.on(cohort.sessions[0]):
        page = desk.get(address)
        courses.record_attendance(cohort=cohort, session=cohort.sessions[0], present=[ada], by=by)
        answer = desk.post(address, form_of(page, present=[str(bo.pk)]))
        assert f"“Who came” as stored: nothing when you opened it, now “{ada.person}”" in said(answer)
        assert form_of(answer)["present"] == str(bo.pk)
        assert list(cohort.places.exclude(attendances=None)) == [ada]
        assert desk.post(address, form_of(answer)).status_code == 302
    assert list(cohort.places.exclude(attendances=None)) == [bo]


def test_what_is_wrong_in_the_form_does_not_hide_that_it_moved_on(desk, owing, by):
    page = desk.get(receipts_page(owing))
    fees.record_receipt(household=owing, amount=as_amount(10), method=Method.CARD, on=NOW, by=by)
    answer = desk.post(receipts_page(owing), form_of(page, amount="ten"))
    assert MOVED_ON in said(answer)


def test_others_who_sign_on_meanwhile_hold_nobody_up(desk, season, by):
    day = RangeDay.objects.filter(closed_on=None).first()
    address = reverse("admin:rangeday_rangeday_sign-on", args=[day.pk])
    page = desk.get(address)
    person = Person.objects.exclude(sign_ons__range_day=day).first()
    rangeday.sign_on(range_day=day, person=person, gear="hire", paid="cash", by=by)
    answer = desk.post(address, form_of(page, visitor_name="Uncle", gear="hire", paid="cash", agreed="on"))
    assert answer.status_code == 302


def test_a_press_is_remembered_only_with_what_it_did(desk, owing, monkeypatch):
    """What fails after the verb takes the memory of it away too."""
    page = desk.get(receipts_page(owing))

    def fail(session):
        raise ZeroDivisionError("no session")

    monkeypatch.setattr("django.contrib.sessions.backends.db.SessionStore.save", fail)
    with pytest.raises(ZeroDivisionError, match="no session"):
        desk.post(receipts_page(owing), form_of(page))
    monkeypatch.undo()
    assert Receipt.objects.filter(key=form_of(page)["key"]).count() == 0
    assert desk.post(receipts_page(owing), form_of(page)).status_code == 302


@pytest.mark.either
def test_every_page_of_a_verb_carries_what_it_was_opened_with(desk, season):
    carrying = {}
    for screen in screens():
        rows = list(screen.model._default_manager.order_by("pk")[:20])
        for page in screen.all_pages:
            row = next((row for row in rows if isinstance(page, VerbPage) and page.applies(row)), None)
            if row is not None:
                carrying[f"{screen.named_as} {page.slug}"] = bool(form_of(desk.get(page.url(row))).get("opened"))
    assert len(carrying) > 40
    assert set(carrying.values()) == {True}
