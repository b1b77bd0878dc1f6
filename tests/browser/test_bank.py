"""The bank's statement in a real browser: brought in, and explained by keyboard alone, on a phone and on a laptop."""

from playwright.sync_api import expect

from clubdesk.bank import services
from clubdesk.bank.models import BankAccount
from clubdesk.bank.selectors import unexplained
from clubdesk.fees import services as fees
from clubdesk.fees.models import Receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Party, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
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
    page.goto("/bank/")
    page.get_by_role("link", name="Import a bank statement").click()
    page.get_by_label("File").set_input_files(file)
    page.get_by_role("button", name="Show its lines").click()
    expect(page.locator(".intro")).to_contain_text("2 new lines, 0 known before.")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Import them").press("Enter")
    expect(page.locator(".messagelist")).to_contain_text("2 lines imported")
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
    expect(page.get_by_text("It is something else")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Take what is chosen")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".messagelist")).to_contain_text("1 answer taken.")
    expect(page.get_by_role("link", name="12 Sep 2026, DIRECT DEBIT 0098213", exact=True)).to_be_visible()
    assert Receipt.objects.get().household == home
    assert unexplained(BankAccount.objects.get()).count() == 1
    assert sound()


def test_a_line_that_nothing_fits_leads_to_filled_in_forms(site, people):
    """From the list to the supplier's form, where all but what it was for stands already."""
    supplier = Party.objects.create(name="Acme Hardware", kind="supplier")
    account = BankAccount.objects.get()
    services.record_statement_line(
        bank_account=account, on=TODAY, amount=as_amount("-82.40"), text="VISA ACME HARDWARE 77", by=people["treasurer"]
    )
    page = site("treasurer")
    page.goto("/bank/explain/")
    expect(page.get_by_role("link", name="Receipt")).to_have_count(0)
    for name in ("Journal", "Transfer", "Rule"):
        expect(page.get_by_role("link", name=name)).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Supplier").click()
    expect(page.get_by_label("Supplier")).to_have_value(str(supplier.pk))
    assert fits(page)
    assert accessible(page) == []
    page.get_by_label("What it is for").select_option(label="5050 Repairs")
    page.get_by_role("button", name="Record it and match the line").click()
    expect(page.locator(".messagelist")).to_contain_text("Recorded and matched")
    assert not unexplained(account).exists()
    assert sound()


def test_two_entries_that_the_bank_never_shows_are_matched_with_each_other(site, people):
    for amount, words in ((30, "Raffle"), (-30, "Raffle was banked once only")):
        lines = [debit(Role.BANK, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
        ledger.record_journal(on=TODAY, narration=words, lines=lines, by=people["treasurer"])
    account = BankAccount.objects.get()
    for amount in ("5.00", "-5.00"):
        services.record_statement_line(
            bank_account=account, on=TODAY, amount=as_amount(amount), text="CASH", by=people["treasurer"]
        )
    page = site("treasurer")
    page.goto("/bank/outstanding/")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Match the two").first.click()
    page.get_by_label("Reason").fill("banked twice in the book")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Match the two").click()
    expect(page.locator(".messagelist")).to_contain_text("neither waits for the bank any more")
    page.goto("/bank/outstanding/")
    expect(page.get_by_text("Nothing: the bank has shown all that the book has.")).to_be_visible()
    assert sound()
