"""The entry fund in Chromium: a family claims from its phone, a committee clears the queue in one sitting."""

import pytest
from playwright.sync_api import expect

from clubdesk.entryfund import services
from clubdesk.entryfund.models import EntryClaim, PaidInto
from clubdesk.evidence import Evidence
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.verbs import shell_user
from tests import factories, families
from tests.browser.test_scenes import accessible, fits, sound
from tests.worlds.day_one import TODAY


@pytest.fixture
def event(people):
    services.cash_in(containers=1000, amount=as_amount(100), paid_into=PaidInto.BANK, on=TODAY, by=shell_user())
    return factories.event()


@pytest.fixture
def junior(event):
    plan = factories.plan()

    def made(name):
        child = factories.PersonFactory(given_name=name, family_name="Mirabar")
        membership.take_out_membership(person=child, plan=plan, starts_on=event.held_on, on=TODAY, by=shell_user())
        return child

    return made


def test_a_family_claims_with_a_photo_of_the_receipt(site, event, junior, tmp_path):
    child = junior("Ada")
    photo = tmp_path / "receipt.png"
    photo.write_bytes(factories.photo())
    page = site("coordinator")
    page.goto(families.link(child.household, "/claims/"))
    assert fits(page)
    assert accessible(page) == []
    page.get_by_label("Child", exact=True).select_option(str(child.pk))
    page.get_by_label("Event", exact=True).select_option(str(event.pk))
    page.get_by_label("What the receipt says").fill("60")
    page.get_by_role("button", name="Send the request").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was saved yet")
    assert accessible(page) == []
    page.get_by_label("Receipt", exact=True).set_input_files(str(photo))
    page.get_by_label("The receipt shows my child").check()
    page.get_by_role("button", name="Send the request").click()
    expect(page.get_by_role("status")).to_contain_text("Your request has reached the committee.")
    assert EntryClaim.objects.get().by_family
    assert sound()


def test_a_committee_clears_the_queue_in_one_sitting(site, event, junior, people):
    for name, shown in (("Ada", True), ("Bela", False), ("Cato", True)):
        services.record_claim(
            person=junior(name), event=event, amount=as_amount(45), entry_shown=shown, on=TODAY, by=shell_user(),
            evidence=Evidence(factories.photo(name, "JPEG"), "image/jpeg"),
        )  # fmt: skip
    page = site("approver")
    page.get_by_role("link", name="Decide entry-fee refunds").click()
    expect(page.get_by_role("checkbox")).to_have_count(2)
    expect(page.get_by_text("Not passed: the child’s entry is not shown")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    bela = page.get_by_role("region", name="Bela Mirabar")
    bela.get_by_text("Ask for more").first.click()
    bela.get_by_label("What you would like to know or see").fill("Please send the organiser’s list.")
    assert fits(page)
    assert accessible(page) == []
    bela.get_by_role("button", name="Ask for more").click()
    expect(page.locator(".messagelist")).to_contain_text("The family was asked about")
    expect(page.get_by_role("region", name="Ada Mirabar")).to_be_visible()
    for box in page.get_by_label("Approve with the others").all():
        box.check()
    page.get_by_role("button", name="Approve what is ticked").click()
    expect(page.locator(".messagelist")).to_contain_text("2 requests approved, $90.00 in all.")
    page.get_by_role("link", name="Minutes of what was decided today").click()
    expect(page.get_by_label("To copy into the minutes")).to_have_value(
        "\n".join([
            "Entry-fee refunds decided on 12 September 2026",
            "- State clout championship: Ada Mirabar, $45.00, approved by approver",
            "- State clout championship: Cato Mirabar, $45.00, approved by approver",
            "Approved in all: $90.00, 2 requests.",
            "The entry fund holds $10.00 after what was approved so far.",
        ])
    )  # fmt: skip
    assert fits(page)
    page.goto("/entryfund/statement/")
    assert fits(page)
    assert accessible(page) == []
    assert sound()
