"""What the second of two people on one page sees, on a phone and on a laptop."""

import pytest
from playwright.sync_api import expect

from clubdesk.fees import services as fees
from clubdesk.fees.models import FeePrice, Method
from clubdesk.money import as_amount
from clubdesk.roll.models import Guardian
from clubdesk.screens.tables import page_of
from clubdesk.verbs import shell_user
from tests import factories
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import TODAY

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.world("season")]


@pytest.fixture
def home(season):
    home = factories.HouseholdFactory()
    Guardian.objects.create(household=home, name="Ida Mirabar", phone="08 7010 0001", email="ida@example.org")
    return home


def test_a_form_shows_what_somebody_else_has_saved_and_saves_at_the_second_press(site, home):
    page = site("coordinator")
    page.goto(page_of(home))
    home.guardians.update(phone="08 7010 0002", email="ada@example.org")
    page.get_by_text("Change these details").click()
    page.get_by_label("Phone").first.fill("08 7010 0003")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing of yours was saved yet")
    expect(page.get_by_role("alert")).to_be_in_viewport()
    expect(page.get_by_text("You typed “08 7010 0003”, which replaces it if you save again.")).to_be_visible()
    expect(page.get_by_text("it has since been made “ada@example.org”, which stays.")).to_be_visible()
    assert accessible(page) == []
    assert fits(page)
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_text("was changed successfully")).to_be_visible()
    assert home.guardians.values_list("phone", "email").get() == ("08 7010 0003", "ada@example.org")


def test_a_page_of_a_verb_shows_what_holds_now(site, home):
    by, price = shell_user(), FeePrice.objects.first()
    fees.charge(household=home, price=price, starts_on=TODAY, on=TODAY, by=by)
    page = site("treasurer")
    page.goto(f"/roll/household/{home.pk}/receipt/")
    fees.record_receipt(household=home, amount=as_amount(10), method=Method.CARD, on=TODAY, by=by)
    page.get_by_label("Reference").fill("slip 12")
    page.get_by_role("button", name="Record the receipt").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was done yet")
    expect(page.get_by_role("alert")).to_contain_text("now owes $116.00")
    expect(page.get_by_label("Reference")).to_have_value("slip 12")
    assert accessible(page) == []
    assert fits(page)
    page.get_by_role("button", name="Record the receipt").click()
    expect(page.get_by_text("126.00 from")).to_be_visible()
    assert home.receipts.count() == 2
