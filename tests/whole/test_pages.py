"""Every page of the site: it opens, it stays cheap as the club grows, and each role finds only its own work."""

import io
import uuid
from datetime import date

import pytest
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from clubdesk.bank.models import BankAccount, PaymentRun
from clubdesk.courses import letters
from clubdesk.courses.models import Booking, Certificate, Cohort, Place
from clubdesk.courses.services import withdraw_place
from clubdesk.desk.roles import ROLES
from clubdesk.entryfund import letters as claim_letters
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees import accounts
from clubdesk.fees.models import Charge, Lodgement, Receipt, Voucher
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Journal, JournalEntry
from clubdesk.money import as_amount, in_pieces
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import RangeDay, SignOn, TillCount
from clubdesk.roll.models import Household, Person
from clubdesk.screens.rooms import RoomAdmin
from tests import factories
from tests.worlds import keeping
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
MOST_QUERIES = 40


def urls_of_everything():
    """Each list, add page, document page and verb page of the site that has something to show."""
    found = {reverse("admin:index"), reverse("admin:reports"), reverse("admin:trial_balance")}
    found |= {reverse("admin:statements", args=[2027]), reverse("admin:today", args=[])}
    found |= {
        reverse("book:courses"),
        letters.link_path(Booking.objects.filter(state="waiting").last() or Booking.objects.first()),
    }
    found |= {accounts.link_path(Household.objects.first()), reverse("admin:aged_balances")}
    found |= {reverse("admin:vouchers_answered"), reverse("admin:renewals"), reverse("admin:affiliation")}
    found |= {reverse("admin:household_statement", args=[Household.objects.first().pk])}
    found |= {reverse("admin:course_sheet", args=[Cohort.objects.first().pk])}
    found |= {reverse("admin:range_figures"), reverse("admin:range_tin"), reverse("admin:claim_queue")}
    found |= {
        reverse("admin:claim_minutes"),
        reverse("admin:import_statement"),
        reverse("admin:explain_lines"),
        reverse("admin:fund_statement"),
    }
    found |= {f"{reverse('admin:statements', args=[2027])}?basis={basis}" for basis in ("cash", "bridge")}
    found |= {reverse("admin:committee"), reverse("admin:closing", args=[2027]), reverse("admin:budget", args=[2027])}
    found |= {reverse("admin:verify"), reverse("admin:period_statements")}
    month = f"account={BankAccount.objects.get().pk}&until=2026-09-30&balance=47.00"
    found |= {f"{reverse('admin:reconcile_month')}?{month}"}
    found |= {claim_letters.link_path(Household.objects.first())}
    found |= {reverse("admin:range_sheet", args=[RangeDay.objects.filter(closed_on=None).first().pk])}
    found |= {reverse("admin:course_certificate", args=[Certificate.objects.first().pk])}
    for model, screen in admin.site._registry.items():
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        found.add(reverse(f"{name}_changelist"))
        if not isinstance(screen, RoomAdmin) or screen.add_page or screen.__class__.has_add_permission:
            found.add(reverse(f"{name}_add"))
        first = model._default_manager.order_by("pk").first()
        if first:
            found.add(reverse(f"{name}_change", args=[first.pk]))
        found |= {reverse(f"{name}_{page.slug}") for page in getattr(screen, "all_list_pages", ())}
        for page in getattr(screen, "all_pages", ()):
            target = next((row for row in model._default_manager.order_by("pk") if page.applies(row)), None)
            if target:
                found.add(page.url(target))
    return sorted(found)


@pytest.mark.slow
@pytest.mark.world("season_50")
@pytest.mark.django_db(transaction=True)
def test_every_page_costs_the_same_at_50_and_at_500_people(client, keeper):
    client.force_login(keeper)
    urls = urls_of_everything()
    assert len(urls) > 80
    for url in urls:
        client.get(url)  # once unmeasured: Django remembers content types from then on
    small = {url: queries(client, url) for url in urls}
    keeping.spoil()
    keeping.enter("season_500")
    client.force_login(keeper)
    large = {url: queries(client, url) for url in urls}
    assert large == small
    assert max(large.values()) <= MOST_QUERIES, max(large, key=large.get)


def queries(client, url):
    cache.clear()
    with CaptureQueriesContext(connection) as captured:
        response = client.get(url)
    assert response.status_code in (200, 302, 403), url
    return len(captured)


def test_every_kind_of_document_has_a_page_with_its_verbs(client, season, keeper):
    client.force_login(keeper)
    for url in urls_of_everything():
        assert client.get(url).status_code in (200, 302, 403), url


# Who may open which page: anything not named here is refused with 403.
C, H, A, T, X = ROLES
ADD_PAGES = {
    "roll_household": {C},
    "roll_person": {C},
    "courses_course": {C},
    "courses_cohort": {C},
    "courses_booking": {C},
    "courses_place": set(),
    "courses_certificate": set(),
    "mail_message": set(),
    "membership_plan": {T},
    "membership_familycap": {T},
    "membership_membership": {C},
    "membership_remittance": {T},
    "rangeday_rangeday": {C, H},
    "rangeday_signon": set(),
    "rangeday_tap": set(),
    "rangeday_banking": {C, T},
    "rangeday_kit": {C},
    "rangeday_safetytext": {C},
    "rangeday_owngearcost": {C},
    "entryfund_containerreturn": {C},
    "entryfund_stateevent": {C},
    "entryfund_entryclaim": {C},
    "entryfund_fundtransfer": {T},
    "entryfund_calendarlink": {C},
    "entryfund_bagcount": {C},
    "expenses_expense": {C, T},
    "bank_paymentrun": {T},
    "bank_paymentitem": set(),
    "fees_charge": set(),
    "fees_receipt": set(),
    "fees_repayment": set(),
    "fees_writeoff": set(),
    "fees_arrangement": set(),
    "fees_lodgement": {C, T},
    "fees_voucher": set(),
    "fees_voucherscheme": {T},
    "fees_feeitem": {T},
    "fees_feeprice": {T},
    "bank_bankaccount": {T},
    "bank_cardsettlement": {T},
    "bank_statementline": {T},
    "bank_statementimport": set(),
    "bank_clearing": set(),
    "bank_bankrule": {T},
    "bank_reconciliation": set(),
    "ledger_account": {T},
    "ledger_fund": {T},
    "ledger_party": {T},
    "ledger_financialyear": {T},
    "ledger_journalentry": set(),
    "ledger_journal": {T},
    "auth_user": set(),
    "auth_group": set(),
}
VERB_PAGES = {
    ("roll_household", "receipt"): {C, T},
    ("roll_household", "charge"): {C, T},
    ("roll_household", "bank-details"): {T},
    ("roll_household", "send-statement"): {C, T},
    ("roll_household", "parts"): {C, T},
    ("roll_household", "end-parts"): {C, T},
    ("fees_charge", "credit"): {C, T},
    ("fees_charge", "write-off"): {T},
    ("fees_writeoff", "take-up"): {T},
    ("fees_receipt", "pays"): {C, T},
    ("fees_charge", "voucher"): {C},
    ("fees_receipt", "cancel"): {C, T},
    ("fees_voucher", "refuse"): {T},
    ("fees_voucher", "release"): {C},
    ("fees_lodgement", "answer"): {T},
    ("courses_place", "withdraw"): {C},
    ("courses_booking", "accept"): {C},
    ("courses_booking", "withdraw"): {C},
    ("courses_booking", "transfer"): {C},
    ("courses_booking", "cohorts"): {C},
    ("courses_booking", "move"): {C},
    ("courses_booking", "more-time"): {C},
    ("courses_booking", "phoned"): {C},
    ("courses_cohort", "attendance"): {C},
    ("courses_cohort", "certificates"): {C},
    ("courses_cohort", "cancel"): {C},
    ("roll_household", "book-course"): {C},
    ("roll_person", "reach-check"): {C},
    ("roll_person", "erase"): {T},
    ("mail_message", "send-again"): {C},
    ("membership_membership", "end"): {C},
    ("membership_membership", "change-plan"): {C},
    ("membership_membership", "cancel"): {C},
    ("roll_household", "renew"): {C},
    ("rangeday_rangeday", "sign-on"): {C, H},
    ("rangeday_rangeday", "close"): {C, T},
    ("rangeday_rangeday", "reopen"): {C, T},
    ("rangeday_rangeday", "call-off"): {C, T},
    ("rangeday_signon", "correct"): {C, H},
    ("rangeday_kit", "aside"): {C, H},
    ("rangeday_kit", "fit"): {C},
    ("rangeday_kit", "back"): {C, H},
    ("rangeday_banking", "cancel"): {C, T},
    ("rangeday_tap", "answer"): {C, T},
    ("rangeday_signon", "cancel"): {C, H},
    ("entryfund_entryclaim", "approve"): {A},
    ("entryfund_entryclaim", "decline"): {A},
    ("entryfund_entryclaim", "ask"): {A},
    ("entryfund_entryclaim", "answer"): {C},
    ("entryfund_containerreturn", "cancel"): {C},
    ("expenses_expense", "approve"): {A},
    ("expenses_expense", "decline"): {A},
    ("bank_paymentrun", "release"): {C, A},
    ("bank_paymentrun", "make-file"): {T},
    ("bank_paymentrun", "paid"): {T},
    ("bank_paymentrun", "withdraw"): {T},
    ("bank_paymentitem", "returned"): {T},
    ("bank_paymentitem", "leave-out"): {T},
    ("bank_statementline", "explain"): {T},
    ("bank_clearing", "undo"): {T},
    ("ledger_financialyear", "lock"): {T},
    ("ledger_journal", "reverse"): {T},
}
LISTS = {
    "roll_household": {C, T, X},
    "roll_person": {C, H, A, T, X},
    "fees_charge": {C, T, X},
    "rangeday_signon": {C, H, T, X},
    "entryfund_entryclaim": {C, A, T, X},
    "bank_statementline": {T, X},
    "bank_paymentrun": {C, A, T, X},
    "expenses_expense": {C, A, T, X},
    "ledger_journalentry": {T, X},
    "auth_user": set(),
}


@pytest.fixture
def as_role(client, request):
    def sign_in(role):
        client.force_login(get_user_model().objects.get(username=username(role)))
        return client

    return sign_in


def allowed(as_role, url):
    return {role for role in ROLES if as_role(role).get(url).status_code == 200}


def test_each_role_opens_the_pages_of_its_own_work_and_no_other(season, as_role):
    assert {name: allowed(as_role, reverse(f"admin:{name}_add")) for name in ADD_PAGES} == ADD_PAGES
    lists = {name: allowed(as_role, reverse(f"admin:{name}_changelist")) for name in LISTS}
    assert lists == LISTS


def test_each_role_does_only_its_own_verbs(season, as_role):
    season.grow(22)
    season.close_and_credit()
    rangeday.bank_takings(amount=as_amount(1), on=date(2026, 9, 12), by=season.by)
    withdraw_place(
        place=Place.objects.filter(state="held").first(), on=season.event.held_on, reason="ill", by=season.by
    )
    found = {}
    for (name, slug), _ in VERB_PAGES.items():
        model = next(m for m in admin.site._registry if f"{m._meta.app_label}_{m._meta.model_name}" == name)
        page = next(page for page in admin.site._registry[model].all_pages if page.slug == slug)
        target = next(row for row in model._default_manager.order_by("pk") if page.applies(row))
        found[name, slug] = allowed(as_role, page.url(target))
        for role in set(ROLES) - found[name, slug]:
            assert as_role(role).post(page.url(target), {"key": str(uuid.uuid4())}).status_code == 403
    assert found == VERB_PAGES


@pytest.mark.parametrize(
    ("page", "roles"),
    [("reports", {T, X}), ("trial_balance", {T, X})],
)
def test_the_reports_are_for_the_treasurer_and_the_auditor(season, as_role, page, roles):
    assert allowed(as_role, reverse(f"admin:{page}")) == roles
    assert allowed(as_role, reverse("admin:workbook", args=[2027])) == {T, X}


def test_the_auditor_sees_all_and_changes_nothing(season, as_role, settings):
    settings.CLUB_GST_FROM = date(2026, 7, 1)  # where the club is not registered nobody sees GST
    auditor = as_role(X)
    before = JournalEntry.objects.count()
    for model in admin.site._registry:
        if model._meta.app_label == "auth":
            continue
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        assert auditor.get(reverse(f"{name}_changelist")).status_code == 200
        assert auditor.post(reverse(f"{name}_add"), {}).status_code == 403
    assert JournalEntry.objects.count() == before


def test_whoever_is_not_signed_in_is_asked_to(client, season):
    for url in urls_of_everything():
        response = client.get(url)
        if url.startswith(("/book/", "/account/", "/claims/")):
            assert response.status_code == 200
        else:
            assert response.status_code == 302
            assert response.url.startswith("/login/")


class TestTheScenesByForm:
    """What a browser sends, and what comes of it."""

    KEY = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"

    def test_a_coordinator_books_a_place_and_pressing_twice_books_one(self, book, as_role):
        cohort, child = factories.cohort(), factories.PersonFactory()
        form = {"key": self.KEY, "person": child.pk, "cohorts": [cohort.pk]}
        first = as_role(C).post(reverse("admin:courses_booking_add"), form, follow=True)
        again = as_role(C).post(reverse("admin:courses_booking_add"), form, follow=True)
        assert "has a place in" in first.content.decode()
        assert again.status_code == 200
        assert Place.objects.count() == 1
        assert Charge.objects.count() == 1

    def test_what_the_verb_refuses_stands_above_the_form_with_everything_still_in_it(self, book, as_role):
        cohort, child = factories.cohort(), factories.PersonFactory(birth_date=date(2020, 1, 1))
        form = {"key": self.KEY, "person": child.pk, "cohorts": [cohort.pk]}
        response = as_role(C).post(reverse("admin:courses_booking_add"), form)
        page = response.content.decode()
        assert response.status_code == 422
        assert "is 6 on the first session" in page
        assert f'value="{child.pk}" selected' in page
        assert not Place.objects.exists()

    def test_a_helper_signs_a_visitor_on_and_is_ready_for_the_next(self, book, as_role):
        factories.hire()
        day = factories.range_day()
        url = reverse("admin:rangeday_rangeday_sign-on", args=[day.pk])
        form = {"key": self.KEY, "visitor_name": "Uncle", "gear": "hire", "paid": "cash"}
        response = as_role(H).post(url, form, follow=True)
        assert response.redirect_chain == [(url, 302)]
        assert "Uncle is signed on: 15.00, cash." in response.content.decode()

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
            ("0", "The amount must be more than nil."),
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
        expected = facts["Should be in the tin, with the float below"]
        pieces = in_pieces(expected - as_amount(5))
        boxes = {f"pieces_{cents}": number for cents, number in pieces.items()}
        form = {"key": self.KEY, "second_counter": other.pk, "on": "2026-09-12", **boxes}
        form |= {"opening": page.context["form"]["opening"].value(), "card_slip": "", "receipts_on_slip": ""}
        assert "is short by 5.00. Say what you know of it." in as_role(C).post(url, form).content.decode()
        as_role(C).post(url, {**form, "reason": "a note is missing"})
        assert TillCount.objects.get().difference.amount == -5

    def test_a_month_is_locked_and_a_journal_reversed_by_the_treasurer(self, season, as_role):
        journal, year = Journal.objects.first(), FinancialYear.objects.get()
        form = {"key": self.KEY, "on": "2026-09-12", "reason": "entered twice"}
        as_role(T).post(reverse("admin:ledger_journal_reverse", args=[journal.pk]), form)
        assert JournalEntry.objects.filter(reverses__source_id=journal.pk).exists()
        lock = {"key": self.KEY, "month_end": "2026-07-31"}
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
        as_role(C).post(reverse("admin:courses_cohort_change", args=[cohort.pk]), form)
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
        form = {"key": self.KEY, "on": "2026-09-12", "reason": "wrong child"}
        as_role(H).post(reverse("admin:rangeday_signon_cancel", args=[sign_on.pk]), form)
        sign_on.refresh_from_db()
        assert sign_on.cancelled_on == date(2026, 9, 12)

    def test_a_range_day_is_begun_by_a_helper(self, book, as_role):
        as_role(H).post(reverse("admin:rangeday_rangeday_add"), {"date": "2026-09-12", "place": "River range"})
        assert RangeDay.objects.filter(place="River range").exists()


WRONG = ["", "x", "-1", "0", "1e400", "999999999999999999", "12.345", "1800-01-01", "9999-12-31", "2026-02-30",
         "\x00", "🏹" * 400, "'; DROP TABLE ledger_posting; --", "NaN", "Infinity"]  # fmt: skip


FORMS = {}
"""The address of each form of a season, and the right values of its fields; read once a process."""


@pytest.fixture
def forms(client, season, keeper):
    client.force_login(keeper)
    for url in [] if FORMS else urls_of_everything():
        response = client.get(url)
        form = response.context.get("form") if response.context else None
        if response.status_code == 200 and hasattr(form, "target"):
            right = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
            FORMS[url] = {name: "" if value is None else str(value) for name, value in right.items()}
    assert len(FORMS) > 60
    return FORMS


@pytest.mark.slow
@pytest.mark.parametrize("wrong", WRONG, ids=range(len(WRONG)))
def test_no_form_fails_whatever_is_typed_into_it(client, forms, wrong):
    """Each field of each form in turn gets something wrong beside right values; the books stay sound."""
    for url, right in forms.items():
        for name in [*right, None]:
            key = {"key": str(uuid.uuid4())}
            typed = {**right, **key, name: wrong} if name else {**dict.fromkeys(right, wrong), **key}
            answer = client.post(url, typed)
            assert answer.status_code in (200, 302, 422), (url, name)
    assert [result for result in check_all() if result.faults] == []


@pytest.mark.slow
def test_no_plain_form_fails_whatever_is_typed_into_it(client, season, keeper):
    client.force_login(keeper)
    for model in admin.site._registry:
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}_add"
        response = client.get(reverse(name))
        if response.status_code != 200 or "adminform" not in (response.context or {}):
            continue
        for wrong in WRONG:
            typed = dict.fromkeys(response.context["adminform"].form.fields, wrong)
            for formset in response.context["inline_admin_formsets"]:
                typed |= {f"{formset.formset.prefix}-TOTAL_FORMS": "1", f"{formset.formset.prefix}-INITIAL_FORMS": "0"}
            assert client.post(reverse(name), typed).status_code in (200, 302), (name, wrong)


def test_an_entry_of_every_kind_of_document_has_its_page(client, season, keeper):
    season.close_and_credit()
    client.force_login(keeper)
    kinds = JournalEntry.objects.order_by().values_list("source_type", flat=True).distinct()
    assert len(kinds) > 12
    for kind in kinds:
        entry = JournalEntry.objects.filter(source_type=kind).first()
        assert client.get(reverse("admin:ledger_journalentry_change", args=[entry.pk])).status_code == 200, kind


def test_a_button_that_leads_elsewhere_has_no_page_of_its_own(client, season, keeper):
    client.force_login(keeper)
    assert client.post(f"/courses/cohort/{season.cohort.pk}/book/").status_code in (302, 404)


def test_a_helper_sees_names_and_no_birth_dates(season, as_role):
    child = Person.objects.first()
    for path in (reverse("admin:roll_person_changelist"), reverse("admin:roll_person_change", args=[child.pk])):
        page = as_role(H).get(path).content.decode()
        assert child.given_name in page
        assert "2014" not in page


def test_long_reasons_and_far_years_are_no_trouble(season, as_role):
    place = Place.objects.first()
    form = {"key": str(uuid.uuid4()), "on": "2026-09-12", "reason": "x" * 150}
    url = reverse("admin:courses_place_withdraw", args=[place.pk])
    assert as_role(C).post(url, form).status_code == 302
    form = {"key": str(uuid.uuid4()), "person": Person.objects.last().pk, "plan": season.plan.pk, "on": "2026-09-12",
            "starts_on": "9999-06-01"}  # fmt: skip
    answer = as_role(C).post(reverse("admin:membership_membership_add"), form)
    assert "check the year" in answer.content.decode()


def test_a_page_that_fails_shows_no_traceback(client, book, keeper):
    client.force_login(keeper)
    assert client.get("/roll/household/999999/receipt/").status_code == 404
    assert client.get("/reports/1850/").status_code == 404
    assert client.get("/nowhere/").status_code in (302, 404)
