"""The year's end in a real browser: a journal by keyboard, a bill to come, the statements, the committee, the check."""

import re

from playwright.sync_api import expect

from clubdesk.ledger.models import Account, Journal
from clubdesk.ledger.selectors import entries_of
from tests import factories
from tests.browser.test_scenes import accessible, fits, sound


def code(code):
    return str(Account.objects.get(code=code).pk)


def test_a_journal_of_three_lines_is_written_by_keyboard_and_says_when_it_is_out_of_balance(site, people):
    page = site("treasurer")
    page.goto("/ledger/journal/add/")
    page.get_by_label("Date").fill("2026-09-10")
    page.get_by_label("Narration").focus()
    page.keyboard.type("Insurance and repairs")
    lines = page.locator("fieldset.lines li")
    for place, (account, side, amount) in enumerate(
        (("5070", "Debit", "60.00"), ("5050", "Debit", "15.50"), ("1010", "Credit", "75.00"))
    ):
        lines.nth(place).get_by_label("Account").select_option(code(account))
        lines.nth(place).get_by_label(side).focus()
        page.keyboard.type(amount)
    expect(page.locator(".sums")).to_have_text("Debits $75.50 · credits $75.00 · out by $0.50")
    before = lines.count()
    page.get_by_role("button", name="One more line").focus()
    page.keyboard.press("Enter")
    expect(lines).to_have_count(before + 1)
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Post the journal").click()
    expect(page.locator(".errornote")).to_contain_text("out of balance by $0.50")
    lines.nth(2).get_by_label("Credit").fill("75.50")
    expect(page.locator(".sums")).to_contain_text("both sides agree")
    page.get_by_role("button", name="Post the journal").press("Enter")
    expect(page.locator(".messagelist")).to_contain_text("Posted: Insurance and repairs")
    assert entries_of(Journal.objects.get()).get().postings.count() == 3
    page.get_by_role("link", name="Write one like it").click()
    expect(page.locator("fieldset.lines li").nth(1).get_by_label("Debit")).to_have_value("15.50")
    assert sound()


def test_a_bill_to_come_is_found_under_money_and_shows_in_both_bases_and_the_bridge(site, people):
    page = site("treasurer")
    page.goto("/fees/")
    page.get_by_role("link", name="An expense not billed yet").click()
    page.get_by_label("Expense account").select_option(code("5050"))
    page.get_by_label("Amount").fill("185.00")
    page.get_by_label("Dated").fill("2026-08-31")
    page.get_by_label("Undone on").fill("2026-10-01")
    page.get_by_label("Narration").fill("Mower serviced in August")
    assert fits(page)
    page.get_by_role("button", name="Post the adjustment").click()
    expect(page.locator(".messagelist")).to_contain_text("It is undone on 1 October 2026.")
    page.goto("/fees/")
    page.get_by_role("link", name="Statements and workbooks, year by year").click()
    page.get_by_role("link", name="Income and expenditure, balance sheet").click()
    expect(page.get_by_role("row", name="Repairs")).to_contain_text("185.00")
    page.get_by_role("link", name="The bridge", exact=True).click()
    expect(page.get_by_role("row", name=re.compile("^Other payables"))).to_contain_text("−$185.00")
    expect(page.get_by_role("row", name="Difference").first).to_contain_text("0.00")
    assert fits(page)
    assert accessible(page) == []


def test_the_checklist_leads_to_what_is_open(site, people):
    factories.range_day()
    page = site("treasurer")
    page.goto("/year/2027/close/")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Put it right: Every range day is closed").click()
    expect(page.locator("#content")).to_contain_text("12 Sept")


def test_a_workbook_is_checked_against_the_book_and_a_changed_one_found_out(site, people, tmp_path):
    from openpyxl import load_workbook

    page = site("treasurer")
    page.goto("/reports/")
    with page.expect_download() as download:
        page.get_by_role("link", name="Treasurer’s workbook (XLSX)").click()
    path = tmp_path / "year.xlsx"
    download.value.save_as(path)
    page.get_by_role("link", name="Check a file against the book").click()
    page.get_by_label("Workbook or PDF").set_input_files(path)
    page.get_by_role("button", name="Check it").click()
    expect(page.get_by_role("status")).to_contain_text("Genuine.")
    book = load_workbook(path)
    book["Trial balance"]["D5"].value = 7
    book.save(path)
    page.get_by_label("Workbook or PDF").set_input_files(path)
    page.get_by_role("button", name="Check it").click()
    expect(page.get_by_role("alert")).to_contain_text("Trial balance!D5: the file has 7")
    assert fits(page)
    assert accessible(page) == []


def test_a_thing_is_put_in_the_register_sold_and_followed_to_its_entry(site, people):
    page = site("treasurer")
    page.goto("/ledger/journal/add/")
    page.get_by_label("Date").fill("2026-07-10")
    page.get_by_label("Narration").fill("Bows")
    lines = page.locator("fieldset.lines li")
    for place, (account, side) in enumerate((("1500", "Debit"), ("1010", "Credit"))):
        lines.nth(place).get_by_label("Account").select_option(code(account))
        lines.nth(place).get_by_label(side).fill("1,000.00")
    expect(page.locator(".sums")).to_have_text("Debits $1,000.00 · credits $1,000.00 · both sides agree")
    page.get_by_role("button", name="Post the journal").click()
    page.goto("/yearend/equipment/add/")
    for label, text in (("What it is", "Bows"), ("Bought on", "2026-07-10"), ("Cost", "1000"), ("Years of use", "3")):
        page.get_by_label(label, exact=True).fill(text)
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Save").click()
    page.get_by_role("link", name="It is gone").click()
    page.get_by_label("What became of it").fill("sold")
    page.get_by_label("Money received for it").fill("980")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Record the disposal").click()
    expect(page.get_by_role("row", name="sold")).to_contain_text("−$20.00")
    assert fits(page)
    page.goto("/reports/account/5110/")
    expect(page.get_by_role("row", name="Disposed of: Bows")).to_contain_text("20.00")
    assert fits(page)
    assert accessible(page) == []
    page.goto("/year/2027/budget/")
    assert fits(page)
    assert accessible(page) == []
    assert sound()
