"""The bank's statement in a real browser: brought in, and explained by keyboard alone, on a phone and on a laptop."""

from playwright.sync_api import expect

from clubdesk.bank.models import BankAccount
from clubdesk.bank.selectors import unexplained
from clubdesk.fees import services as fees
from clubdesk.fees.models import Receipt
from clubdesk.roll.selectors import payment_reference
from tests import factories
from tests.browser.test_scenes import accessible, fits, sound
from tests.worlds.day_one import TODAY


def test_a_statement_is_brought_in_and_its_lines_explained_by_keyboard_alone(site, people, tmp_path):
    home = factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar")
    fees.charge(
        household=home, price=factories.price(amount="60.00"), on=TODAY, starts_on=TODAY, by=people["coordinator"]
    )
    file = tmp_path / "september.csv"
    file.write_text(f"Date,Details,Amount,Balance\n12/09/2026,TFR {payment_reference(home)},60.00,60.00\n"
                    "12/09/2026,DIRECT DEBIT 0098213,-7.50,52.50\n")  # fmt: skip
    page = site("treasurer")
    page.get_by_role("link", name="Bring a bank statement in").click()
    page.get_by_label("File").set_input_files(file)
    page.get_by_role("button", name="Show its lines").click()
    expect(page.locator(".intro")).to_contain_text("2 new lines, 0 known before.")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Bring them in").press("Enter")
    expect(page.locator(".messagelist")).to_contain_text("2 lines brought in")
    page.goto("/bank/explain/")
    expect(page.get_by_role("heading", name="Certain (1)")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    answer = page.get_by_label("Mirabar family pays")
    expect(answer).to_be_checked()
    answer.focus()
    page.keyboard.press("ArrowDown")
    expect(page.get_by_label("Leave it")).to_be_checked()
    page.keyboard.press("ArrowUp")
    expect(answer).to_be_checked()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Take what is chosen")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".messagelist")).to_contain_text("1 answer taken.")
    expect(page.get_by_role("link", name="DIRECT DEBIT 0098213")).to_be_visible()
    assert Receipt.objects.get().household == home
    assert unexplained(BankAccount.objects.get()).count() == 1
    assert sound()
