"""A first three months in a real browser, by the pages alone: opening, statements, signed off, locked, workbook."""

import re
from datetime import date

import pytest
from openpyxl import load_workbook
from playwright.sync_api import expect

from clubdesk import clock
from clubdesk.bank.models import BankAccount
from clubdesk.ledger.models import Account, FinancialYear, Fund
from clubdesk.ledger.services import lock_month
from clubdesk.money import as_amount
from tests.browser.test_scenes import accessible, fits, sound

OPENING = (
    ("1010", "general", "Had", "3601.37"),
    ("1010", "entry", "Had", "612.40"),
    ("1020", "general", "Had", "100.00"),
    ("1500", "general", "Had", "5000.00"),
    ("1510", "general", "Owed, or worn off", "1500.00"),
)
ROLL = """household,given_name,family_name,birth_date,guardian,opening_balance,balance_for
Mirabar,Ada,Mirabar,2014-05-02,Ida Mirabar,45.00,memberships
Quoll,Bela,Quoll,2013-03-09,Bea Quoll,126.00,beginner courses
"""


class Club:
    """What the treasurer does at the desk, page by page."""

    def __init__(self, page, folder):
        self.page, self.folder = page, folder

    def looks_right(self):
        assert fits(self.page)
        assert accessible(self.page) == []

    def says(self, words):
        expect(self.page.locator(".messagelist")).to_contain_text(words)

    def write(self, address, button, narration, on, lines):
        page = self.page
        page.goto(address)
        if on:
            page.get_by_label("Date", exact=True).fill(on)
        page.get_by_label("Narration").fill(narration)
        rows = page.locator("fieldset.lines li")
        for place, (code, fund, side, amount) in enumerate(lines):
            row = self.row_of(rows, place, code, fund)
            row.get_by_label("Fund").select_option(fund)
            row.get_by_label(side).fill(amount)
        self.looks_right()
        page.get_by_role("button", name=button).click()
        self.says(f": {narration}.")

    def row_of(self, rows, place, code, fund):
        """The opening shows rows of money, a fund each; any other row, and each of a journal, is an empty one."""
        account = str(Account.objects.get(code=code).pk)
        wanted = [account, fund]
        taken = [
            row
            for row in rows.all()
            if [row.get_by_label(each).input_value() for each in ("Account", "Fund")] == wanted
        ]
        row = taken[0] if taken else next(row for row in rows.all() if not row.get_by_label("Account").input_value())
        row.get_by_label("Account").select_option(account)
        return row

    def journal(self, narration, on, amount, out=False):
        """Something that came into the bank, or went out of it."""
        sides = ("Credit", "Debit") if out else ("Debit", "Credit")
        other = "5060" if out else "4060"
        lines = [("1010", "general", sides[0], amount), (other, "general", sides[1], amount)]
        self.write("/ledger/journal/add/", "Post the journal", narration, on, lines)

    def statement(self, name, *lines):
        file = self.folder / f"{name}.csv"
        file.write_text("\n".join(["Date,Details,Amount,Balance", *lines]) + "\n")
        page = self.page
        page.goto("/bank/")
        page.get_by_role("link", name="Import a bank statement").click()
        page.get_by_label("File").set_input_files(file)
        page.get_by_role("button", name="Show its lines").click()
        page.get_by_role("button", name=re.compile("^(Bring|Import) (it|them)")).click()
        self.says("0 known before")

    def explain(self, *words):
        page = self.page
        page.goto("/bank/explain/")
        for each in words:
            page.get_by_label(re.compile(each)).first.check()
        page.get_by_role("button", name="Take what is chosen").click()
        self.says("taken")

    def sign_off(self, month, shown=()):
        page = self.page
        page.goto("/bank/")
        page.get_by_role("link", name="Reconcile a month").click()
        self.looks_right()
        page.get_by_role("button", name="Show the month").click()
        expect(page.get_by_role("heading", name=f"Club account, {month}")).to_be_visible()
        for words in shown:
            expect(page.locator("#content")).to_contain_text(words)
        self.looks_right()
        page.get_by_role("button", name="Sign this month off").click()
        self.says(f"{month} is signed off")

    def lock(self, month, reason=""):
        page = self.page
        page.goto("/ledger/financialyear/")
        page.get_by_role("link", name="Year to 30 June 2027").click()
        page.get_by_role("link", name="Lock months").click()
        page.get_by_label("Lock through").select_option(label=month)
        if reason:
            expect(page.locator(".facts")).to_contain_text(f"{month} not signed off")
            page.get_by_role("button", name="Lock", exact=True).click()
            expect(page.locator(".errornote")).to_contain_text("say why it is locked all the same")
            page.get_by_label("Why it is locked all the same").fill(reason)
        self.looks_right()
        page.get_by_role("button", name="Lock", exact=True).click()
        self.says("is locked through")


@pytest.fixture
def on_the_first_day(today):
    """The clock, which the season moves on."""
    with clock.on(date(2026, 7, 1)):
        yield clock.set_today


def test_a_club_begins_and_finishes_its_first_three_months(on_the_first_day, site, people, tmp_path):
    becomes = on_the_first_day
    coordinator, club = site("coordinator"), Club(site("treasurer"), tmp_path)
    page = club.page
    club.write("/ledger/journal/opening/", "Record it", "The books kept before", "", OPENING)
    roll = tmp_path / "roll.csv"
    roll.write_text(ROLL)
    coordinator.goto("/roll/import/")
    coordinator.get_by_label("File").set_input_files(roll)
    coordinator.get_by_role("button", name="Show what would happen").click()
    coordinator.get_by_role("button", name="Import all of it").click()
    assert Fund.objects.get(pk="entry").balance == as_amount("612.40")

    becomes(date(2026, 8, 3))
    club.statement("july", "09/07/2026,TFR MIRABAR I,45.00,4258.77")
    club.explain("Mirabar")
    club.sign_off("July 2026", ["Brought in when the book began", "4,213.77"])
    club.lock("July 2026")

    becomes(date(2026, 9, 3))
    club.journal("Raffle on the last evening", "2026-08-31", "60.00")
    club.lock("August 2026", "the committee met on the 3rd")
    club.statement("august", "31/08/2026,SERVICE CHARGE,-10.00,4248.77", "02/09/2026,CASH DEPOSIT,60.00,4308.77")
    club.journal("Service charge of August", "2026-09-03", "10.00", out=True)
    club.explain("Service charge of August", "Raffle on the last evening")
    club.sign_off("August 2026", ["Raffle on the last evening", "in the bank, recorded on 3 Sep", "4,308.77"])

    becomes(date(2026, 10, 2))
    club.sign_off("September 2026", ["4,308.77"])
    club.lock("September 2026")
    assert FinancialYear.objects.get().locked_through == date(2026, 9, 30)
    assert BankAccount.objects.get().reconciliations.count() == 3
    page.goto("/reports/")
    with page.expect_download() as download:
        page.get_by_role("link", name="Treasurer’s workbook (XLSX)").click()
    path = tmp_path / "year.xlsx"
    download.value.save_as(path)
    book = load_workbook(path)
    months = [row[1] for row in book["Bank reconciliation"].iter_rows(min_row=5, values_only=True) if row[1]]
    assert [f"{month:%B}" for month in months] == ["July", "August", "September"]
    locks = [row[4] for row in book["Months locked"].iter_rows(min_row=5, values_only=True) if row[0]]
    assert locks == [None, "the committee met on the 3rd", None]
    assert sound()


def test_a_month_locked_by_mistake_is_unlocked_by_two_people(site, people):
    lock_month(month_end=date(2026, 7, 31), by=people["treasurer"])
    page, other = site("treasurer"), site("approver")
    page.goto("/ledger/financialyear/")
    page.get_by_role("link", name="Year to 30 June 2027").click()
    page.get_by_role("link", name="Ask to unlock a month").click()
    page.get_by_label("Reason").fill("A bill of July was forgotten")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Ask for it").click()
    expect(page.locator(".messagelist")).to_contain_text("somebody else must agree")
    expect(page.get_by_role("link", name="Agree, and unlock it")).to_have_count(0)
    other.goto("/")
    other.get_by_role("link", name=re.compile("Month to be unlocked")).first.click()
    other.get_by_role("link", name="July 2026 to be unlocked").click()
    other.get_by_role("link", name="Agree, and unlock it").click()
    assert fits(other)
    assert accessible(other) == []
    other.get_by_role("button", name="Agree, and unlock").click()
    expect(other.locator(".messagelist")).to_contain_text("Unlocked from July 2026.")
    assert FinancialYear.objects.get().locked_through is None
    assert sound()
