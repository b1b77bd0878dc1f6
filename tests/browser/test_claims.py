"""A claim by its template, the answer from a file, and a voucher given back, in Chromium at both widths."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk.fees import services
from clubdesk.fees.models import Holds, Lodgement, Voucher
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
NOW = date(2026, 9, 12)
TEMPLATE = (
    ("Surname", Holds.FAMILY),
    ("Voucher no.", Holds.KEY),
    ("Amount paid", Holds.PAID),
    ("Reason", Holds.REASON),
)
ANSWER = b"Voucher no.,Amount paid,Reason\nSV1,80.00,\nSV2,,used elsewhere\nSV3,95.00,\n"


@pytest.fixture
def claim(people, by):
    scheme, price = factories.scheme(), factories.price(amount="80.00")
    for place, (heading, holds) in enumerate(TEMPLATE, 1):
        scheme.claim_columns.create(place=place, heading=heading, holds=holds)
    for number in (1, 2, 3):
        child = factories.PersonFactory()
        charge = services.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
        services.accept_voucher(scheme=scheme, charge=charge, code=f"SV{number}", on=NOW, by=by)
    return services.lodge_vouchers(scheme=scheme, on=NOW, by=by)


def fits(page):
    """Nothing of the page stands beside the screen."""
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_an_answer_is_looked_at_and_its_good_rows_are_taken(site, claim, by):
    page = site("treasurer")
    page.goto(reverse("admin:fees_voucherscheme_change", args=[claim.scheme_id]))
    assert page.locator("#claim_columns-group").count() == 1
    page.goto(reverse("admin:fees_lodgement_change", args=[claim.pk]))
    assert page.get_by_role("link", name=f"Claim {claim.pk}-1").count() == 1
    assert fits(page)
    page.goto(reverse("admin:lodgement_answer_file", args=[claim.pk]))
    page.set_input_files("input[type=file]", {"name": "answer.csv", "mimeType": "text/csv", "buffer": ANSWER})
    page.get_by_role("button", name="Show what would happen").click()
    assert "$95.00 cannot be paid for it" in page.content()
    assert fits(page)
    page.get_by_role("button", name="Take the 2 good rows").click()
    page.wait_for_url(f"**{reverse('admin:fees_lodgement_change', args=[claim.pk])}")
    assert "1 paid, $80.00, 1 refused." in page.content()
    assert sorted(Voucher.objects.values_list("state", flat=True)) == ["lodged", "paid", "refused"]


def test_a_voucher_is_given_back_and_looked_at_by_an_auditor(site, claim, by):
    services.record_lodgement_paid(lodgement=Lodgement.objects.get(), on=NOW, by=by)
    voucher = Voucher.objects.order_by("pk").first()
    services.take_back(charge=voucher.charge, on=NOW, reason="left", by=by)
    page = site("treasurer")
    page.goto(reverse("admin:fees_voucher_give-back", args=[voucher.pk]))
    assert "Owed back" in page.content()
    assert fits(page)
    for name, text in (("invoice", "INV 7"), ("pay_to", "012-003 4500123"), ("reason", "the child left")):
        page.fill(f"[name={name}]", text)
    page.get_by_role("button", name="Owe it to the department").click()
    page.wait_for_url("**/fees/giveback/**")
    page.goto(reverse("admin:voucher_audit", args=[voucher.pk]))
    assert "invoice INV 7" in page.content()
    assert fits(page)
