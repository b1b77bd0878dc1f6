"""A range day with 65 children, and what a helper does with its sheet."""

from datetime import date

from playwright.sync_api import expect

from clubdesk.membership import services as membership
from clubdesk.membership.models import Plan
from clubdesk.verbs import shell_user
from tests import factories
from tests.worlds.day_one import TODAY

CHILDREN = 65


def a_day():
    factories.hire()
    plan = factories.plan()
    for number in range(CHILDREN):
        joined(plan, f"Nara{number:02d}")
    return factories.range_day()


def joined(plan, name, **more):
    """A member of that name, alone in a family unless another is given."""
    child = factories.PersonFactory(given_name=name, family_name="Mirabar", birth_date=date(2014, 1, 9), **more)
    membership.take_out_membership(person=child, plan=plan, starts_on=TODAY, on=TODAY, by=shell_user())
    return child


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
