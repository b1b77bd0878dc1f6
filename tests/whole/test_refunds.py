"""The entry fund: containers in, claims approved and paid, and the evidence behind them."""

import io
from datetime import date
from decimal import Decimal

import pytest
from django.contrib.auth.models import Group
from django.db import IntegrityError, transaction
from django.db.models import F
from PIL import Image

from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import Discipline, EntryClaim, PaidInto
from clubdesk.entryfund.selectors import entry_fund_balance
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.ledger.models import JournalEntry
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rooms import COORDINATOR
from tests import factories, families
from tests.fees.test_fees import lines, sound

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


class TestTheEntryFund:
    @pytest.fixture
    def child(self, book, by):
        child = factories.PersonFactory(given_name="Ada")
        start = date(2026, 7, 1)
        membership.take_out_membership(person=child, plan=factories.plan(), starts_on=start, on=start, by=by)
        return child

    def cash_in(self, by, amount="100.00"):
        containers = int(Decimal(amount) * 10)
        return entryfund.cash_in(
            containers=containers, amount=as_amount(amount), paid_into=PaidInto.BANK, on=NOW, by=by
        )

    def claim(self, by, child, amount="60.00", event=None, text="receipt"):
        return entryfund.record_claim(
            person=child,
            event=event or factories.event(),
            amount=as_amount(amount),
            evidence=examine(io.BytesIO(factories.photo(text))),
            on=NOW,
            by=by,
        )

    def test_containers_go_into_the_fund_at_ten_cents_each(self, book, by):
        # Source: Environment Protection Act 1993 (SA), Part 8 Division 2: ten cents a container.
        document = self.cash_in(by)
        assert document.containers == 1000
        assert document.by_count == as_amount("100.00")
        assert entry_fund_balance() == as_amount("100.00")
        assert sound()

    def test_a_claim_is_approved_by_another_and_paid(self, child, coordinator, approver, treasurer):
        self.cash_in(coordinator)
        claim = self.claim(coordinator, child)
        assert not JournalEntry.objects.filter(source_type="entryfund.entryclaim").exists()
        entryfund.approve_claim(claim=claim, by=approver, on=NOW)
        assert lines("approve") == [
            ("Entry-fee refunds", "", Decimal("60.00")),
            ("Refunds payable", child.household.name, Decimal("-60.00")),
        ]
        assert entry_fund_balance() == as_amount("40.00")
        entryfund.pay_claim(claim=claim, on=NOW, by=treasurer)
        entryfund.pay_claim(claim=claim, on=NOW, by=treasurer)
        assert lines("pay")[1] == ("Bank", "", Decimal("-60.00"))
        assert entry_fund_balance() == as_amount("40.00")
        assert sound()

    def test_nobody_decides_what_they_recorded(self, child, approver):
        approver.groups.add(Group.objects.get(name=COORDINATOR))
        self.cash_in(approver)
        with pytest.raises(Refused, match="You recorded this refund request"):
            entryfund.approve_claim(claim=self.claim(approver, child), by=approver, on=NOW)

    def test_nobody_decides_for_their_own_household(self, child, coordinator, approver):
        self.cash_in(coordinator)
        families.belongs(approver, child.household)
        claim = self.claim(coordinator, child)
        for verb, more in ((entryfund.approve_claim, {}), (entryfund.decline_claim, {"reason": "no"})):
            with pytest.raises(Refused, match="You belong or belonged to"):
                verb(claim=claim, by=approver, on=NOW, **more)

    def test_the_database_itself_refuses_both(self, child, coordinator, approver):
        claim = self.claim(coordinator, child)
        decided = {"state": "approved", "decided_on": NOW}
        with pytest.raises(IntegrityError, match="nobody_decides_what_they_recorded"), transaction.atomic():
            EntryClaim.objects.filter(pk=claim.pk).update(decided_by=F("recorded_by"), **decided)
        families.belongs(approver, child.household)
        with pytest.raises(IntegrityError, match="own family"), transaction.atomic():
            EntryClaim.objects.filter(pk=claim.pk).update(decided_by=approver, **decided)

    def test_a_refund_that_would_overdraw_the_fund_is_refused(self, child, coordinator, approver):
        self.cash_in(coordinator, "59.90")
        with pytest.raises(Refused, match=r"Entry fund holds \$59.90; this would take \$60.00"):
            entryfund.approve_claim(claim=self.claim(coordinator, child), by=approver, on=NOW)
        assert entry_fund_balance() == as_amount("59.90")
        assert sound()

    @pytest.mark.parametrize(
        ("event", "amount", "reason"),
        [
            ({"refunded": False}, "60.00", "is not on the list of refunded events"),
            ({"held": date(2027, 7, 5)}, "60.00", "is not a member on 5 Jul 2027"),
            ({"oldest_class": "Under 14", "held": date(2028, 1, 5)}, "60.00", "Under 16 in 2028"),
            ({"fee": "50.00"}, "60.00", r"\$60.00 against an entry fee of \$50.00"),
        ],
    )
    def test_a_claim_that_is_not_eligible_is_refused_with_the_reason(
        self, child, coordinator, approver, event, amount, reason
    ):
        self.cash_in(coordinator)
        claim = self.claim(coordinator, child, amount, factories.event(**event))
        with pytest.raises(Refused, match=reason):
            entryfund.approve_claim(claim=claim, by=approver, on=NOW)

    def test_one_claim_a_junior_and_event(self, child, coordinator, approver):
        event = factories.event()
        claim = self.claim(coordinator, child, event=event)
        with pytest.raises(Refused, match="has a refund request for"):
            self.claim(coordinator, child, event=event)
        entryfund.decline_claim(claim=claim, reason="the photo cannot be read", by=approver, on=NOW)
        again = self.claim(coordinator, child, event=event, text="a better photo")
        assert again.state == "recorded"

    def test_one_receipt_file_pays_once(self, child, coordinator, approver):
        self.cash_in(coordinator, "500.00")
        other = factories.PersonFactory()
        start = date(2026, 7, 1)
        plan = child.memberships.get().plan
        membership.take_out_membership(person=other, plan=plan, starts_on=start, on=start, by=coordinator)
        event = factories.event()
        claims = [self.claim(coordinator, who, event=event) for who in (child, other)]
        with pytest.raises(Refused, match="stands behind another request"):
            entryfund.approve_claim(claim=claims[1], by=approver, on=NOW)

    def test_a_decided_claim_stays(self, child, coordinator, approver):
        claim = self.claim(coordinator, child)
        entryfund.decline_claim(claim=claim, reason="not entered", by=approver, on=NOW)
        with pytest.raises(Refused, match="was declined"):
            entryfund.approve_claim(claim=claim, by=approver, on=NOW)
        with pytest.raises(IntegrityError, match="states of a claim follow one another"), transaction.atomic():
            EntryClaim.objects.filter(pk=claim.pk).update(state="recorded", decided_by=None, decided_on=None)


def test_the_championships_that_are_refunded():
    # Common practice, no source: clout, field, target, indoor.
    assert Discipline.values == ["clout", "field", "target", "indoor"]


class TestEvidence:
    @pytest.mark.parametrize("kind", ["PNG", "JPEG"])
    def test_photos_are_taken(self, kind):
        kept = examine(io.BytesIO(factories.photo(kind=kind)))
        assert kept.content_type == "image/jpeg"
        assert Image.open(io.BytesIO(kept.content)).format == "JPEG"

    def test_a_pdf_is_taken(self):
        assert examine(io.BytesIO(factories.pdf("Entry fee 60.00"))).content_type == "application/pdf"

    @pytest.mark.parametrize(
        ("content", "sentence"),
        [
            (b"", "empty"),
            (b"<html><script>alert(1)</script></html>", "neither a PDF nor a photo"),
            (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "neither a PDF nor a photo"),
            (b"%PDF-1.4 only the beginning", "cut short"),
            (factories.photo()[:80], "neither a PDF nor a photo"),
            (b"GIF89a" + b"\0" * 50, "neither a PDF nor a photo"),
            (b"\x89PNG\r\n\x1a\n" + b"\0" * (10 * 1024 * 1024), "larger than 10 MB"),
        ],
    )
    def test_anything_else_is_refused_by_its_content(self, content, sentence):
        with pytest.raises(Refused, match=sentence):
            examine(io.BytesIO(content))
