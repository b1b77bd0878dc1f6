"""A club that began with places one by one keeps each of them, and its order, when parties arrive."""

import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from clubdesk import guards
from clubdesk.bank.models import BankAccount, Clearing
from clubdesk.courses.models import Booking, Place
from clubdesk.desk.services import start_books
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalOrigin, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.ledger.services import shell_user
from clubdesk.membership.models import Membership
from clubdesk.membership.selectors import affiliation_due
from clubdesk.money import as_amount
from clubdesk.roll.models import Guardian
from clubdesk.yearend.models import Disposal
from clubdesk.yearend.register import Register
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
NOW = date(2026, 9, 12)


def migrate(name):
    executor = MigrationExecutor(connection)
    executor.migrate([("courses", name)])
    return executor.loader.project_state([("courses", name)]).apps


def test_places_become_parties_of_one_in_their_order(transactional_db):
    by = shell_user()
    start_books(club_name="Reedbank Archers", year_start=date(2026, 7, 1), by=by)
    people = [factories.PersonFactory() for _ in range(5)]
    Guardian.objects.create(household=people[2].household, name="Ida Mirabar")
    Guardian.objects.create(household=people[2].household, name="Ulf Mirabar", email="ulf@example.org")
    item = factories.price().item
    guards.remove(connection)
    try:
        old = migrate("0001_initial")
        course = old.get_model("courses", "Course").objects.create(name="Beginner course", fee_item_id=item.pk)
        cohort = old.get_model("courses", "Cohort").objects.create(
            course=course, name="Spring", first_session=date(2026, 10, 4), last_session=date(2026, 10, 25), capacity=2
        )
        states = ["withdrawn", "offered", "waiting", "lapsed", "unreached"]
        for number, (person, state) in enumerate(zip(people, states, strict=True), 1):
            old.get_model("courses", "Place").objects.create(
                key=uuid.uuid4(), recorded_by_id=by.pk, cohort=cohort, person_id=person.pk, state=state, booked_on=NOW,
                queue_number=number, offer_lapses_on=date(2026, 9, 19) if state == "offered" else None,
            )  # fmt: skip
        summer, _ = (
            old.get_model("courses", "Cohort").objects.create(
                course=course, name=name, first_session=day, last_session=day, capacity=2
            )
            for name, day in (("Summer", date(2027, 1, 9)), ("Winter", date(2027, 6, 9)))
        )
        old.get_model("courses", "Place").objects.create(
            key=uuid.uuid4(), recorded_by_id=by.pk, cohort=summer, person_id=people[2].pk, state="waiting",
            booked_on=NOW, queue_number=1,
        )  # fmt: skip
    finally:
        migrate("0005_ages_within_a_life")
        guards.install(connection)
    assert list(Booking.objects.order_by("number").values_list("number", "state", "seats")) == [
        (1, "withdrawn", 1), (2, "offered", 1), (3, "waiting", 1), (4, "lapsed", 1), (5, "lapsed", 1),
        (6, "withdrawn", 1),
    ]  # fmt: skip
    waiting, offered = Place.objects.get(state="waiting"), Place.objects.get(state="offered")
    assert (waiting.cohort, offered.cohort.name) == (None, "Spring")
    assert offered.booking.offer_lapses_on == date(2026, 9, 19)
    assert waiting.booking.household == people[2].household
    assert waiting.booking.guardian.name == "Ulf Mirabar"
    assert [cohort.name for cohort in waiting.booking.cannot_make.all()] == ["Winter"]
    faults = [(result.name, result.faults) for result in check_all() if result.faults]
    assert faults == []


BEFORE = {
    "rangeday": "0001_initial",
    "membership": "0001_initial",
    "fees": "0004_vouchers_answered",
    "courses": "0004_party_holds_its_places",
    "roll": "0002_consents",
}


def test_a_book_of_before_is_brought_up_to_date_with_its_guards_in_place(transactional_db):
    """Fees partly credited, a fee taken back before it was remitted, and one remitted: as the book stood then."""
    by = shell_user()
    start_books(club_name="Reedbank Archers", year_start=date(2026, 7, 1), by=by)
    for app, name in BEFORE.items():
        call_command("migrate", app, name, verbosity=0)
    guards.remove(connection)
    old = MigrationExecutor(connection).loader.project_state(list(BEFORE.items())).apps
    rows = {f"{app}.{name}": old.get_model(app, name) for app, name in (
        ("ledger", "Party"), ("ledger", "Account"), ("roll", "Household"), ("roll", "Person"), ("fees", "FeeItem"),
        ("fees", "FeePrice"), ("fees", "FeeShare"), ("fees", "Charge"), ("fees", "ChargeCredit"),
        ("membership", "Plan"), ("membership", "Membership"), ("membership", "Remittance"))}  # fmt: skip
    state = rows["ledger.Party"].objects.create(name="State archery association", kind="association")
    account = rows["ledger.Account"].objects
    item = rows["fees.FeeItem"].objects.create(
        code="junior", name="Junior", kind="membership", income_account=account.get(role="memberships")
    )
    price = rows["fees.FeePrice"].objects.create(item=item, valid_from=date(2020, 1, 1), amount=228)
    rows["fees.FeeShare"].objects.create(
        price=price, account=account.get(role="affiliation_payable"), party=state, amount=71
    )
    plan = rows["membership.Plan"].objects.create(name="Junior", fee_item=item, months=12)
    own = {"recorded_by_id": by.pk}
    for number, taken_back in enumerate((228, 114, 0)):
        home = rows["roll.Household"].objects.create(
            name=f"Family {number}", party=rows["ledger.Party"].objects.create(name=f"F{number}", kind="household")
        )
        person = rows["roll.Person"].objects.create(
            household=home, given_name="Ada", family_name=str(number), birth_date=date(2014, 1, 1)
        )
        charge = rows["fees.Charge"].objects.create(
            key=uuid.uuid4(), household=home, person=person, price=price, description="Junior", amount=228,
            charged_on=NOW, starts_on=NOW, **own,
        )  # fmt: skip
        if taken_back:
            rows["fees.ChargeCredit"].objects.create(
                key=uuid.uuid4(), charge=charge, amount=taken_back, credited_on=NOW, reason="x", **own
            )
        rows["membership.Membership"].objects.create(
            key=uuid.uuid4(), person=person, plan=plan, charge=charge, starts_on=NOW, ends_on=date(2027, 9, 11), **own
        )
    rows["membership.Remittance"].objects.create(
        key=uuid.uuid4(), association=state, amount=Decimal("106.50"), paid_on=NOW, **own
    )
    if connection.vendor == "sqlite":
        guards.install(connection)
    call_command("migrate", verbosity=0)
    assert guards.faults(connection) == []
    assert [row.fee.amount for row in Membership.objects.order_by("pk")] == [228, 228, 228]
    assert [row.passed_on.amount for row in Membership.objects.order_by("pk")] == [71, 71, 71]
    due = {row.share.charge_id: (row.stands, row.owed) for row in affiliation_due()}
    assert [due[charge] for charge in sorted(due)] == [(0, 0), (Decimal("35.50"), 0), (71, 0)]


def test_lines_that_an_entry_explained_are_cleared_by_it(transactional_db):
    by = shell_user()
    start_books(club_name="Reedbank Archers", year_start=date(2026, 7, 1), by=by)
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    journal = ledger.record_journal(on=NOW, narration="Raffle", lines=lines, by=by)
    posting = entries_of(journal).get().postings.get(amount=5)
    guards.remove(connection)
    try:
        executor = MigrationExecutor(connection)
        executor.migrate([("bank", "0003_statement_files")])
        old = executor.loader.project_state([("bank", "0003_statement_files")]).apps
        known = {"bank_account_id": BankAccount.objects.values_list("pk", flat=True).get(), "date": NOW, "amount": 5}
        for text, explained_by in (("RAFFLE", posting.pk), ("OTHER", None)):
            old.get_model("bank", "StatementLine").objects.create(
                key=uuid.uuid4(), recorded_by_id=by.pk, text=text, explained_by_id=explained_by, **known
            )
    finally:
        call_command("migrate", verbosity=0)
    clearing = Clearing.objects.get()
    assert [part.line.text for part in clearing.lines.all()] == ["RAFFLE"]
    assert [part.posting_id for part in clearing.postings.all()] == [posting.pk]
    assert [result for result in check_all() if result.faults] == []


def test_what_was_marked_as_gone_gets_its_disposal(transactional_db):
    by = shell_user()
    start_books(club_name="Reedbank Archers", year_start=date(2026, 7, 1), by=by)
    lines = [debit(Role.EQUIPMENT, as_amount(90)), credit(Role.BANK, as_amount(90))]
    for number in range(2):
        ledger.record_journal(on=NOW, narration=f"Butt {number}", lines=lines, by=by)
    gone = ledger.record_journal(
        on=NOW, narration="Disposed of: Butt 0. burnt", by=by, origin=JournalOrigin.DISPOSAL,
        lines=[debit(Role.DEPRECIATION, as_amount(90)), credit(Role.EQUIPMENT, as_amount(90))],
    )  # fmt: skip
    guards.remove(connection)
    try:
        executor = MigrationExecutor(connection)
        executor.migrate([("yearend", "0001_initial")])
        old = executor.loader.project_state([("yearend", "0001_initial")]).apps.get_model("yearend", "Equipment")
        for number, disposed_on in enumerate((NOW, None)):
            old.objects.create(
                key=uuid.uuid4(), recorded_by_id=by.pk, name=f"Butt {number}", bought_on=NOW, cost=90, years=5,
                fund_id="general", disposed_on=disposed_on,
            )  # fmt: skip
    finally:
        call_command("migrate", verbosity=0)
    assert [(row.equipment.name, row.reason, row.journal) for row in Disposal.objects.all()] == [
        ("Butt 0", "burnt", gone)
    ]
    assert [thing.name for thing in Register.at(NOW).things] == ["Butt 1"]
    assert [result for result in check_all() if result.faults] == []
