"""What every test may ask for: a started book, people who sign in, and a database that can be emptied."""

import gc
import shutil

import pytest
from django.contrib.auth.models import User
from django.core.cache import caches
from django.db import connection
from django.test import TransactionTestCase

from clubdesk import clock
from clubdesk.ledger.models import Book
from clubdesk.rooms import APPROVER, AUDITOR, COORDINATOR, RANGE_HELPER, TREASURER
from clubdesk.verbs import shell_user
from tests import factories
from tests.worlds import keeping
from tests.worlds.day_one import KEEPER, TODAY, username
from tests.worlds.season import Season

TransactionTestCase._fixture_teardown = lambda self: keeping.spoil()


DATABASE_FIXTURES = {"db", "transactional_db", "live_server"}
WORLDS_OF_FIXTURES = {"season", "full_range"}
"""Fixtures that are each of the world of the same name."""


def pytest_collection_modifyitems(items):
    # The slow first, so that no core waits for another at the end; the quick of one world together, still in a random
    # order, since a process that goes over to another book opens it anew and learns all its guards again.
    items.sort(key=lambda item: ("", "") if item.get_closest_marker("slow") else ("quick", world_of(item) or ""))
    for item in items:
        if not item.get_closest_marker("slow"):
            item.add_marker(pytest.mark.quick)
        if world_of(item) and not item.get_closest_marker("either") and not goes_by_pages(item):
            item.add_marker(pytest.mark.database)
        vendor = item.get_closest_marker("only_on")
        if vendor and vendor.args[0] != connection.vendor:
            item.add_marker(pytest.mark.skip(reason=f"a rule of {vendor.args[0]}"))


def goes_by_pages(item):
    """Whether it is quick, commits nothing and goes by pages: what they say and do is the same on either database.

    Verbs have tests of their own on both; that each page answers on both, small and large, is asked in three worlds.
    """
    asked = item.get_closest_marker("django_db")
    commits = "transactional_db" in item.fixturenames or (asked and asked.kwargs.get("transaction"))
    kept = item.get_closest_marker("slow") or item.get_closest_marker("database") or item.get_closest_marker("only_on")
    return "client" in item.fixturenames and not commits and not kept


def pytest_collection_finish():
    """What is loaded by now stays: nobody looks through it for garbage again and again (a tenth of the time)."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Who has nothing left to do takes from the others: the longest begin at once and nobody waits at the end."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


@pytest.fixture(autouse=True)
def today():
    with clock.on(TODAY):
        yield TODAY


@pytest.fixture(autouse=True)
def nothing_remembered():
    for name in ("default", "figures"):
        caches[name].clear()


@pytest.fixture(autouse=True)
def numbers_begin_above_those_of_any_world():
    for each in (factories.HouseholdFactory, factories.PersonFactory):
        each.reset_sequence(1000)


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment):
    """In place of pytest-django's own: worlds are made when a test first asks for one."""
    yield
    keeping.leave()


def world_of(item):
    """The name of the world that a test begins in; None where it asks for no database."""
    if marked := item.get_closest_marker("world"):
        return marked.args[0]
    for world in WORLDS_OF_FIXTURES & set(item.fixturenames):
        return world
    asked = item.get_closest_marker("django_db") or DATABASE_FIXTURES & set(item.fixturenames)
    return "day_one" if asked else None


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    if world := world_of(item):
        keeping.enter(world)


@pytest.fixture(autouse=True)
def evidence_in_a_scratch_folder(request, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "evidence"
    world = world_of(request.node)
    if world and (kept := keeping.files_of(world) / "evidence").exists():
        shutil.copytree(kept, settings.MEDIA_ROOT)


@pytest.fixture
def book(db):
    return Book.objects.get()


@pytest.fixture
def by(book):
    return shell_user()


@pytest.fixture
def season(db):
    return Season.found()


def _who_is(role):
    return User.objects.get(username=username(role))


@pytest.fixture
def keeper(book):
    return User.objects.get(username=KEEPER)


@pytest.fixture
def coordinator(book):
    return _who_is(COORDINATOR)


@pytest.fixture
def treasurer(book):
    return _who_is(TREASURER)


@pytest.fixture
def approver(book):
    return _who_is(APPROVER)


@pytest.fixture
def auditor(book):
    return _who_is(AUDITOR)


@pytest.fixture
def range_helper(book):
    return _who_is(RANGE_HELPER)
