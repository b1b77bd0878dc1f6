"""Each scene of the club's year done by its form, by the role that does it."""

import io
from datetime import date

import pytest
from django.contrib.auth import get_user_model
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from clubdesk.bank.models import BankAccount, PaymentRun
from clubdesk.courses.models import Booking, Place
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees.models import Charge, Lodgement, Receipt, Voucher
from clubdesk.ledger.models import Account, FinancialYear, Journal, JournalEntry
from clubdesk.money import as_amount, in_pieces
from clubdesk.rangeday.models import RangeDay, SignOn, TillCount
from clubdesk.roll.models import Household, Person
from tests import factories
from tests.forms import agreed
from tests.whole.addresses import A, C, H, T

pytestmark = pytest.mark.django_db


class TestTheScenesByForm:
    """What a browser sends, and what comes of it."""

    KEY = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"

    def test_a_coordinator_books_a_place_and_pressing_twice_books_one(self, book, as_role):
        cohort, child = factories.cohort(), factories.PersonFactory()
        form = {"key": self.KEY, **self.who(child), "cohorts": [cohort.pk]}
        first = agreed(as_role(C), reverse("admin:courses_booking_add"), form, follow=True)
        again = agreed(as_role(C), reverse("admin:courses_booking_add"), form, follow=True)
        assert "has a place in" in first.content.decode()
        assert again.status_code == 200
        assert Place.objects.count() == 1
        assert Charge.objects.count() == 1

    def test_what_the_verb_refuses_stands_above_the_form_with_everything_still_in_it(self, book, as_role):
        cohort, child = factories.cohort(), factories.PersonFactory()
        cohort.course.fee_item.prices.all().delete()
        form = {"key": self.KEY, **self.who(child), "cohorts": [cohort.pk]}
        response = agreed(as_role(C), reverse("admin:courses_booking_add"), form)
        page = response.content.decode()
        assert response.status_code == 422
        assert "has no price" in page
        assert f'value="{child.pk}" selected' in page
        assert not Place.objects.exists()

    @staticmethod
    def who(person):
        return {"person-TOTAL_FORMS": 1, "person-INITIAL_FORMS": 0, "person-0-person": person.pk}

    def test_a_helper_signs_a_visitor_on_and_is_ready_for_the_next(self, book, as_role):
        factories.hire()
        day = factories.range_day()
        url = reverse("admin:rangeday_rangeday_sign-on", args=[day.pk])
        form = {"key": self.KEY, "visitor_name": "Uncle", "gear": "hire", "paid": "cash"}
        response = as_role(H).post(url, form, follow=True)
        assert response.redirect_chain == [(url, 302)]
        assert "Uncle is signed on: $15.00, cash." in response.content.decode()

    def test_today_leads_to_todays_sheet_or_to_beginning_one(self, book, as_role):
        assert as_role(H).get("/today/").url == reverse("admin:rangeday_rangeday_add")
        day = factories.range_day()
        assert as_role(H).get("/today/").url == reverse("admin:range_sheet", args=[day.pk])

    def test_a_claim_goes_from_the_coordinator_to_the_approver_to_the_treasurer(self, season, as_role):
        child = factories.PersonFactory()
        from clubdesk.membership.services import take_out_membership

        start = date(2026, 9, 1)
        take_out_membership(person=child, plan=season.plan, starts_on=start, on=start, by=season.by)
        photo = SimpleUploadedFile("receipt.png", factories.photo(), "image/png")
        form = {
            "key": self.KEY, "person": child.pk, "event": season.event.pk, "amount": "60.00", "evidence": photo,
            "on": "2026-09-12", "entry_shown": "on",
        }  # fmt: skip
        as_role(C).post(reverse("admin:entryfund_entryclaim_add"), form)
        claim = EntryClaim.objects.get(person=child)
        evidence = as_role(A).get(reverse("admin:entryfund_entryclaim_evidence", args=[claim.pk]))
        assert Image.open(io.BytesIO(b"".join(evidence.streaming_content))).size == (32, 32)
        assert evidence["X-Content-Type-Options"] == "nosniff"
        assert "sandbox" in evidence["Content-Security-Policy"]
        assert as_role(H).get(evidence.request["PATH_INFO"]).status_code == 403
        as_role(A).post(
            reverse("admin:entryfund_entryclaim_approve", args=[claim.pk]), {"key": self.KEY, "on": "2026-09-12"}
        )
        account = BankAccount.objects.get()
        make = {
            "key": self.KEY, "bank_account": account.pk, "method": "single", "pay_on": "2026-09-12",
            "claims": [claim.pk],
        }  # fmt: skip
        as_role(T).post(reverse("admin:bank_paymentrun_add"), make)
        run = PaymentRun.objects.get(items__claim=claim)
        as_role(C).post(reverse("admin:bank_paymentrun_release", args=[run.pk]), {"key": self.KEY})
        paid = {"key": self.KEY, "on": "2026-09-12", "items": [run.items.get().pk]}
        as_role(T).post(reverse("admin:bank_paymentrun_paid", args=[run.pk]), paid)
        claim.refresh_from_db()
        assert claim.state == "paid"

    @pytest.mark.parametrize(
        ("name", "content", "sentence"),
        [
            ("receipt.pdf", b"<html><script>alert(1)</script></html>", "neither a PDF nor a photo"),
            ("receipt.png", b"", "empty"),
        ],
    )
    def test_an_upload_that_is_no_receipt_is_refused_in_a_sentence(self, season, as_role, name, content, sentence):
        form = {"key": self.KEY, "evidence": SimpleUploadedFile(name, content), "amount": "60", "on": "2026-09-12"}
        page = as_role(C).post(reverse("admin:entryfund_entryclaim_add"), form).content.decode()
        assert sentence in page
        assert EntryClaim.objects.count() == season.people

    def test_a_receipt_is_recorded_from_the_households_page(self, season, as_role):
        charge = Charge.objects.filter(price=season.plan.fee_item.prices.get()).first()
        url = reverse("admin:roll_household_receipt", args=[charge.household_id])
        page = as_role(C).get(url).content.decode()
        assert "Tick none, and the oldest is paid first." in page
        form = {"key": self.KEY, "amount": "20.00", "method": "cash", "on": "2026-09-12", "charges": [charge.pk]}
        response = as_role(C).post(url, form, follow=True)
        assert "20.00 from" in response.content.decode()

    @pytest.mark.parametrize(
        ("amount", "sentence"),
        [
            ("", "Write an amount, like 12.50."),
            ("0", "The amount must be more than 0.00."),
            ("-4", "An amount is not negative"),
            ("1e3x", "That is not an amount"),
            ("12.345", "Write whole cents"),
            ("99999999999999", "more than an amount can be"),
        ],
    )
    def test_a_wrong_amount_is_said_in_a_sentence_and_nothing_is_saved(self, season, as_role, amount, sentence):
        before = Receipt.objects.count()
        url = reverse("admin:roll_household_receipt", args=[Household.objects.first().pk])
        response = as_role(C).post(url, {"key": self.KEY, "amount": amount, "method": "cash", "on": "2026-09-12"})
        assert response.status_code == 422
        assert sentence in response.content.decode()
        assert Receipt.objects.count() == before

    def test_a_day_is_counted_and_closed(self, season, as_role):
        url = reverse("admin:rangeday_rangeday_close", args=[season.day.pk])
        other = get_user_model().objects.get(username="approver")
        page = as_role(C).get(url)
        facts = dict(page.context["facts"])
        expected = facts["Should be in the cash box, with the float below"]
        pieces = in_pieces(expected - as_amount(5))
        boxes = {f"pieces_{cents}": number for cents, number in pieces.items()}
        form = {"key": self.KEY, "second_counter": other.pk, "on": "2026-09-12", **boxes}
        form |= {"opening": page.context["form"]["opening"].value(), "card_slip": "", "receipts_on_slip": ""}
        assert "is short by $5.00. Say what you know of it." in as_role(C).post(url, form).content.decode()
        as_role(C).post(url, {**form, "reason": "a note is missing"})
        assert TillCount.objects.get().difference.amount == -5

    def test_a_month_is_locked_and_a_journal_reversed_by_the_treasurer(self, season, as_role):
        journal, year = Journal.objects.first(), FinancialYear.objects.get()
        form = {"key": self.KEY, "on": "2026-09-12", "reason": "entered twice"}
        as_role(T).post(reverse("admin:ledger_journal_reverse", args=[journal.pk]), form)
        assert JournalEntry.objects.filter(reverses__source_id=journal.pk).exists()
        lock = {"key": self.KEY, "month_end": "2026-07-31", "reason": "figures were wanted"}
        as_role(T).post(reverse("admin:ledger_financialyear_lock", args=[year.pk]), lock)
        year.refresh_from_db()
        assert year.locked_through == date(2026, 7, 31)

    def test_a_bill_is_written_as_a_journal_by_the_treasurer(self, season, as_role):
        accounts = {account.code: account.pk for account in Account.objects.all()}
        form = {
            "key": self.KEY, "on": "2026-09-12", "narration": "Insurance",
            "line-TOTAL_FORMS": 3, "line-INITIAL_FORMS": 0,
            "line-0-account": accounts["5070"], "line-0-fund": "general", "line-0-debit": "60.00",
            "line-1-account": accounts["1010"], "line-1-fund": "general", "line-1-credit": "60.00",
            "line-2-account": "", "line-2-fund": "general",
        }  # fmt: skip
        as_role(T).post(reverse("admin:ledger_journal_add"), form)
        as_role(T).post(reverse("admin:ledger_journal_add"), form)
        journal = Journal.objects.get(narration="Insurance")
        assert {
            row.amount.amount
            for row in JournalEntry.objects.get(source_id=journal.pk, purpose="journal").postings.all()
        } == {60, -60}

    def test_a_family_is_added_with_its_guardian_and_children_on_one_page(self, book, as_role):
        form = {
            "name": "Mirabar family", "guardians-TOTAL_FORMS": 1, "guardians-INITIAL_FORMS": 0,
            "guardians-0-name": "Ida Mirabar", "guardians-0-email": "ida@example.org", "guardians-0-phone": "",
            "people-TOTAL_FORMS": 1, "people-INITIAL_FORMS": 0, "people-0-given_name": "Ada",
            "people-0-family_name": "Mirabar", "people-0-birth_date": "2014-05-05",
        }  # fmt: skip
        response = as_role(C).post(reverse("admin:roll_household_add"), form)
        assert response.status_code == 302
        assert Person.objects.get().household.party.name == "Mirabar family"

    def test_more_capacity_is_offered_to_those_who_wait(self, season, as_role):
        season.grow(23)
        cohort = season.cohort
        form = {
            "course": cohort.course_id, "name": cohort.name, "first_session": cohort.first_session,
            "last_session": cohort.last_session, "capacity": 22, "days_between": 7,
        }  # fmt: skip
        agreed(as_role(C), reverse("admin:courses_cohort_change", args=[cohort.pk]), form)
        offered = Booking.objects.filter(state="offered").order_by("rank")
        assert list(offered.values_list("number", flat=True)) == [22, 23]

    def test_a_form_that_the_database_refuses_says_so_and_keeps_what_was_typed(self, season, as_role):
        cohort = season.cohort
        form = {
            "course": cohort.course_id, "name": "Spring", "first_session": cohort.first_session,
            "last_session": cohort.last_session, "capacity": 1, "days_between": 7,
        }  # fmt: skip
        response = as_role(C).post(reverse("admin:courses_cohort_change", args=[cohort.pk]), form)
        page = response.content.decode()
        assert response.status_code == 200
        assert "withdraw some first" in page
        assert 'value="Spring"' in page
        cohort.refresh_from_db()
        assert cohort.name != "Spring"

    def test_a_price_that_was_charged_is_only_read(self, season, as_role):
        price = season.plan.fee_item.prices.get()
        page = as_role(T).get(reverse("admin:fees_feeprice_change", args=[price.pk])).content.decode()
        assert "228.00" in page
        assert 'name="amount"' not in page
        assert 'name="shares-0-amount"' not in page

    def test_voucher_and_lodgement_pages_work_by_form(self, season, as_role):
        charge = Charge.objects.filter(vouchers=None, person__isnull=False).first()
        url = reverse("admin:fees_charge_voucher", args=[charge.pk])
        form = {"key": self.KEY, "scheme": season.scheme.pk, "code": "sv-new", "on": "2026-09-12"}
        as_role(C).post(url, form | {"birth_date": charge.person.birth_date})
        assert Voucher.objects.filter(code="SV-NEW", charge=charge).exists()
        lodgement = Lodgement.objects.first()
        paid = {f"paid_{each.pk}": each.amount.amount for each in lodgement.vouchers.filter(state="lodged")}
        url = reverse("admin:fees_lodgement_answer", args=[lodgement.pk])
        as_role(T).post(url, {"key": self.KEY, "on": "2026-09-12", **paid})
        lodgement.refresh_from_db()
        assert lodgement.paid_on == date(2026, 9, 12)

    def test_a_cancelled_sign_on_is_reversed(self, season, as_role):
        sign_on = SignOn.objects.first()
        assert sign_on.loans.filter(back_at=None).exists()
        form = {"key": self.KEY, "on": "2026-09-12", "reason": "wrong child"}
        as_role(H).post(reverse("admin:rangeday_signon_cancel", args=[sign_on.pk]), form)
        sign_on.refresh_from_db()
        assert sign_on.cancelled_on == date(2026, 9, 12)
        assert not sign_on.loans.filter(back_at=None).exists()

    def test_a_range_day_is_begun_by_a_helper(self, book, as_role):
        as_role(H).post(reverse("admin:rangeday_rangeday_add"), {"date": "2026-09-12", "place": "River range"})
        assert RangeDay.objects.filter(place="River range").exists()
