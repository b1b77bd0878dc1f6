"""The four daily scenes, each done in a real browser by whoever does it, on a phone and on a laptop."""

import re
from datetime import date

import pytest
from axe_playwright_python.sync_playwright import Axe
from openpyxl import load_workbook
from playwright.sync_api import expect

from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import EntryClaim, PaidInto
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.membership.services import take_out_membership
from clubdesk.money import as_amount
from clubdesk.rangeday.models import RangeDay
from tests import factories
from tests.worlds.day_one import TODAY


@pytest.fixture
def member(people):
    child = factories.PersonFactory(given_name="Ada", household=factories.HouseholdFactory(name="Mirabar"))
    start = date(2026, 7, 6)
    take_out_membership(person=child, plan=factories.plan(), starts_on=start, on=start, by=people["coordinator"])
    return child


def sound():
    return [result for result in check_all() if result.faults] == []


def pick(page, label, letters, name):
    """Choose somebody from a field that finds by a few letters, as a person does."""
    field = page.locator(".field").filter(has=page.locator("label", has_text=label)).first
    field.locator(".select2-selection").click()
    page.locator("input.select2-search__field").fill(letters)
    page.locator(".select2-results__option", has_text=name).first.click()


def fits(page):
    """Nothing sticks out of the screen sideways, once all of it has come."""
    page.wait_for_load_state()
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1")


def accessible(page):
    """axe-core finds no violation of WCAG 2.2 AA."""
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    results = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    return [(each["id"], [node["html"][:120] for node in each["nodes"]][:3]) for each in results.response["violations"]]


def test_the_coordinator_books_a_course_place_and_the_next_child_waits(site, people, took):
    cohort = factories.cohort(capacity=1)
    for name in ("Bela", "Cato"):
        factories.PersonFactory(given_name=name, household=factories.HouseholdFactory(name=f"{name} family"))
    page = site("coordinator")
    for name, outcome in (("Bela", "has a place in Beginner course"), ("Cato", "as number 1 in the queue")):
        page.goto("/")
        page.get_by_role("link", name="Book a course place").click()
        pick(page, "On the roll already", name[:3], name)
        page.get_by_label(f"Beginner course, {cohort.name}").check()
        assert fits(page)
        assert accessible(page) == []
        page.get_by_role("button", name="See what becomes of it").click()
        expect(page.locator(".facts")).to_contain_text(outcome)
        page.get_by_role("button", name="Book the places").click()
        expect(page.locator(".messagelist")).to_contain_text(outcome)
    took("two bookings of a course place", page)
    assert balance(Role.FEES_IN_ADVANCE, TODAY) == -126
    assert sound()


def test_the_helper_records_hire_on_the_day_and_the_coordinator_counts_the_tin(site, people, member, took):
    factories.hire()
    page = site("helper")
    page.get_by_role("link", name="Record hire today").click()
    page.get_by_label("Range:").fill("River range")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("River range")
    day = RangeDay.objects.get()
    page.goto(f"/rangeday/rangeday/{day.pk}/sign-on/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign on: River range")
    pick(page, "Who", "ada", "Ada Mirabar")
    page.get_by_label("Cash").check()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Sign on").click()
    expect(page.locator(".messagelist")).to_contain_text("Ada Mirabar is signed on: $7.00, cash.")
    page.get_by_label("Or a visitor's name").fill("Uncle Odo")
    page.get_by_label("Card", exact=True).check()
    page.get_by_role("button", name="Sign on").click()
    expect(page.locator(".messagelist")).to_contain_text("Uncle Odo is signed on: $15.00, card.")
    counting = site("coordinator")
    counting.goto(f"/rangeday/rangeday/{day.pk}/close/")
    assert fits(counting)
    assert accessible(counting) == []
    counting.get_by_label("2.00 ×").fill("1")
    expect(counting.get_by_text("In all: $2.00")).to_be_visible()
    counting.get_by_label("Total on the card reader’s slip").fill("15.00")
    counting.get_by_label("Counted with").select_option(str(people["helper"].pk))
    counting.get_by_role("button", name="Close the day").click()
    expect(counting.get_by_role("alert")).to_contain_text("The cash box should hold $7.00 and is short by $5.00.")
    assert counting.get_by_label("2.00 ×").input_value() == "1"
    counting.get_by_label("Reason for a difference").fill("a note is missing")
    counting.get_by_role("button", name="Close the day").click()
    expect(counting.locator(".messagelist")).to_contain_text("is closed")
    took("a range day opened, two signed on, counted once wrongly and once rightly, by forms", page, counting)
    assert balance(Role.TILL, TODAY) == 2
    counting.get_by_role("link", name="Reopen this day").click()
    counting.get_by_label("Why it is opened again").fill("the note lay under the table")
    assert fits(counting)
    assert accessible(counting) == []
    counting.get_by_role("button", name="Reopen the day").click()
    expect(counting.get_by_role("region", name="Count", exact=True)).to_contain_text("the note lay under the table")
    assert balance(Role.TILL, TODAY) == 7
    for address in ("/range/figures/", "/range/tin/", f"/rangeday/rangeday/{day.pk}/call-off/"):
        counting.goto(address)
        assert fits(counting)
        assert accessible(counting) == []
    assert sound()


def approve_the_refund(approving):
    approving.get_by_role("link", name="Decide entry-fee refunds").click()
    claimed = approving.get_by_role("region", name="Ada Mirabar")
    expect(claimed.get_by_text("7 of 7 checks pass.")).to_be_visible()
    expect(claimed.get_by_role("img", name="Receipt")).to_be_visible()
    claimed.get_by_text("What passes").click()
    expect(claimed).to_contain_text("Ada Mirabar is a member on 5 Sep 2026")
    expect(claimed).to_contain_text("Fund before $100.00, after $40.00")
    assert fits(approving)
    assert accessible(approving) == []
    claimed.get_by_role("button", name="Approve this refund").click()
    expect(approving.locator(".messagelist")).to_contain_text("Approved: $60.00 to Mirabar.")


def test_a_refund_is_recorded_by_one_approved_by_another_and_paid_by_a_third(site, people, member, tmp_path, took):
    event = factories.event()
    entryfund.cash_in(
        containers=1000, amount=as_amount(100), paid_into=PaidInto.BANK, on=TODAY, by=people["coordinator"]
    )
    photo = tmp_path / "receipt.png"
    photo.write_bytes(factories.photo())
    page = site("coordinator")
    page.goto("/entryfund/entryclaim/add/")
    pick(page, "Child", "mira", "Ada Mirabar")
    page.get_by_label("Event").select_option(str(event.pk))
    page.get_by_label("Amount asked for").fill("60.00")
    page.get_by_label("Receipt", exact=True).set_input_files(photo)
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Record the request").click()
    expect(page.locator(".messagelist")).to_contain_text("It waits for a decision.")
    claim = EntryClaim.objects.get()
    approving = site("approver")
    approve_the_refund(approving)
    took("a refund request recorded", page)
    took("a refund request approved", approving)
    paying = site("treasurer")
    factories.direct_entry()
    factories.bank_details(claim.household, people["treasurer"])
    paying.get_by_role("link", name="1 refund or expense to pay").click()
    expect(paying.get_by_label("60.00 to Mirabar: Ada Mirabar")).to_be_checked()
    paying.get_by_role("button", name="Make the run").click()
    expect(paying.locator(".messagelist")).to_contain_text("Payment run 1 is made.")
    releasing = site("coordinator")
    releasing.get_by_role("link", name="1 Payment run to release").click()
    releasing.get_by_role("link", name="1", exact=True).click()
    releasing.get_by_role("link", name="Release this run").click()
    expect(releasing.locator(".facts")).to_contain_text("first payment to this account")
    assert fits(releasing)
    assert accessible(releasing) == []
    releasing.get_by_role("button", name="Release the run").click()
    paying.reload()
    paying.get_by_role("link", name="Make the payment file").click()
    paying.get_by_role("button", name="Make the file").click()
    with paying.expect_download() as download:
        paying.get_by_role("link", name="Download the file").click()
    assert download.value.suggested_filename == "payment-run-1.aba"
    paying.get_by_role("link", name="Record what the bank paid").click()
    assert fits(paying)
    assert accessible(paying) == []
    paying.get_by_role("button", name="Record the payments").click()
    expect(paying.locator(".messagelist")).to_contain_text("60.00 of payment run 1 is paid, 1 payment.")
    assert balance(Role.BANK, TODAY) == 40
    assert sound()


def test_the_treasurer_reads_the_statements_and_exports_the_year(site, people, member, tmp_path, took):
    page = site("treasurer")
    page.get_by_role("link", name="Export the year").click()
    page.get_by_role("link", name="Income and expenditure, balance sheet").click()
    expect(page.locator("#content")).to_contain_text("Surplus (deficit)")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Reports").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Treasurer’s workbook (XLSX)").click()
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    took("the statements read and the year exported", page)
    assert path.name == "treasurer-2027.xlsx"
    assert "Proof" in load_workbook(path).sheetnames


PAGES = {
    "coordinator": ["/", "/roll/household/", "/roll/household/add/", "/courses/place/", "/courses/cohort/",
                    "/rangeday/rangeday/", "/entryfund/entryclaim/", "/fees/charge/", "/entryfund/containerreturn/add/",
                    "/entryfund/bagcount/add/", "/expenses/expense/add/"],
    "treasurer": ["/reports/", "/reports/trial-balance/", "/ledger/journalentry/", "/ledger/financialyear/",
                  "/bank/statementline/", "/fees/feeprice/", "/bank/paymentrun/add/", "/bank/paymentrun/",
                  "/bank/streams/", "/bank/explain/", "/bank/import/", "/bank/bankrule/add/", "/entryfund/statement/",
                  "/bank/reconcile/?account=1&until=2026-08-31&balance=0",
                  "/reports/2027/", "/reports/2027/?basis=cash", "/reports/2027/?basis=bridge", "/reports/committee/",
                  "/reports/verify/", "/year/2027/close/", "/year/2027/budget/", "/ledger/journal/",
                  "/ledger/journal/add/", "/ledger/journal/opening/", "/ledger/journal/accrual/",
                  "/ledger/journal/provision/",
                  "/yearend/equipment/add/", "/ledger/financialyear/1/budget/", "/ledger/financialyear/1/last-year/"],
}  # fmt: skip


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_legible_and_fits_light_and_dark(site, people, member, scheme):
    factories.cohort()
    documents = [f"/roll/household/{member.household_id}/change/", f"/roll/person/{member.pk}/change/"]
    wrong = {}
    for username, paths in PAGES.items():
        page = site(username)
        page.emulate_media(color_scheme=scheme)
        for path in [*paths, *(documents if username == "coordinator" else [])]:
            page.goto(path)
            found = accessible(page) + ([] if fits(page) else ["sticks out sideways"])
            if found:
                wrong[path] = found
    assert wrong == {}


def test_a_form_is_reached_and_sent_by_keyboard_alone(site, people):
    household = factories.HouseholdFactory(name="Mirabar")
    page = site("coordinator")
    page.goto(f"/roll/household/{household.pk}/receipt/")
    page.get_by_label("Amount").focus()
    page.keyboard.type("12.00")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator(".messagelist")).to_contain_text(re.compile(r"Receipt \d+: \$12\.00 from Mirabar"))
