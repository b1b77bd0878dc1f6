"""What a small club's book cannot show: questions that grow with every row until the database refuses them."""

import pytest
from django.db.models.fields.tuple_lookups import TupleIn

from clubdesk.bank.models import Clearing
from clubdesk.fees import services as fees
from clubdesk.fees.models import Receipt
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry
from clubdesk.rangeday.models import KitLoan
from tests.whole.addresses import urls_of_everything

pytestmark = [pytest.mark.either, pytest.mark.django_db, pytest.mark.world("season_50")]


@pytest.fixture
def no_chains(monkeypatch):
    """Rows fetched beside others by a key of theirs: Django asks for "one, or another, or another …" of them.

    SQLite reads no more than 1,000 of these: about 970 matched lines of a bank, and no year could be closed.
    """

    def refused(*given):
        raise AssertionError("This asks for rows one OR another; fetch them by select_related, or from their own side.")

    monkeypatch.setattr(TupleIn, "__init__", refused)


def test_a_book_of_any_length_can_be_checked(season, by, today, no_chains):
    receipt = Receipt.objects.filter(cancelled_on=None, allocations__repayment=None).first()
    fees.cancel_receipt(receipt=receipt, on=today, reason="bounced", by=by)
    assert Clearing.objects.exists()
    assert JournalEntry.objects.exclude(reverses=None).exists()
    assert [result for result in check_all() if result.faults] == []


def test_a_list_of_any_length_can_be_opened(client, keeper, no_chains):
    assert KitLoan.objects.exists()
    client.force_login(keeper)
    assert {client.get(url).status_code for url in urls_of_everything(client)} == {200, 302, 403}
