"""The worlds that tests begin with: each test finds its own as it was made, whatever the one before did."""

import subprocess
import sys

import pytest
from django.contrib.auth.models import User
from django.db import connection

from clubdesk import guards
from clubdesk.bank.models import ClearedLine
from clubdesk.courses.models import Course, PlaceState
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Book, FinancialYear, JournalEntry, Posting
from clubdesk.rangeday.models import KitLoan
from clubdesk.roll.models import Household, Person
from tests import factories
from tests.worlds import keeping
from tests.worlds.known import WORLDS

ENTERING = """
import django
django.setup()
from tests.worlds import keeping
keeping.enter("day_one")
print(keeping.copies["day_one"])
keeping.leave()
"""


@pytest.mark.world("empty")
def test_the_empty_one_has_tables_and_guards_alone(db):
    assert not Book.objects.exists()
    assert guards.faults(connection) == []


def test_the_started_one_has_a_book_and_somebody_in_each_role(book, treasurer, keeper):
    assert book.club_name == "Reedbank Archers"
    assert [group.name for group in treasurer.groups.all()] == ["Treasurer"]
    assert keeper.is_superuser
    assert not JournalEntry.objects.exists()


@pytest.mark.parametrize("size", [pytest.param(12, marks=pytest.mark.world("season")),
                                  pytest.param(50, marks=pytest.mark.world("season_50"))])  # fmt: skip
def test_a_season_has_its_people_and_books_that_prove_themselves(season, size):
    assert season.people == size
    assert [result for result in check_all() if result.faults] == []


@pytest.mark.slow
@pytest.mark.world("ten_years")
def test_ten_years_are_as_large_as_a_busy_clubs(db):
    assert Posting.objects.count() > 200_000
    assert Person.objects.count() > 600
    assert ClearedLine.objects.filter(stands=True).count() > 3_000
    assert KitLoan.objects.count() > 3_000
    assert Course.objects.order_by("pk").last().bookings.filter(state=PlaceState.WAITING).count() >= 5_000
    assert JournalEntry.objects.exclude(reverses=None).count() > 300
    assert FinancialYear.objects.exclude(closed_at=None).count() == 9, "and the tenth is open"


@pytest.mark.parametrize("turn", [1, 2])
@pytest.mark.django_db(transaction=True)
def test_what_was_committed_is_gone_for_the_next(book, turn):
    assert (book.club_name, Household.objects.count()) == ("Reedbank Archers", 0)
    Book.objects.update(club_name="Another club")
    User.objects.create(username="second")
    factories.HouseholdFactory()


def test_nobody_works_in_a_world_that_is_kept_nor_in_another_process_copy(book):
    here = connection.settings_dict["NAME"]
    assert here == keeping.copies["day_one"] != keeping.databases.kept("day_one")
    there = subprocess.run(
        [sys.executable, "-c", ENTERING], cwd=keeping.HOUSE, capture_output=True, text=True, check=True
    )
    assert there.stdout.strip() != here


def test_every_world_begins_with_one_that_is_known():
    assert {world.begins for world in WORLDS.values()} - {None} <= set(WORLDS)
