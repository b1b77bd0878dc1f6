"""A family's whole way at the club, by its own pages on a phone: from a first booking to leaving, with every letter."""

from datetime import date, timedelta

import pytest
from playwright.sync_api import expect

from clubdesk import clock
from clubdesk.courses.models import Booking
from clubdesk.fees import services as fees
from clubdesk.fees.models import Charge, FeeKind, FeePrice, Method, Voucher
from clubdesk.ledger.invariants import check_all
from clubdesk.mail.looks import as_html
from clubdesk.mail.models import LINK, Message
from clubdesk.membership import services as membership
from clubdesk.membership.models import LeaveRequest
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.verbs import shell_user
from tests import factories, families
from tests.browser.test_courses import fill_in
from tests.browser.test_scenes import accessible, fits

TODAY = date(2026, 9, 12)
SATURDAY = TODAY + timedelta(days=7)
LINK_IN_FULL = "https://reedbank.example/open/" + "eyJndWFyZGlhbiI6MTIsInZlcnNpb24iOjF9" * 3 + "/"


@pytest.fixture
def club(people):
    """What the club has before the family comes: an account, a course, a plan, a range and a state event."""
    factories.paid_into()
    factories.hire()
    factories.event(fee="60.00", held=date(2026, 9, 5))
    factories.cohort()
    return factories.plan(), factories.range_day(SATURDAY)


def looks_right(page):
    return fits(page) and accessible(page) == []


def pay_all(home):
    owed = sum((charge.amount for charge in Charge.objects.filter(household=home)), as_amount(0))
    paid = as_amount(100) if Voucher.objects.filter(charge__household=home).exists() else as_amount(0)
    received = sum((each.amount for each in home.receipts.all()), as_amount(0))
    fees.record_receipt(
        household=home, amount=owed - paid - received, method=Method.TRANSFER, on=clock.today(), by=shell_user()
    )


def test_from_the_first_booking_to_leaving(site, club, tmp_path):
    plan, day = club
    page, by = site("coordinator"), shell_user()
    page.goto("/book/")
    fill_in(page, "ida@example.org", ("Ada", "2014-05-05"))
    page.get_by_role("checkbox", name="From 2026-10-04").check()
    page.get_by_label("I am a parent or guardian of each child above, and agree").check()
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="Book", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Thank you")
    home = Booking.objects.get().household
    child = home.people.get()
    page.goto(families.link(home))
    expect(page.get_by_text("$126.00").first).to_be_visible()
    assert looks_right(page)
    pay_all(home)

    scheme = factories.scheme()
    held = membership.take_out_membership(person=child, plan=plan, starts_on=TODAY, on=TODAY, by=by)
    charge = Charge.objects.get(household=home, price__item__kind=FeeKind.MEMBERSHIP)
    fees.accept_voucher(charge=charge, scheme=scheme, code="VOUCHER-2026-1", on=TODAY, by=by)
    page.reload()
    expect(page.get_by_text("$128.00").first).to_be_visible()
    pay_all(home)
    page.reload()
    expect(page.get_by_text(f"Member until {held.ends_on.day} {held.ends_on:%B %Y}")).to_be_visible()

    price = FeePrice.objects.get(item__kind=FeeKind.HIRE)
    assert price.amount == as_amount(7)
    rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by)
    rangeday.call_off_day(range_day=day, reason="heat", on=TODAY, by=by, tell_them=True)
    page.goto("/dates/ours/")
    expect(page.get_by_text("Called off: heat")).to_be_visible()
    assert looks_right(page)

    photo = tmp_path / "receipt.png"
    photo.write_bytes(factories.photo())
    page.goto("/claims/")
    page.get_by_label("Child", exact=True).select_option(str(child.pk))
    page.get_by_label("Event", exact=True).select_option(index=1)
    page.get_by_label("What the receipt says").fill("$60")
    page.get_by_label("Receipt", exact=True).set_input_files(str(photo))
    page.get_by_label("The receipt shows my child").check()
    page.get_by_role("button", name="Send the request").click()
    expect(page.get_by_role("status")).to_be_visible()

    page.goto("/account/")
    page.get_by_role("link", name="Ask to leave").click()
    page.get_by_label("Ada Mirabar").check()
    page.get_by_role("button", name="Ask to leave").click()
    expect(page.get_by_text("to leave; we will write to you.").first).to_be_visible()
    asked = LeaveRequest.objects.get()
    membership.end_membership(membership=held, reason="asked to leave", on=TODAY, by=by)
    membership.answer_leaving(request=asked, answer="The membership ends today.", on=TODAY, by=by)
    assert looks_right(page)
    every_letter_reads_well(page.context.new_page(), home)
    assert [result for result in check_all() if result.faults] == []


def every_letter_reads_well(page, home):
    letters = list(Message.objects.filter(household=home).order_by("pk"))
    told = " · ".join(letter.subject for letter in letters)
    for words in ("your booking", "membership", "Called off", "leav"):
        assert words in told, told
    for letter in letters:
        page.set_content(as_html(letter.subject, letter.body, LINK_IN_FULL))
        expect(page.get_by_text("Hello Ida Mirabar,")).to_be_visible()
        assert (fits(page), accessible(page)) == (True, []), letter.subject
        assert LINK not in page.content()
