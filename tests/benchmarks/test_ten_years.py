"""What pages, checks and papers cost after ten years beside the demo's seventeen months, in one run.

Ten years have thirty-five times the demo's postings, seven times its families and a waitlist of 5,000.
"""

import io

import pytest
from django.contrib.auth.models import User
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.selectors import year_containing
from clubdesk.reports.verify import verify
from clubdesk.reports.workbook import workbook_bytes, write_workbook
from clubdesk.verbs import shell_user
from tests.worlds import demo, keeping, ten_years

pytestmark = [pytest.mark.world("demo"), pytest.mark.django_db(transaction=True)]
LAST_DAYS = {"demo": demo.LAST_DAY, "ten_years": ten_years.TODAY}

PAGES = {
    "roll_household_changelist": 1.5,
    "rangeday_rangeday_changelist": 1.5,
    "rangeday_signon_changelist": 1.5,
    "rangeday_kit_changelist": 3,  # each piece with its uses, thirty times as many
    "ledger_journalentry_changelist": 1.5,
    "courses_place_changelist": 1.5,
    "bank_bankrule_add": 1.5,
    "range_figures": 5,  # of a year in which the range was open every day
    "range_tin": 3,
    "affiliation": 3,  # seven times the members of whom something is owed
    "aged_balances": 5,  # seven times the families that owe
    "committee": 3,  # the same
    "fund_statement": 2,
    "explain_lines": 4,  # what may stand on a line: what seven times the families owe
}
"""How many times as long a page may take; more than one and a half only where it shows so much more."""


@pytest.fixture
def in_world(db, settings):
    """Do something in a world on its last day; whoever is asked for is signed in there."""
    clients = {}

    def done(world, act):
        keeping.enter(world)
        settings.MEDIA_ROOT = keeping.files_of(world) / "evidence"
        with clock.on(LAST_DAYS[world]):
            if world not in clients:
                clients[world] = Client()
                sees_all = User.objects.filter(is_superuser=True, is_active=True).exclude(password="")
                clients[world].force_login(
                    sees_all.first() or User.objects.create_superuser("everything", password="x")
                )
            cache.clear()
            return act(clients[world])

    return done


@pytest.mark.parametrize("name", PAGES)
def test_a_page_after_ten_years_beside_the_demos(ratio, in_world, name):
    def opened(client):
        assert client.get(reverse(f"admin:{name}")).status_code == 200

    ratio(lambda: in_world("ten_years", opened), lambda: in_world("demo", opened), rounds=5, limit=PAGES[name])


def test_a_night_with_nothing_to_do(ratio, in_world):
    def night(client):
        nightly(on=clock.today(), by=shell_user())

    ratio(lambda: in_world("ten_years", night), lambda: in_world("demo", night), rounds=5, limit=4)


def test_the_workbook_of_a_year_beside_that_of_the_demos(ratio, in_world):
    """A year of ten years holds some twelve times the demo's postings; each costs no more."""
    rows = {}

    def written(client):
        year = FinancialYear.objects.exclude(closed_at=None).first()
        rows[clock.today()] = year.entries.count()
        write_workbook(year, io.BytesIO(), made_on=clock.today(), made_by="x")

    in_world("ten_years", written), in_world("demo", written)
    more = max(rows.values()) / min(rows.values())
    ratio(lambda: in_world("ten_years", written), lambda: in_world("demo", written), rounds=2, limit=1.3 * more)


@pytest.mark.parametrize("world", LAST_DAYS)
def test_a_file_verified_beside_the_same_file_written(ratio, in_world, world):
    def made(client):
        year = year_containing(clock.today())
        return workbook_bytes(year, made_on=clock.today(), made_by="x")

    content = in_world(world, made)
    ratio(lambda: in_world(world, lambda _: verify(content)), lambda: in_world(world, made), rounds=2, limit=2)


def test_every_check_of_ten_years(benchmark, in_world):
    def checked():
        assert [result for result in in_world("ten_years", lambda _: check_all()) if result.faults] == []

    benchmark.pedantic(checked, rounds=2)
