"""Two that are one, a child of another family, and both undone, in a real browser."""

from datetime import date

import pytest
from playwright.sync_api import expect

from clubdesk.courses import services as courses
from clubdesk.fees import selectors
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind
from clubdesk.ledger.models import Role
from clubdesk.money import as_amount
from clubdesk.roll.models import Person
from clubdesk.verbs import shell_user
from tests import factories
from tests.browser.test_scenes import accessible, fits, pick, sound

NOW = date(2026, 9, 12)


@pytest.fixture
def homes(people):
    """One family twice on the roll, each time with the child and with something that it owes."""
    made = []
    for name in ("Quoll family", "Quol family"):
        home = factories.HouseholdFactory(
            name=name, guardian="Ida Quoll", email="ida@example.org", phone="0400 111 222"
        )
        factories.PersonFactory(household=home, given_name="Ada", family_name="Quoll")
        price = factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS, code=name)
        fees.charge(household=home, price=price, on=NOW, starts_on=NOW, by=shell_user())
        made.append(home)
    return made


def looks_right(page):
    assert fits(page)
    assert accessible(page) == []


def test_a_family_that_stands_twice_is_merged_and_undone(site, homes):
    one, _ = homes
    page = site("coordinator")
    page.goto(f"/roll/household/{one.pk}/change/")
    expect(page.get_by_text("Twice on the roll")).to_be_visible()
    looks_right(page)
    page.get_by_role("link", name="the same?").click()
    expect(page.get_by_text("$60.00 goes over to Quoll family")).to_be_visible()
    looks_right(page)
    page.get_by_role("button", name="Make them one").click()
    expect(page.locator(".messagelist")).to_contain_text("Quol family is the same as Quoll family from now on.")
    assert selectors.balance(one) == as_amount(120)
    looks_right(page)
    page.get_by_role("link", name="Quol family", exact=True).click()
    looks_right(page)
    page.get_by_role("link", name="Undo the merge").click()
    looks_right(page)
    page.get_by_role("button", name="Undo the merge").click()
    expect(page.locator(".messagelist")).to_contain_text("Quol family and Quoll family are two again.")
    assert selectors.balance(one) == as_amount(60)
    assert sound()


def test_what_cannot_both_stand_is_said_in_a_sentence(site, homes):
    cohort = factories.cohort(capacity=4)
    one, other = Person.objects.order_by("pk")
    for person in (one, other):
        courses.book_place(person=person, cohort=cohort, on=NOW, by=shell_user())
    page = site("coordinator")
    page.goto(f"/roll/person/{one.pk}/merge/")
    looks_right(page)
    pick(page, "The same person", "Ada", "Ada Quoll")
    page.get_by_role("button", name="See what becomes of it").click()
    expect(page.locator(".verb")).to_contain_text("already; choose the other")
    page.goto(f"/roll/person/{one.pk}/merge/?other={other.pk}")
    expect(page.locator(".facts")).to_contain_text("withdraw one of the two first")
    looks_right(page)
    page.get_by_role("button", name="Make them one").click()
    expect(page.get_by_role("alert")).to_contain_text("withdraw one of the two first")
    looks_right(page)


def test_a_child_belongs_to_another_family_and_comes_back(site, homes):
    one, other = homes
    child = one.people.get()
    courses.book_place(person=child, cohort=factories.cohort(capacity=4), on=NOW, by=shell_user())
    page = site("coordinator")
    for home in (other, one):
        page.goto(f"/roll/person/{child.pk}/change/")
        page.get_by_text("More", exact=True).first.click()
        page.get_by_role("link", name="This child now belongs to…").click()
        looks_right(page)
        pick(page, "Now belongs to", "Quo", home.name)
        page.get_by_label("The new family pays what is still open").check()
        page.get_by_role("button", name="See what becomes of it").click()
        expect(page.locator(".outcome")).to_contain_text(f"{home} owes")
        looks_right(page)
        page.get_by_role("button", name="Save that it is so").click()
        expect(page.locator(".messagelist")).to_contain_text(f"Ada Quoll belongs to {home} from now on.")
    assert (selectors.balance(one), selectors.balance(other)) == (as_amount(186), as_amount(60))
    assert sound()


def test_who_is_known_is_pointed_out_with_use_this_one(site, homes):
    page = site("coordinator")
    page.goto("/roll/household/add/")
    page.locator("#id_name").fill("Quoll once more")
    page.locator("#id_guardians-0-name").fill("Ida")
    page.locator("#id_guardians-0-phone").fill("0400111222")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_text("guardian of Quoll family is on the roll already").last).to_be_visible()
    looks_right(page)
    page.get_by_role("link", name="use this one").first.click()
    expect(page).to_have_url(f"http://{page.url.split('/')[2]}/roll/household/{homes[0].pk}/change/")
