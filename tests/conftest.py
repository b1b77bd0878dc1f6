"""What every test may ask for: a started book, people who sign in, and a database that can be emptied."""

from datetime import date

import pytest
from django.core.cache import cache
from django.db import connection, connections
from django.test import TransactionTestCase

from clubdesk import clock, guards
from clubdesk.desk import services as desk
from clubdesk.desk.roles import APPROVER, AUDITOR, COORDINATOR, RANGE_HELPER, TREASURER
from clubdesk.ledger.services import shell_user

TODAY = date(2026, 9, 12)
YEAR_START = date(2026, 7, 1)

empty_tables = TransactionTestCase._fixture_teardown


def empty_with_guards_lifted(self):
    """A test database is emptied between tests; in a real one the guards refuse exactly that."""
    for alias in self._databases_names(include_mirrors=False):
        guards.remove(connections[alias])
    empty_tables(self)
    for alias in self._databases_names(include_mirrors=False):
        guards.install(connections[alias])


TransactionTestCase._fixture_teardown = empty_with_guards_lifted


LONGEST = ("three_years", "the_designs_scenario", "at_50_and_at_500", "test_rush")


def pytest_collection_modifyitems(items):
    # The longest first, so that no core waits for another at the end.
    items.sort(key=lambda item: not any(name in item.nodeid for name in LONGEST))
    for item in items:
        vendor = item.get_closest_marker("only_on")
        if vendor and vendor.args[0] != connection.vendor:
            item.add_marker(pytest.mark.skip(reason=f"a rule of {vendor.args[0]}"))


@pytest.fixture(autouse=True)
def today():
    with clock.on(TODAY):
        yield TODAY


@pytest.fixture(autouse=True)
def nothing_remembered():
    cache.clear()


@pytest.fixture(autouse=True)
def evidence_in_a_scratch_folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "evidence"


@pytest.fixture
def book(db):
    return desk.start_books(club_name="Reedbank Archers", year_start=YEAR_START, by=shell_user())


@pytest.fixture
def by(book):
    return shell_user()


def _person_with(role):
    user, _ = desk.add_user(username=role.lower().replace(" ", "-"), role=role, password="correct-horse-7")
    return user


@pytest.fixture
def coordinator(book):
    return _person_with(COORDINATOR)


@pytest.fixture
def treasurer(book):
    return _person_with(TREASURER)


@pytest.fixture
def approver(book):
    return _person_with(APPROVER)


@pytest.fixture
def auditor(book):
    return _person_with(AUDITOR)


@pytest.fixture
def range_helper(book):
    return _person_with(RANGE_HELPER)
