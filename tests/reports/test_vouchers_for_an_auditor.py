"""The page for an auditor of a voucher scheme: all behind one voucher, and a sample that can be drawn again."""

import hashlib
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.desk.models import ActRecord
from clubdesk.fees import services as fees
from clubdesk.fees.models import Holds, Voucher
from clubdesk.money import as_amount
from clubdesk.reports.vouchers import cases, drawn
from tests import factories

pytestmark = pytest.mark.django_db
NOW, PAID, SESSION = date(2026, 9, 12), date(2026, 9, 30), date(2026, 10, 4)


# Checked against a plain reckoning of what the page says: the numbers whose digests come first.
def test_a_sample_is_drawn_again_by_its_seed():
    numbers = list(range(1, 200))
    first = drawn(numbers, 10, "7")
    digests = {number: hashlib.sha256(f"7:{number}".encode()).hexdigest() for number in numbers}
    assert first == sorted(sorted(numbers, key=digests.get)[:10]) == drawn(reversed(numbers), 10, "7")
    assert first != drawn(numbers, 10, "8")
    assert drawn(numbers, 300, "7") == numbers


@pytest.fixture
def claimed(book, by):
    """Vouchers of children in a course, claimed by a template and paid: `claimed(3)`."""
    scheme = factories.scheme()
    scheme.claim_columns.create(place=1, heading="Code", holds=Holds.KEY)
    cohort = factories.cohort(capacity=60, first=SESSION)

    def taken(count):
        for _ in range(count):
            booking = courses.book_party(
                course=cohort.course, people=[factories.PersonFactory()], cohorts=[cohort], on=NOW, by=by
            )
            place = booking.places.select_related("charge").get()
            fees.accept_voucher(scheme=scheme, charge=place.charge, code=f"SV{place.pk}", on=NOW, by=by)
        claim = fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        fees.note_reference(lodgement=claim, reference="DS 4471", by=by)
        return fees.record_lodgement_paid(lodgement=claim, on=PAID, by=by)

    return taken


def test_all_that_stands_behind_a_voucher(claimed, by):
    claim = claimed(1)
    voucher = Voucher.objects.get()
    place = voucher.charge.place
    clock.set_today(SESSION)
    courses.record_attendance(cohort=place.cohort, session=SESSION, present=[place], by=by)
    told = dict(cases([voucher.pk], SESSION)[0].facts)
    kept = claim.files.get()
    assert told["Child"] == str(voucher.person)
    assert told["Price"] == "$126.00, in force from 1 Jan 2020"
    assert "••••" in told["Voucher"], "no whole code stands there"
    assert told["Claimed"] == "$100.00"
    assert told["Claim"] == f"number {claim.pk} of 12 Sep 2026, its reference DS 4471"
    assert told["Evidence"] == f"Claim {claim.pk}-1 of 12 Sep 2026, SHA-256 {kept.file_digest}"
    assert told["Paid"].startswith("$100.00 on 30 Sep 2026; with the claim by entry ")
    assert told["Attendance"] == "1: 4 Oct 2026"
    fees.take_back(charge=voucher.charge, on=SESSION, reason="left", by=by)
    voucher.refresh_from_db()
    fees.give_back(voucher=voucher, invoice="INV 7", pay_to="x", reason="left", on=SESSION, by=by)
    told = dict(cases([voucher.pk], SESSION)[0].facts)
    assert told["Given back"].startswith("$100.00, invoice INV 7, not paid yet; by entry ")
    assert as_amount(100) == voucher.amount


def test_many_ask_as_often_as_one(claimed):
    claimed(6)
    numbers = list(Voucher.objects.order_by("pk").values_list("pk", flat=True))

    def asked(of):
        with CaptureQueriesContext(
            connection,
        ) as captured:
            assert len(cases(of, SESSION)) == len(of)
        return len(captured)

    assert asked(numbers) == asked(numbers[:1])


class TestThePages:
    def test_a_sample_says_how_it_is_drawn_again_and_each_look_is_recorded(self, claimed, client, auditor):
        claimed(5)
        clock.set_today(SESSION)
        client.force_login(auditor)
        url, scheme = reverse("admin:voucher_sample"), Voucher.objects.first().scheme
        assert "Draw the sample" in client.get(url).content.decode()
        asked = {"scheme": scheme.pk, "year": 2026, "size": 2, "seed": "7"}
        last = max(Voucher.objects.values_list("pk", flat=True))
        first = client.get(url, asked).content.decode()
        assert f"2 of 5 vouchers that were claimed, up to number {last}, by the seed 7." in first
        claimed(4)
        again = client.get(url, asked | {"through": last}).content.decode()
        assert first.count("<h2>Voucher ") == again.count("<h2>Voucher ") == 2
        chosen = drawn(range(last - 4, last + 1), 2, "7")
        assert all(f"<h2>Voucher {number}," in page for number in chosen for page in (first, again))
        said = [(each.what, each.rows) for each in ActRecord.objects.filter(action=ActRecord.Action.ACCESS)]
        assert said == [(f"looked at a sample of the vouchers of {scheme} as an auditor does", 2)] * 2

    def test_one_voucher_from_its_own_page(self, claimed, client, auditor):
        claimed(1)
        client.force_login(auditor)
        voucher = Voucher.objects.get()
        url = reverse("admin:voucher_audit", args=[voucher.pk])
        assert url in client.get(reverse("admin:fees_voucher_change", args=[voucher.pk])).content.decode()
        assert "$126.00, in force from" in client.get(url).content.decode()

    @pytest.mark.parametrize("wrong", [{"size": 0}, {"size": 61}, {"seed": ""}, {"year": 1}, {"through": "x"}])
    def test_what_cannot_be_drawn_is_said(self, claimed, client, auditor, wrong):
        claimed(1)
        client.force_login(auditor)
        asked = {"scheme": Voucher.objects.get().scheme_id, "year": 2026, "size": 2, "seed": "7"} | wrong
        assert client.get(reverse("admin:voucher_sample"), asked).status_code == 422
