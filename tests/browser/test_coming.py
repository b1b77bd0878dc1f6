"""The page that says who comes, at both widths."""

from datetime import timedelta

import pytest

from clubdesk.rangeday.models import RangeDay, SignOn
from clubdesk.roll.models import Guardian
from tests import factories
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import TODAY


@pytest.fixture
def weeks(people):
    """Eight Saturdays with one who comes each time, and one who has stopped."""
    keen, gone = (factories.PersonFactory(given_name=name, family_name="Quoll") for name in ("Keen", "Ann"))
    Guardian.objects.create(household=gone.household, name="Ida Quoll", phone="08 7010 0101", email="ida@example.org")
    for week in range(1, 9):
        day = RangeDay.objects.create(date=TODAY - timedelta(weeks=week), place="Main range")
        for child in [keen, *([gone] if week > 3 else [])]:
            SignOn.objects.create(range_day=day, person=child, gear="own", paid="nothing", recorded_by=people["helper"])


def test_it_fits_is_accessible_and_leads_to_its_files(site, weeks):
    page = site("coordinator")
    page.goto("/range/coming/")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="The last twelve months").click()
    with page.expect_download() as handed:
        page.get_by_role("link", name="Came weekly, and was missed three times or more as CSV").click()
    assert "Ann Quoll" in handed.value.path().read_text(encoding="utf-8")
