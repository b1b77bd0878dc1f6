"""The entry fund: evidence that cannot do harm, checks, a queue cleared in one sitting, turns, transfers, calendar."""

import io
import uuid
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse
from PIL import Image
from pypdf import PdfWriter
from pypdf.generic import DictionaryObject, NameObject, TextStringObject

from clubdesk import clock
from clubdesk.entryfund import selectors, services
from clubdesk.entryfund.models import ClaimState, EntryClaim, EventFee, PaidInto, worth_of
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence, examine
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Fund, FundRole, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Guardian
from tests import factories, families

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def sound():
    return [result for result in check_all() if result.faults] == []


class TestEvidence:
    """Source of the dangers: OWASP, File Upload Cheat Sheet."""

    def test_a_photo_leaves_behind_where_it_was_taken(self):
        file, exif = io.BytesIO(), Image.Exif()
        exif[0x8825] = {1: "S", 2: (34.0, 55.0, 0.0)}  # GPS, by Exif 2.3 section 4.6.3
        exif[0x010E] = "taken at home"
        Image.new("RGB", (40, 30)).save(file, "JPEG", exif=exif)
        kept = examine(io.BytesIO(file.getvalue()))
        assert b"taken at home" not in kept.content
        assert not Image.open(io.BytesIO(kept.content)).getexif()

    def test_a_photo_lying_on_its_side_stands_up(self):
        file, exif = io.BytesIO(), Image.Exif()
        exif[0x0112] = 6  # Orientation, Exif 2.3: turn by a quarter
        Image.new("RGB", (40, 30)).save(file, "JPEG", exif=exif)
        assert Image.open(io.BytesIO(examine(io.BytesIO(file.getvalue())).content)).size == (30, 40)

    def test_a_polyglot_keeps_nothing_of_its_second_nature(self):
        sent = factories.photo(kind="JPEG") + b"<script>alert(1)</script>"
        kept = examine(io.BytesIO(sent)).content
        assert Image.open(io.BytesIO(kept)).format == "JPEG"
        assert b"script" not in kept

    def test_the_same_file_is_known_again(self):
        first, again = (examine(io.BytesIO(factories.photo("one"))) for _ in range(2))
        assert (first.digest, first.upload_digest) == (again.digest, again.upload_digest)
        assert first.digest != first.upload_digest

    def bomb(self):
        file = io.BytesIO()
        Image.new("1", (30_000, 30_000)).save(file, "PNG")
        return file.getvalue()

    def scripted(self):
        writer = PdfWriter()
        writer.add_blank_page(200, 200)
        action = {NameObject("/S"): NameObject("/JavaScript"), NameObject("/JS"): TextStringObject("app.alert(1)")}
        writer.root_object[NameObject("/OpenAction")] = DictionaryObject(action)
        file = io.BytesIO()
        writer.write(file)
        return file.getvalue()

    def carrying(self):
        writer = PdfWriter()
        writer.add_blank_page(200, 200)
        writer.add_attachment("virus.exe", b"MZ")
        file = io.BytesIO()
        writer.write(file)
        return file.getvalue()

    def locked(self):
        writer = PdfWriter()
        writer.add_blank_page(200, 200)
        writer.encrypt("secret")
        file = io.BytesIO()
        writer.write(file)
        return file.getvalue()

    @pytest.mark.parametrize(
        ("make", "sentence"),
        [
            ("bomb", "neither a PDF nor a photo|too many pixels"),
            ("scripted", "holds a program or another file"),
            ("carrying", "holds a program or another file"),
            ("locked", "locked with a password"),
        ],
    )
    def test_what_could_do_harm_is_refused_with_a_sentence(self, make, sentence):
        with pytest.raises(Refused, match=sentence):
            examine(io.BytesIO(getattr(self, make)()))

    @pytest.mark.parametrize(
        ("content", "name", "sentence"),
        [
            (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "a.svg", "neither a PDF nor a photo"),
            (b"<html><script>1</script></html>", "receipt.pdf", "neither a PDF nor a photo"),
            (b"", "receipt.pdf", "file is empty"),
            (b"%PDF-1.4 " + b"x" * (50 * 1024 * 1024), "big.pdf", "larger than 10 MB"),
        ],
    )
    def test_on_the_familys_page_each_is_refused_and_nothing_is_saved(
        self, client, junior, by, content, name, sentence
    ):
        child, event = junior(), factories.event()
        form = {
            "key": str(uuid.uuid4()), "person": child.pk, "event": event.pk, "receipt_amount": "60",
            "receipt": SimpleUploadedFile(name, content, "application/pdf"), "entry_shown": "on",
        }  # fmt: skip
        response = client.post(families.claims_of(client, child.household), form)
        assert response.status_code == 422
        assert sentence in response.content.decode()
        assert not EntryClaim.objects.exists()


class TestFees:
    def test_an_age_class_may_have_a_fee_of_its_own_and_a_cap(self, junior, claim, by, cash_in, approver):
        cash_in(500)
        event = factories.event(fee="80.00")
        EventFee.objects.create(event=event, age_class="Under 14", amount=as_amount(50))
        # Source: Archery Australia age classes: Under 14 to 31 December of the year of the 13th birthday.
        young, old = junior(birth_date=date(2014, 3, 9)), junior(birth_date=date(2010, 3, 9))
        assert [selectors.refundable(event, each.age_class_on(NOW)).amount for each in (young, old)] == [50, 80]
        with pytest.raises(Refused, match=r"\$60.00 against an entry fee of \$50.00"):
            services.approve_claim(claim=claim(young, event), by=approver, on=NOW)
        event.refund_up_to = as_amount(45)
        event.save()
        with pytest.raises(Refused, match=r"\$60.00 against a refund of at most \$45.00"):
            services.approve_claim(claim=claim(old, event), by=approver, on=NOW)

    def test_more_than_the_receipt_says_and_an_entry_not_shown_do_not_pass(self, junior, claim, approver, cash_in):
        cash_in(500)
        short = claim(junior(), receipt_amount=as_amount(55))
        with pytest.raises(Refused, match=r"the receipt says \$55.00"):
            services.approve_claim(claim=short, by=approver, on=NOW)
        bare = claim(junior(), event=short.event, entry_shown=False)
        with pytest.raises(Refused, match="entry is not shown"):
            services.approve_claim(claim=bare, by=approver, on=NOW)

    def test_a_receipt_stands_behind_one_claim_unless_that_was_declined(self, junior, claim, approver, cash_in):
        cash_in(500)
        receipt, event = Evidence(b"the same receipt", "application/pdf"), factories.event()
        first, again = (claim(junior(), event, evidence=receipt) for _ in range(2))
        with pytest.raises(Refused, match="this receipt file stands behind another request"):
            services.approve_claim(claim=again, by=approver, on=NOW)
        services.decline_claim(claim=first, reason="the other family's", by=approver, on=NOW)
        assert services.approve_claim(claim=again, by=approver, on=NOW).state == ClaimState.APPROVED


class TestTurns:
    def test_first_claimed_first_served_and_the_rest_wait_visibly(self, junior, claim, cash_in, approver):
        cash_in(100)
        event = factories.event()
        first, second = claim(junior(), event), claim(junior(), event)
        assert [(row.before.amount, row.after.amount, row.covered) for row in selectors.queue()] == [
            (100, 40, True),
            (40, -20, False),
        ]
        with pytest.raises(Refused, match=r"does not cover the earlier requests as well: \$60.00"):
            services.approve_claim(claim=second, by=approver, on=NOW)
        services.approve_claim(claim=first, by=approver, on=NOW)
        with pytest.raises(Refused, match=r"Entry fund holds \$40.00"):
            services.approve_claim(claim=second, by=approver, on=NOW)
        assert sound()

    def test_by_number_whatever_the_clock_of_a_server_said(self, junior, claim, cash_in, approver):
        cash_in(100)
        event = factories.event()
        first = claim(junior(), event, on=date(2026, 9, 11))
        behind = claim(junior(), event, on=date(2026, 9, 10))
        assert [row.claim for row in selectors.queue()] == [first, behind]
        with pytest.raises(Refused, match=r"does not cover the earlier requests as well: \$60.00"):
            services.approve_claim(claim=behind, by=approver, on=NOW)
        done = services.approve_claims(claims=[behind, first], by=approver, on=NOW)
        assert [each.pk for each in done.approved] == [first.pk]

    def test_an_earlier_claim_that_fails_a_check_holds_nobody_up(self, junior, claim, cash_in, approver):
        cash_in(100)
        event = factories.event()
        claim(junior(), event, entry_shown=False)
        services.approve_claim(claim=claim(junior(), event), by=approver, on=NOW)
        assert sound()

    def test_where_the_fund_covers_all_the_order_does_not_matter(self, junior, claim, cash_in, approver):
        cash_in(200)
        event = factories.event()
        first, second = claim(junior(), event), claim(junior(), event)
        for each in (second, first):
            services.approve_claim(claim=each, by=approver, on=NOW)
        assert selectors.entry_fund_balance() == as_amount(80)


class TestAsking:
    def test_the_family_is_asked_answers_and_it_waits_again(self, client, junior, claim, approver, cash_in):
        cash_in(100)
        child = junior()
        Guardian.objects.create(household=child.household, name="Uma", email="uma@example.org")
        asked = claim(child, entry_shown=False)
        with pytest.raises(Refused, match="what you would like to know"):
            services.ask_for_more(claim=asked, question=" ", by=approver, on=NOW)
        services.ask_for_more(claim=asked, question="Which class was it?", by=approver, on=NOW)
        assert "Which class was it?" in Message.objects.get(household=child.household, about__startswith="claim").body
        assert selectors.queue() == []
        with pytest.raises(Refused, match="has not answered yet"):
            services.approve_claim(claim=asked, by=approver, on=NOW)
        page = client.get(families.claims_of(client, child.household)).content.decode()
        assert "Which class was it?" in page
        url = reverse("claims:answer", args=[asked.pk])
        assert client.post(url, {"answer": ""}).status_code == 422
        sent = SimpleUploadedFile("list.png", factories.photo("list"))
        assert client.post(url, {"answer": "Under 14", "more": sent}).status_code == 302
        asked.refresh_from_db()
        assert (asked.state, asked.answer, asked.more.count()) == (ClaimState.RECORDED, "Under 14", 1)
        assert sound()

    def test_another_question_takes_the_place_of_the_first_until_it_is_decided(
        self, junior, claim, approver, cash_in, by
    ):
        cash_in(100)
        asked = claim(junior())
        for question in ("Which class was it?", "Who entered the child?"):
            asked = services.ask_for_more(claim=asked, question=question, by=approver, on=NOW)
        assert asked.question == "Who entered the child?"
        services.answer_claim(claim=asked, answer="The coach", by=by)
        services.approve_claim(claim=asked, by=approver, on=NOW)
        with pytest.raises(Refused, match="was decided already"):
            services.ask_for_more(claim=asked, question="And when?", by=approver, on=NOW)
        with pytest.raises(Refused, match="Nothing is asked about this request"):
            services.answer_claim(claim=asked, answer="In March", by=by)

    def test_nobody_asks_about_what_they_recorded(self, junior, claim, by):
        with pytest.raises(Refused, match="You recorded this refund request"):
            services.ask_for_more(claim=claim(junior()), question="?", by=by, on=NOW)


class TestTransfers:
    def test_a_committee_moves_money_and_each_fund_balances(self, by, treasurer):
        general, entry = Fund.objects.get(pk=FundRole.GENERAL), Fund.objects.get(pk=FundRole.ENTRY)
        lines = [debit(Role.BANK, as_amount(500)), credit(Role.GRANTS, as_amount(500))]
        ledger.record_journal(on=NOW, narration="Grant", lines=lines, by=by)
        known = {"from_fund": general, "to_fund": entry, "on": NOW, "by": treasurer}
        with pytest.raises(Refused, match="which meeting"):
            services.move_between_funds(amount=as_amount(120), minute=" ", **known)
        services.move_between_funds(amount=as_amount(120), minute="Meeting of 9 September, item 4", **known)
        assert selectors.entry_fund_balance() == as_amount(120)
        assert balance(Role.BANK, NOW) == 500
        back = {**known, "from_fund": entry, "to_fund": general}
        with pytest.raises(Refused, match=r"holds \$120.00; this would take \$121.00"):
            services.move_between_funds(amount=as_amount(121), minute="item 5", **back)
        assert sound()

    def test_the_database_keeps_them(self, by, cash_in):
        cash_in(100)
        moved = services.move_between_funds(
            from_fund=Fund.objects.get(pk=FundRole.ENTRY), to_fund=Fund.objects.get(pk=FundRole.GENERAL),
            amount=as_amount(10), minute="item 4", on=NOW, by=by,
        )  # fmt: skip
        with (
            pytest.raises(IntegrityError, match="transfer between funds keeps what the ledger says"),
            transaction.atomic(),
        ):
            type(moved).objects.update(amount=as_amount(11))


def test_a_container_is_worth_ten_cents():
    """Source: Environment Protection Act 1993 (SA), Part 8 Division 2."""
    assert worth_of(2_005) == as_amount("200.50")


class TestTheFundsStatement:
    def test_it_leads_from_the_opening_to_the_closing_of_the_ledger(self, junior, claim, cash_in, approver, by, client):
        services.cash_in(containers=2000, amount=as_amount(200), paid_into=PaidInto.BANK, on=date(2026, 8, 1), by=by)
        cash_in(100)
        paid, promised = claim(junior()), claim(junior(), factories.event(fee="45.00", held=date(2026, 9, 6)), "45.00")
        for each in (paid, promised):
            services.approve_claim(claim=each, by=approver, on=NOW)
        services.pay_claim(claim=paid, on=NOW, by=by)
        found = selectors.fund_statement(date(2026, 9, 1), NOW)
        assert (found.opening, found.containers, found.refunded, found.closing) == (200, 100, 105, 195)
        assert (found.other, found.promised) == (0, 45)
        assert found.closing == selectors.entry_fund_balance().amount
        declined = claim(junior(), paid.event)
        services.decline_claim(claim=declined, reason="did not enter", by=approver, on=NOW)
        assert selectors.entered_by_year() == {2026: {"clout": 2}}, "who was declined is not counted"
        client.force_login(approver)
        page = client.get(reverse("admin:fund_statement")).content.decode()
        assert "Children entered, by year" in page
        assert "<svg" in page

    def test_what_is_none_of_these_is_seen(self, cash_in, by):
        cash_in(100)
        fund = FundRole.ENTRY
        lines = [debit(Role.BANK, as_amount(7), fund=fund), credit(Role.DONATIONS, as_amount(7), fund=fund)]
        ledger.record_journal(on=NOW, narration="A gift", lines=lines, by=by)
        assert selectors.fund_statement(NOW, NOW).other == 7


class TestReminders:
    def test_families_of_eligible_children_hear_once_before_entries_close(self, junior, by):
        child, too_old = junior(birth_date=date(2014, 3, 9)), junior(birth_date=date(2004, 3, 9))
        Guardian.objects.create(household=child.household, name="Uma", email="uma@example.org")
        factories.PersonFactory()
        factories.event(held=date(2026, 10, 17), fee="80.00", oldest_class="Under 18")
        closes = date(2026, 10, 17)
        with clock.on(closes - timedelta(days=15)):
            assert services.remind_entries(on=closes - timedelta(days=15)) == []
        for _ in range(2):
            services.remind_entries(on=closes - timedelta(days=14))
        letter = Message.objects.get(about__startswith="entries")
        assert letter.household == child.household
        assert "Under 14: $80.00, of which the entry fund refunds $80.00" in letter.body
        assert too_old.household != child.household

    def test_not_for_an_event_that_is_not_refunded(self, junior, by):
        junior()
        factories.event(held=NOW + timedelta(days=5), refunded=False)
        assert services.remind_entries(on=NOW) == []


class TestTheFamilysPage:
    def test_a_claim_with_its_photo_reaches_the_queue_at_most_what_is_refunded(self, client, junior):
        child, event = junior(), factories.event(fee="60.00")
        form = {
            "key": str(uuid.uuid4()), "person": child.pk, "event": event.pk, "receipt_amount": "72.50",
            "receipt": SimpleUploadedFile("r.png", factories.photo()), "entry_shown": "on",
        }  # fmt: skip
        for _ in range(2):
            form["receipt"] = SimpleUploadedFile("r.png", factories.photo())
            assert client.post(families.claims_of(client, child.household), form).status_code == 302
        claim = EntryClaim.objects.get()
        assert (claim.amount, claim.receipt_amount, claim.by_family) == (as_amount(60), as_amount("72.50"), True)
        assert "Waiting for a decision" in client.get(families.claims_of(client, child.household)).content.decode()

    def test_only_their_own_children_and_only_by_a_whole_link(self, client, junior):
        child, other, event = junior(), junior(), factories.event()
        form = {
            "key": str(uuid.uuid4()), "person": other.pk, "event": event.pk, "receipt_amount": "60",
            "receipt": SimpleUploadedFile("r.png", factories.photo()),
        }  # fmt: skip
        assert client.post(families.claims_of(client, child.household), form).status_code == 422
        assert client.get(families.link(child.household)[:-3] + "x/").status_code == 404

    def test_the_evidence_is_not_open_to_families_or_helpers(self, client, junior, claim, range_helper):
        url = reverse("admin:entryfund_entryclaim_evidence", args=[claim(junior()).pk])
        assert client.get(url).status_code == 302
        client.force_login(range_helper)
        assert client.get(url).status_code == 403


def test_what_was_asked_and_answered_is_told_to_the_family_and_goes_with_the_child(
    client, book, claim, by, approver, treasurer
):
    from clubdesk.desk.erasing import erase_person
    from clubdesk.entryfund.personal import TOLD

    child = factories.PersonFactory()
    asked = claim(child)
    services.ask_for_more(claim=asked, question="Which class?", by=approver, on=NOW)
    services.answer_claim(claim=asked, answer="Under 14", by=by)
    services.decline_claim(claim=asked, reason="not shown", by=approver, on=NOW)
    words = [row[4] for row in TOLD[0].rows(child.household)]
    assert words == ["asked: Which class?; answered: Under 14; decided: not shown"]
    later = date(2040, 1, 1)
    with clock.on(later):
        erase_person(person=child, on=later, by=by)
        client.force_login(treasurer)
        page = client.get(reverse("admin:entryfund_entryclaim_change", args=[asked.pk])).content.decode()
        file = client.get(reverse("admin:entryfund_entryclaim_evidence", args=[asked.pk]))
    asked.refresh_from_db()
    assert {asked.question, asked.answer, asked.decision_reason} == {"erased"}
    assert "Open the receipt" not in page
    assert file.status_code == 404
