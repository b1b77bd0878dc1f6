"""What a helper does with the sheet of a range day."""

from playwright.sync_api import expect

from clubdesk.membership.models import Plan
from tests import factories
from tests.worlds.full_range import joined


def siblings(*names):
    """Members of one family."""
    home, plan = factories.HouseholdFactory(name="Mirabar family"), Plan.objects.get()
    return [joined(plan, name, household=home) for name in names]


def opened(site, day, username="helper"):
    page = site(username)
    page.goto(f"/range/{day.pk}/")
    expect(page.locator("#count")).to_have_text("On the range: 0")
    return page


def find(page, number):
    page.get_by_label("Who is here?").fill(f"nara{number:02d}")


def show(page, part):
    """A part of the sheet, which on a phone stands behind its tab."""
    tab = page.locator(".tabs button", has_text=part)
    if tab.is_visible():
        tab.click()


def all_is_sent(page):
    expect(page.locator("#waits")).to_have_text("All is sent.", timeout=20_000)
