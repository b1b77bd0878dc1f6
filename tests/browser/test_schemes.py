"""A scheme's rules and what must be claimed, in Chromium at both widths."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from clubdesk.fees import services
from tests import factories
from tests.fees import ten_schemes as ten

pytestmark = pytest.mark.django_db(transaction=True)
NOW = date(2026, 9, 12)


def test_by_when_vouchers_are_claimed_and_whom_a_scheme_is_for(site, by):
    scheme, price = ten.WA_V3.entered(), factories.price(amount="200.00")
    for left in (40, 3):
        child = factories.PersonFactory(birth_date=date(2014, 3, 9))
        charge = services.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
        services.accept_voucher(
            scheme=scheme,
            charge=charge,
            code=f"A1B2C{left % 10}",
            issued_on=NOW - timedelta(days=90 - left),
            on=NOW,
            by=by,
        )
    page = site("coordinator")
    page.goto(reverse("admin:vouchers_to_claim"))
    assert page.locator("table tbody tr").first.locator("td").nth(1).inner_text() == "3"
    treasurer = site("treasurer")
    treasurer.goto(reverse("admin:fees_voucherscheme_change", args=[scheme.pk]))
    assert "Born from" in treasurer.content()
