"""Day one, the demo and ten years: what is right in one of them is right in all."""

import io
import re
import zipfile
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import FinancialYear, Kind, Posting
from clubdesk.ledger.selectors import balances
from clubdesk.reports.pack import write_pack
from clubdesk.reports.verify import verify
from clubdesk.reports.workbook import workbook_bytes
from clubdesk.rooms import ROLES
from clubdesk.verbs import shell_user
from tests.whole.addresses import urls_of_a_family, urls_of_everything, urls_of_lists
from tests.worlds import day_one, demo, keeping, ten_years

LAST_DAYS = {"day_one": day_one.TODAY, "demo": demo.LAST_DAY, "ten_years": ten_years.TODAY}
IN_PLACE = (200, 302, 403)
SHOWN_AS_FOUND = ("/find/", "/book/", "/reports/2", "/desk/actrecord/")
"""Pages that ask for each kind of thing that they found, each course that can be booked, or each kind of row."""

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
in_each_world = pytest.mark.parametrize(
    "world", [pytest.param(each, marks=pytest.mark.world(each)) for each in LAST_DAYS]
)


@pytest.fixture(autouse=True)
def last_day(request):
    """The world's own last day, which is today."""
    world = request.node.callspec.params["world"] if hasattr(request.node, "callspec") else "demo"
    with clock.on(LAST_DAYS[world]):
        yield LAST_DAYS[world]


@pytest.fixture
def year():
    """The latest that is not closed and has begun."""
    return FinancialYear.objects.filter(closed_at=None, first_day__lte=clock.today()).latest("first_day")


def unsound():
    return [result for result in check_all() if result.faults]


@in_each_world
def test_its_books_prove_themselves(world):
    assert unsound() == []


PAGES = {}
"""By its world the address of each page that has something to show; found once a process."""


@pytest.fixture
def pages(client, world):
    """Those of the world, to whoever has opened a family's link besides."""
    own = sorted(urls_of_a_family(client))
    if world not in PAGES:
        PAGES[world] = urls_of_everything()
    return sorted({*PAGES[world], *own})


@in_each_world
@pytest.mark.parametrize("role", ROLES)
def test_each_page_answers_whoever_asks(client, world, role, pages):
    client.force_login(User.objects.filter(groups__name=role, is_active=True).first())
    answers = {url: client.get(url).status_code for url in pages}
    assert {url: status for url, status in answers.items() if status not in IN_PLACE} == {}
    assert sum(status == 200 for status in answers.values()) > 8


@in_each_world
def test_its_workbook_is_what_the_book_says(world, year, last_day):
    assert verify(workbook_bytes(year, made_on=last_day, made_by="the tests")).faults == []


@in_each_world
def test_its_pack_for_the_auditor_is_whole(world, year, last_day):
    file = io.BytesIO()
    write_pack(year, file, made_on=last_day, made_by="the tests")
    assert zipfile.ZipFile(file).testzip() is None


@in_each_world
def test_a_second_night_changes_nothing(world, last_day):
    first, second = (nightly(on=last_day, by=shell_user()) for _ in range(2))
    assert sum(second.counts.values()) == 0 <= sum(first.counts.values())
    assert unsound() == []


@in_each_world
def test_its_year_can_be_closed(world, year):
    after = year.last_day + timedelta(days=1)
    with clock.on(after):
        ledger.close_year(year=year, by=shell_user(), on=after)
    left = balances(year.last_day, ["account_id"], account__kind__in=(Kind.INCOME, Kind.EXPENSE)).after_closing
    assert {account: figure for account, figure in left.items() if figure} == {}
    assert unsound() == []


@pytest.mark.either
@pytest.mark.world("demo")
@pytest.mark.django_db(transaction=True)
def test_a_list_asks_no_more_often_after_ten_years_than_in_the_demo(client):
    asked = {}
    for world in ("demo", "ten_years"):
        keeping.spoil()
        keeping.enter(world)
        with clock.on(LAST_DAYS[world]):
            client.force_login(User.objects.create_superuser("everything"))
            lists = [url for url in urls_of_lists() if not url.startswith(SHOWN_AS_FOUND)]
            asked[world] = {re.sub(r"\d+", "N", url): questions(client, url) for url in lists}
    assert Posting.objects.count() > 200_000
    assert len(asked["demo"]) > 120
    more = {url: times for url, times in asked["ten_years"].items() if times > asked["demo"][url]}
    assert more == {}, "less it may be: the demo alone has range days ahead"


@in_each_world
@pytest.mark.parametrize("role", ROLES)
def test_home_asks_at_most_25_questions(client, world, role):
    client.force_login(User.objects.filter(groups__name=role, is_active=True).first())
    client.get("/")  # what is remembered for an hour, such as who is missed
    assert questions(client, "/") <= 25


def questions(client, url):
    keeping.know_content_types()
    cache.clear()
    with CaptureQueriesContext(connection) as captured:
        client.get(url)
    return len(captured)
