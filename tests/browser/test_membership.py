"""Memberships in a real browser: a household renewed with one click, prices, a roll from a file, affiliation."""

from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import expect

from clubdesk import clock
from clubdesk.ledger import services as ledger
from clubdesk.membership import services
from clubdesk.membership.models import Membership
from clubdesk.roll.models import Household, Person
from clubdesk.verbs import shell_user
from tests import factories, families
from tests.browser.test_scenes import accessible, fits, sound

STARTED, DUE = date(2026, 7, 6), date(2027, 6, 20)
ROLL = """household,guardian,email,given_name,family_name,birth_date,plan,expiry,opening_balance,balance_for
Wattle family,Uma Wattle,uma@example.org,Cato,Wattle,2013-01-02,Junior,2027-03-31,45.00,Memberships
Wattle family,Uma Wattle,uma@example.org,Adah,Mirabar,2014-05-05,,,,
"""
UNTIDY = """Juniors of the club;;;;
First;Surname;D.O.B.;Mum or dad;Owing
Dot;Solano;27 May 2011;Pia Solano;$45.00
Eli;Nightjar;15.04.08;Per Nightjar;-
Cai;Rowan;31/02/2013;;
Total;;;;$45.00
"""


@pytest.fixture
def household(people):
    """Two siblings whose memberships end soon, the second with a discount."""
    by = shell_user()
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    bodies = factories.association(), factories.association("National archery body")
    plan = factories.plan(shares=[(bodies[0], "71.00"), (bodies[1], "45.00")])
    plan.sibling_percent = 10
    plan.save()
    home = factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar", email="ida@example.org")
    for name, born in (("Ada", date(2014, 5, 5)), ("Bela", date(2012, 2, 2))):
        child = factories.PersonFactory(household=home, given_name=name, family_name="Mirabar", birth_date=born)
        services.take_out_membership(person=child, plan=plan, starts_on=STARTED, on=STARTED, by=by)
    return home


def looks_right(page):
    assert fits(page)
    assert accessible(page) == []


def test_the_coordinator_renews_a_household_with_a_voucher_in_the_same_step(site, household):
    clock.set_today(DUE)
    factories.scheme()
    page = site("coordinator")
    page.goto("/roll/")
    page.get_by_role("link", name="Renewals", exact=True).click()
    expect(page.get_by_text("$228.00, less sibling $11.20 = $216.80")).to_be_visible()
    looks_right(page)
    page.get_by_role("link", name="Renew Mirabar family: $444.80").click()
    expect(page.locator(".facts")).to_contain_text("1 letter goes out.")
    row = page.get_by_role("group", name="Voucher 1")
    row.get_by_label("Whose").select_option(label="Bela Mirabar")
    row.get_by_label("Sport voucher of").select_option(label="State sport voucher")
    row.get_by_label("Its code").fill("SV-7")
    row.get_by_label("Date of birth on it").fill(household.people.get(given_name="Bela").birth_date.isoformat())
    looks_right(page)
    page.get_by_role("button", name="See what becomes of it").click()
    expect(page.locator(".facts")).to_contain_text("$228.00, less sibling $11.20, less voucher $150.00 = $66.80")
    looks_right(page)
    page.get_by_role("button", name="Renew them").click()
    expect(page.locator(".messagelist")).to_contain_text(
        "Bela Mirabar to 5 Jul 2028: $228.00, less sibling $11.20, less voucher $150.00 = $66.80"
    )
    assert Membership.objects.count() == 4
    assert sound()


def test_which_vouchers_are_best_set_against_what_is_read_by_the_coordinator_and_by_the_family(site, household):
    clock.set_today(DUE)
    for name, worth in (("State sport voucher", "220.00"), ("Winter voucher", "50.00")):
        factories.scheme([(2027, worth)], name=name)
    page = site("coordinator")
    page.goto(f"/roll/household/{household.pk}/renew/")
    expect(page.get_by_text("Bela has one voucher of State sport voucher left in 2027, worth $220.00")).to_be_visible()
    looks_right(page)
    page.goto(families.link(household))
    expect(page.get_by_role("region", name="Sport vouchers")).to_contain_text("Ada has one voucher of Winter voucher")
    looks_right(page)


def test_what_a_membership_would_cost_and_who_leaves(site, household):
    page = site("coordinator")
    page.goto(f"/roll/household/{household.pk}/change/")
    page.get_by_text("More", exact=True).first.click()
    looks_right(page)
    page.get_by_role("link", name="What a membership would cost").click()
    page.get_by_label("Plan").select_option(label="Junior")
    page.get_by_label("From", exact=True).fill("2027-07-06")
    page.get_by_role("button", name="Show the price").click()
    expect(page.get_by_text("$228.00, less sibling $11.20 = $216.80")).to_be_visible()
    looks_right(page)
    membership = Membership.objects.first()
    page.goto(f"/membership/membership/{membership.pk}/end/")
    looks_right(page)
    page.get_by_label("Reason").fill("moved")
    page.get_by_role("button", name="End the membership").click()
    expect(page.locator(".messagelist")).to_contain_text("ends on 12 Sep 2026")
    assert sound()


def test_a_roll_is_brought_in_after_a_look_at_what_would_happen(site, household, tmp_path):
    file = tmp_path / "roll.csv"
    file.write_text(ROLL)
    page = site("coordinator")
    page.goto("/roll/")
    page.get_by_role("link", name="Import a roll").click()
    looks_right(page)
    page.get_by_label("File").set_input_files(file)
    page.get_by_role("button", name="Show what would happen").click()
    expect(page.get_by_text("Say for 1 of them who it is.")).to_be_visible()
    looks_right(page)
    page.get_by_label("The same as Ada Mirabar of Mirabar family").check()
    page.get_by_role("button", name="Import all of it").click()
    expect(page.locator(".messagelist")).to_contain_text("Imported: 1 family, 1 person, 1 membership, 1 balance.")
    assert Person.objects.count() == 3
    assert Household.objects.get(name="Wattle family").people.get().given_name == "Cato"
    assert sound()


def test_the_treasurer_sees_what_is_owed_for_whom_and_pays_it_on(site, household):
    page = site("treasurer")
    page.goto("/roll/")
    page.get_by_role("link", name="Affiliation, member by member").click()
    page.get_by_label("Association").select_option(label="State archery association")
    page.get_by_role("button", name="Show the list").click()
    expect(page.get_by_role("row", name="Together")).to_contain_text("142.00")
    looks_right(page)
    page.get_by_role("link", name="Record the payment").click()
    page.get_by_role("button", name="Record the payment").click()
    expect(page.locator(".messagelist")).to_contain_text("142.00 to State archery association for 2 fees")
    looks_right(page)
    assert sound()


def test_an_untidy_roll_is_taken_by_its_columns_and_the_rest_comes_back(site, household, tmp_path):
    file = tmp_path / "juniors.csv"
    file.write_text(UNTIDY)
    page = site("coordinator")
    page.goto("/roll/import/")
    page.get_by_label("File").set_input_files(file)
    page.get_by_role("button", name="Show what would happen").click()
    expect(page.get_by_label("Surname")).to_have_value("family_name")
    page.get_by_label("Mum or dad").select_option("guardian")
    looks_right(page)
    page.get_by_role("button", name="Show what would happen").click()
    expect(page.get_by_text("1 of them must be put right first")).to_be_visible()
    looks_right(page)
    with page.expect_download() as left:
        page.get_by_role("button", name="Get the 1 other as a file").click()
    assert "is not a date" in Path(left.value.path()).read_text()
    page.get_by_role("button", name="Import the 2 good rows").click()
    expect(page.locator(".messagelist")).to_contain_text("Imported: 2 families, 2 people, 0 memberships, 1 balance.")
    assert sound()
