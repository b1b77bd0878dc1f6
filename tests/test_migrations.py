"""A club that began with places one by one keeps each of them, and its order, when parties arrive."""

import uuid
from datetime import date

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from clubdesk import guards
from clubdesk.courses.models import Booking, Place
from clubdesk.desk.services import start_books
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.services import shell_user
from clubdesk.roll.models import Guardian
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
