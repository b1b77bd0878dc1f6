"""After the years of keeping a person's details go and every figure stays; a household gets all that is held of it."""

import io
from datetime import date
from pathlib import Path

import pytest
from django.apps import apps
from django.db import connection
from django.db.models import CharField, EmailField, Q, TextField
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock, guards, rooms
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.courses import services as courses
from clubdesk.desk.erasing import erase_person, retained_until
from clubdesk.entryfund.models import EntryClaim
from clubdesk.errors import Refused
from clubdesk.expenses import services as expenses
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method, Voucher
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Party
from clubdesk.ledger.selectors import balances, entries_of
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Person
from clubdesk.verbs import shell_user
from tests import factories
from tests.worlds.season import NOW

pytestmark = [pytest.mark.database, pytest.mark.django_db]
LATER = date(2035, 7, 1)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def child(season, by):
    """Somebody with every kind of record and a name that is found nowhere else."""
    home = factories.HouseholdFactory(name="Quillfeather family", guardian="Ida Quillfeather", email="ida@example.org")
    child = factories.PersonFactory(household=home, given_name="Zephyrine", family_name="Quillfeather")
    season.add_child_of(child)
    courses.withdraw_place(place=child.places.get(), on=NOW, reason="ill", by=by)
    charging.record_receipt(household=home, amount=as_amount(400), method=Method.CARD, on=NOW, by=by)
    return child


def texts():
    """Every text that the database holds, table by table."""
    found = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names():
            cursor.execute(f'SELECT * FROM "{table}"')
            found[table] = repr(cursor.fetchall())
    return found


def holding(words):
    return [table for table, text in texts().items() if words in text]


def test_no_name_of_a_person_or_household_stands_in_a_sealed_entry(child):
    narrations = list(JournalEntry.objects.values_list("narration", flat=True))
    assert narrations
    assert [each for each in narrations if "Zephyrine" in each or "Quillfeather" in each] == []


def test_the_records_are_kept_for_seven_years_after_the_end_of_the_year(child, by):
    # Source: Associations Incorporation Reform Act 2012 (Vic) s 89.
    membership = child.memberships.get()
    assert membership.ends_on == date(2027, 7, 5)
    assert retained_until(child) == date(2034, 7, 5)
    with pytest.raises(Refused, match="are kept to 5 Jul 2034"):
        erase_person(person=child, on=date(2034, 7, 5), by=by)


def test_every_figure_stays_and_no_name(child, by):
    with pytest.raises(Refused, match="in credit by .*; settle its account first"):
        erase_person(person=child, on=LATER, by=by)
    unused = fees.unused_credit(child.household)
    charging.repay_credit(household=child.household, amount=unused, on=NOW, by=by)
    figures = balances(LATER, ["account_id"]).after_closing
    clock.set_today(LATER)
    file = Path(EntryClaim.objects.get(person=child).receipt.path)
    assert file.exists()
    erase_person(person=child, on=LATER, by=by)
    erase_person(person=child, on=LATER, by=by)
    assert balances(LATER, ["account_id"]).after_closing == figures
    assert holding("Zephyrine") == []
    assert not file.exists()
    assert str(Person.objects.get(pk=child.pk)) == f"Erased person {child.pk}"
    assert not Voucher.objects.filter(person=child).exclude(code__startswith="erased").exists()
    assert sound()


def test_with_the_last_of_a_household_its_guardians_and_letters_go_too(season, by):
    home = factories.HouseholdFactory(name="Quillfeather family", guardian="Ida Quillfeather", email="ida@example.org")
    child = factories.PersonFactory(household=home, given_name="Zephyrine", family_name="Quillfeather")
    booking = courses.book_party(course=season.cohort.course, people=[child], by=by, on=NOW)
    courses.withdraw(booking=booking, on=NOW, reason="ill", by=by)
    assert Message.objects.filter(household=home).exists()
    clock.set_today(LATER)
    erase_person(person=child, on=LATER, by=by)
    assert holding("Quillfeather") == []
    assert not Message.objects.filter(household=home).exists()
    assert Party.objects.get(pk=home.party_id).name == f"Erased family {home.pk}"
    assert sound()


def test_who_owes_or_has_a_place_is_not_erased(season, by):
    child = factories.PersonFactory()
    charging.charge(
        household=child.household, person=child, price=factories.price(code="x"), on=NOW, starts_on=NOW, by=by
    )
    with pytest.raises(Refused, match="still to be paid"):
        erase_person(person=child, on=LATER, by=by)


def test_the_treasurer_erases_on_the_persons_page(client, treasurer, book):
    child = factories.PersonFactory()
    client.force_login(treasurer)
    url = reverse("admin:roll_person_erase", args=[child.pk])
    assert "no longer: nothing is recorded" in client.get(url).content.decode()
    form = {"key": "7d444840-9dc0-11d1-b245-5ffdce74fad2"}
    assert client.post(url, form).status_code == 422
    assert client.post(url, form | {"sure": "on"}).status_code == 302
    child.refresh_from_db()
    assert child.erased_on == clock.today()


def test_a_household_is_given_all_that_is_held_about_it_in_one_file(client, coordinator, child):
    client.force_login(coordinator)
    answer = client.get(reverse("admin:household_file", args=[child.household_id]))
    book = load_workbook(io.BytesIO(answer.content))
    said = {sheet.title: str([[cell.value for cell in row] for row in sheet.iter_rows()]) for sheet in book}
    assert list(said) == [
        "People", "Letters", "Fees", "Whom to ring", "Health", "Memberships", "Courses", "Range", "Entry refunds",
        "Payments", "Duty", "Incidents",
    ]  # fmt: skip
    assert "Ida Quillfeather" in said["People"]
    assert "Zephyrine Quillfeather" in said["Memberships"]
    for words in ("Fee", "Receipt"):
        assert words in said["Fees"]
    assert "Withdrawn" in said["Courses"]
    assert "hired gear" in said["Range"]
    assert "State clout championship" in said["Entry refunds"]
    assert "Hello Ida Quillfeather" in said["Letters"]


def test_a_siblings_details_stay_and_old_letters_go(season, by):
    home = factories.HouseholdFactory(name="Quillfeather family", guardian="Ida Quillfeather", email="ida@example.org")
    leaver, sibling = (factories.PersonFactory(household=home, given_name=name) for name in ("Zephyrine", "Bela"))
    for person in (leaver, sibling):
        booking = courses.book_party(course=season.cohort.course, people=[person], by=by, on=NOW)
        courses.withdraw(booking=booking, on=NOW, reason="ill", by=by)
    clock.set_today(LATER)
    erase_person(person=leaver, on=LATER, by=by)
    assert holding("Zephyrine") == []
    assert holding("Bela") != []
    assert home.guardians.get().name == "Ida Quillfeather"


def test_bank_details_expenses_and_the_banks_words_are_erased_with_the_household(season, by, approver):
    home = factories.HouseholdFactory(name="Quillfeather family", guardian="Ida Quillfeather", email="ida@example.org")
    child = factories.PersonFactory(household=home, given_name="Zephyrine", family_name="Quillfeather")
    factories.bank_details(home, by, title="Ida Quillfeather", number="55512345")
    spent = factories.expense(by, home, what="paint")
    expenses.approve_expense(expense=spent, on=NOW, by=approver)
    account = BankAccount.objects.get()
    run = bank.make_run(bank_account=account, method="single", pay_on=NOW, on=NOW, by=by, expenses=[spent])
    bank.release_run(run=run, on=NOW, by=approver)
    bank.record_paid(run=run, items=list(run.items.all()), on=NOW, by=by)
    line = bank.record_statement_line(
        bank_account=account, on=NOW, amount=-spent.amount, text="TFR QUILLFEATHER I", by=by
    )
    posting = entries_of(spent).get(purpose="pay").postings.get(account=account.account)
    bank.explain_line(line=line, posting=posting, by=by)
    file = Path(spent.receipt.path)
    clock.set_today(LATER)
    erase_person(person=child, on=LATER, by=by)
    assert holding("Quillfeather") == []
    assert holding("QUILLFEATHER") == []
    assert holding("55512345") == []
    assert not file.exists()
    assert sound()


def columns_with_words(each):
    """What the rooms say is told or erased of a row, where it is plain text."""
    meta = apps.get_model(each.model)._meta
    named = {*each.told, *(how.column for how in each.erased if not how.is_file)}
    return sorted(
        name for name in named
        if isinstance(meta.get_field(name), CharField | TextField) and not isinstance(meta.get_field(name), EmailField)
    )  # fmt: skip


def rows_about(each, child):
    about = Q(**{each.person: child.pk}) if each.person else Q(**{each.family: child.household_id})
    return apps.get_model(each.model)._default_manager.filter(about).distinct()


def test_whatever_is_typed_about_a_child_is_told_to_its_family_and_erased_with_it(client, coordinator, child):
    """A word of its own stands in each text column that any room declares; rows without one are another test's."""
    guards.remove(connection)
    told, gone = {}, {}
    for number, each in enumerate(each for room in rooms.in_order() for each in room.personal):
        for place, column in enumerate(columns_with_words(each)):
            word = f"Wq{number:02d}{place}"
            rows = apps.get_model(each.model)._default_manager.filter(pk__in=rows_about(each, child).values("pk"))
            if rows.update(**{column: word}):
                where = f"{each.model}.{column}"
                told |= {word: where} if column in each.told else {}
                gone |= {word: where} if column in {how.column for how in each.erased} else {}
    guards.install(connection)
    assert len(told) >= 10
    assert len(gone) >= 10
    client.force_login(coordinator)
    content = client.get(reverse("admin:household_file", args=[child.household_id])).content
    shown = str(
        [[cell.value for row in sheet.iter_rows() for cell in row] for sheet in load_workbook(io.BytesIO(content))]
    )
    assert [where for word, where in told.items() if word not in shown] == []
    credit = fees.unused_credit(child.household)
    charging.repay_credit(household=child.household, amount=credit, on=NOW, by=shell_user())
    clock.set_today(LATER)
    erase_person(person=child, on=LATER, by=shell_user())
    assert [where for word, where in gone.items() if holding(word)] == []
