"""Every verb's page is opened on a document that it applies to; what the season has none of, another test opens."""

from datetime import date

import pytest
from django.urls import reverse

from clubdesk.desk.house.pages import screens
from clubdesk.ledger.models import TaxBasis
from clubdesk.ledger.services import register_for_gst
from clubdesk.screens.verbs import VerbPage

pytestmark = [pytest.mark.django_db, pytest.mark.world("season_50")]
OPENED_ELSEWHERE = {
    "courses.booking accept": "courses",
    "ledger.financialyear close": "yearend",
    "ledger.financialyear recognise": "yearend",
    "rangeday.rangeday reopen": "rangeday",
    "bank.reconciliation reopen": "bank",
    "yearend.equipment dispose": "yearend",
    "yearend.equipment withdraw": "yearend",
}
"""Pages of verbs for which the season has no document, and the room whose tests open them."""


def pages_with_documents():
    """Each verb page with the first row that it applies to, or None."""
    for screen in screens():
        rows = list(screen.model._default_manager.order_by("pk")[:400])
        for page in screen.all_pages:
            if isinstance(page, VerbPage):
                yield f"{screen.named_as} {page.slug}", page, next((row for row in rows if page.applies(row)), None)


def test_each_opens_on_a_document_that_it_applies_to(client, keeper):
    client.force_login(keeper)
    opened = {name: client.get(page.url(row)).status_code for name, page, row in pages_with_documents() if row}
    assert len(opened) > 60
    assert {name: status for name, status in opened.items() if status != 200} == {}


def test_what_the_season_has_no_document_for_is_named(season):
    assert {name for name, _, row in pages_with_documents() if row is None} <= set(OPENED_ELSEWHERE)


def test_pages_that_make_a_document_open_too(client, keeper, by):
    register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.CASH, by=by)  # else no page of GST
    client.force_login(keeper)
    for screen in screens():
        name = f"admin:{screen.opts.app_label}_{screen.opts.model_name}"
        if screen.add_page:
            assert client.get(reverse(f"{name}_add")).status_code == 200, name
        for page in screen.all_list_pages:
            assert client.get(reverse(f"{name}_{page.slug}")).status_code == 200, page.slug
    assert any(screen.add_page for screen in screens())
