"""Each role finds only its own work."""

import uuid
from datetime import date

import pytest
from django.contrib import admin
from django.urls import reverse

from clubdesk.courses.models import Place
from clubdesk.courses.services import withdraw_place
from clubdesk.desk.roles import ROLES
from clubdesk.ledger.models import JournalEntry, TaxBasis
from clubdesk.ledger.services import register_for_gst
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.roll.models import Person
from clubdesk.safety.models import Incident, Stay, VolunteerCheck
from tests.whole.addresses import A, C, H, T, X, urls_of_everything

pytestmark = [pytest.mark.either, pytest.mark.django_db]
# Who may open which page: anything not named here is refused with 403.
ADD_PAGES = {
    "roll_household": {C},
    "roll_person": {C},
    "care_agreementtext": {C},
    "care_look": set(),
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
    "safety_dayrules": {C},
    "safety_turn": {C},
    "safety_volunteercheck": {C},
    "safety_incident": {C, H},
    "safety_opening": set(),
    "safety_stay": set(),
    "entryfund_containerreturn": {C},
    "entryfund_stateevent": {C},
    "entryfund_entryclaim": {C},
    "entryfund_fundtransfer": {T},
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
    "desk_signinrecord": set(),
    "desk_actrecord": set(),
}
VERB_PAGES = {
    ("roll_household", "receipt"): {C, T},
    ("roll_household", "add-sign-in"): {C},
    ("auth_user", "end-sessions"): set(),
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
    ("roll_person", "contacts"): {C},
    ("roll_person", "agree"): {C},
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
    "safety_turn": {C, H, X},
    "safety_opening": {C, X},
    "safety_stay": {C, H},
    "safety_volunteercheck": {C},
    "safety_incident": {C},
    "entryfund_entryclaim": {C, A, T, X},
    "bank_statementline": {T, X},
    "bank_paymentrun": {C, A, T, X},
    "expenses_expense": {C, A, T, X},
    "ledger_journalentry": {T, X},
    "auth_user": set(),
    "desk_signinrecord": {X},
    "desk_actrecord": {X},
}


SEEN_BY_FEW = (Incident, Stay, VolunteerCheck)
"""What happened to children, and the numbers of volunteers' checks, are nothing that an auditor asks for."""


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


def test_the_auditor_sees_all_and_changes_nothing(season, as_role, by):
    register_for_gst(since=date(2026, 7, 1), basis=TaxBasis.CASH, by=by)  # else nobody sees GST
    auditor = as_role(X)
    before = JournalEntry.objects.count()
    for model in admin.site._registry:
        if model._meta.app_label == "auth":
            continue
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        sees = 403 if model in SEEN_BY_FEW else 200
        assert auditor.get(reverse(f"{name}_changelist")).status_code == sees
        assert auditor.post(reverse(f"{name}_add"), {}).status_code == 403
    assert JournalEntry.objects.count() == before


def test_whoever_is_not_signed_in_is_asked_to(client, season):
    urls = urls_of_everything()
    assert len(urls) > 150
    for url in urls:
        response = client.get(url)
        if url.startswith(("/book/own/", "/account/", "/known/", "/claims/", "/leaving/")) or url == "/news/":
            assert response.status_code == 404
            assert "Open the link again" in response.content.decode()
        elif url.startswith("/book/"):
            assert response.status_code == 200
        else:
            assert response.status_code == 302
            assert response.url.startswith("/login/")


def test_a_helper_sees_names_and_no_birth_dates(season, as_role):
    child = Person.objects.first()
    for path in (reverse("admin:roll_person_changelist"), reverse("admin:roll_person_change", args=[child.pk])):
        page = as_role(H).get(path).content.decode()
        assert child.given_name in page
        assert "2014" not in page
