"""Payment runs: made by one, released by another, paid or returned item by item."""

import uuid
from datetime import date

import pytest
from django.contrib.auth.models import Group, User
from django.db import IntegrityError, transaction

from clubdesk.bank import selectors, services
from clubdesk.bank.models import BankAccount, ItemState, PaymentItem, PaymentRun, RunState
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Repayment
from clubdesk.fees.selectors import unused_credit
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from clubdesk.rooms import COORDINATOR
from tests import factories, families
from tests.bank.paying import LATER, NOW, paid, sound

pytestmark = pytest.mark.django_db


class TestMaking:
    def test_nothing_is_posted_until_the_bank_has_paid(self, run, coordinator):
        before = JournalEntry.objects.count()
        services.release_run(run=run, on=NOW, by=coordinator)
        assert JournalEntry.objects.count() == before
        assert sound()

    def test_what_stands_in_a_run_is_offered_to_no_other(self, run, claim, account, treasurer):
        assert not selectors.claims_to_pay().exists()
        assert not selectors.expenses_to_pay().exists()
        assert selectors.credits_to_repay() == {}
        with pytest.raises(Refused, match="stands in another run"):
            services.make_run(bank_account=account, method="single", pay_on=NOW, on=NOW, by=treasurer, claims=[claim])

    def test_the_database_itself_keeps_a_claim_to_one_run(self, run, claim):
        with pytest.raises(IntegrityError, match="(?i)stands already|unique constraint"), transaction.atomic():
            other = PaymentRun.objects.create(
                number=9, bank_account=run.bank_account, method="single", made_on=NOW, pay_on=NOW,
                recorded_by=run.recorded_by,
            )  # fmt: skip
            PaymentItem.objects.create(run=other, household=claim.household, claim=claim, amount=claim.amount)

    def test_a_file_needs_bank_details_and_single_transfers_do_not(self, account, claim, treasurer):
        known = {"bank_account": account, "pay_on": NOW, "on": NOW, "by": treasurer, "claims": [claim]}
        with pytest.raises(Refused, match="Mirabar has no bank details"):
            services.make_run(method="file", **known)
        assert services.make_run(method="single", **known).items.count() == 1

    def test_a_file_needs_the_clubs_own_account(self, claim, treasurer):
        with pytest.raises(Refused, match="lacks what a Direct Entry file needs"):
            services.make_run(
                bank_account=BankAccount.objects.get(), method="file", pay_on=NOW, on=NOW, by=treasurer, claims=[claim]
            )

    def test_an_unapproved_claim_or_a_day_that_has_passed_is_refused(self, account, treasurer, spent):
        waiting = factories.expense(treasurer)
        known = {"bank_account": account, "method": "single", "on": NOW, "by": treasurer}
        with pytest.raises(Refused, match="is not to be paid"):
            services.make_run(pay_on=NOW, expenses=[waiting], **known)
        with pytest.raises(Refused, match="day that has passed"):
            services.make_run(pay_on=date(2026, 9, 11), expenses=[spent], **known)
        with pytest.raises(Refused, match="at least one payment"):
            services.make_run(pay_on=NOW, **known)

    def test_a_second_press_makes_no_second_run(self, account, spent, treasurer):
        known = {"bank_account": account, "method": "single", "pay_on": NOW, "on": NOW, "by": treasurer}
        key = uuid.uuid4()
        first, again = (services.make_run(key=key, expenses=[spent], **known) for _ in range(2))
        assert first == again
        assert first.number == 1


class TestReleasing:
    def test_whoever_made_the_run_does_not_release_it(self, run, treasurer):
        treasurer.groups.add(Group.objects.get(name=COORDINATOR))
        treasurer = User.objects.get(pk=treasurer.pk)
        with pytest.raises(Refused, match="You made this run"):
            services.release_run(run=run, on=NOW, by=treasurer)
        with pytest.raises(IntegrityError, match="nobody_releases_what_they_made"), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=treasurer, released_on=NOW)

    def test_nobody_releases_a_payment_to_their_own_household(self, run, home, coordinator):
        families.belongs(coordinator, home)
        with pytest.raises(Refused, match="You belong or belonged to Mirabar"):
            services.release_run(run=run, on=NOW, by=coordinator)
        with pytest.raises(IntegrityError, match="to their own family"), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=coordinator, released_on=NOW)

    def test_nobody_releases_a_payment_to_details_that_they_entered(self, run, by):
        with pytest.raises(Refused, match="You entered bank details"):
            services.release_run(run=run, on=NOW, by=by)
        with pytest.raises(IntegrityError, match="to bank details that they entered"), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=by, released_on=NOW)

    def test_details_changed_in_between_stop_the_release(self, run, home, by, coordinator):
        factories.bank_details(home, by, number="999999", reason="a letter asked for it")
        with pytest.raises(Refused, match="details of Mirabar changed since"):
            services.release_run(run=run, on=NOW, by=coordinator)

    def test_a_credit_that_was_used_meanwhile_stops_the_release(self, run, credit, by, coordinator):
        price = factories.price(code="cap", amount="30.00")
        fees.charge(household=credit, price=price, on=NOW, starts_on=NOW, by=by)
        with pytest.raises(Refused, match=r"Quoll has a smaller credit than \$40.00"):
            services.release_run(run=run, on=NOW, by=coordinator)
        item = run.items.get(claim=None, expense=None)
        services.leave_out(item=item, on=NOW, reason="used for a cap", by=by)
        assert services.release_run(run=run, on=NOW, by=coordinator).state == RunState.RELEASED

    def test_first_payments_and_changed_details_are_pointed_out(self, released, treasurer, home, by, account, approver):
        said = selectors.changed_details(list(released.items.select_related("details__recorded_by")))
        assert len(said) == 3
        assert {words.partition(";")[0] for words in said.values()} == {"first payment to this account"}
        items = paid(released, treasurer)
        services.record_returned(item=items["Entry"], on=LATER, reason="no such account", by=treasurer)
        factories.bank_details(home, by, number="777777", reason="rang Ida on her old number")
        again = services.make_run(
            bank_account=account, method="file", pay_on=LATER, on=LATER, by=treasurer,
            claims=selectors.claims_to_pay(),
        )  # fmt: skip
        words = selectors.changed_details(list(again.items.select_related("details__recorded_by")))
        assert list(words.values()) == [
            f"changed since the last payment (16 Sep 2026): 12 Sep 2026 by {by}: rang Ida on her old number"
        ]

    def test_an_account_that_the_bank_has_just_refused_is_pointed_out(self, released, treasurer, account):
        item = paid(released, treasurer)["Entry"]
        services.record_returned(item=item, on=LATER, reason="account closed", by=treasurer)
        again = services.make_run(
            bank_account=account, method="file", pay_on=LATER, on=LATER, by=treasurer,
            claims=selectors.claims_to_pay(),
        )  # fmt: skip
        said = selectors.changed_details(list(again.items.select_related("details__recorded_by")))
        assert list(said.values()) == ["the bank returned the last payment to this very account: account closed"]

    def test_a_run_of_which_everything_is_left_out_is_withdrawn(self, run, treasurer):
        for item in run.items.all():
            services.leave_out(item=item, on=NOW, reason="wrong day", by=treasurer)
        run.refresh_from_db()
        assert run.state == RunState.WITHDRAWN
        assert sound()

    def test_a_withdrawn_run_is_not_released_and_its_payments_are_free(self, run, treasurer, coordinator):
        services.withdraw_run(run=run, on=NOW, reason="wrong day", by=treasurer)
        with pytest.raises(Refused, match="was withdrawn"):
            services.release_run(run=run, on=NOW, by=coordinator)
        assert selectors.claims_to_pay().count() == 1
        assert sound()


class TestPaying:
    def test_each_document_posts_when_the_bank_has_paid(self, released, treasurer, claim, spent, credit):
        before = balance(Role.BANK, LATER)
        paid(released, treasurer)
        paid(released, treasurer)
        assert before - balance(Role.BANK, LATER) == as_amount("125.50").amount
        claim.refresh_from_db()
        spent.refresh_from_db()
        assert (claim.state, spent.state) == ("paid", "paid")
        assert claim.payment_reference == f"ENTRY FEE {claim.pk}, run 1"
        assert unused_credit(credit) == as_amount(0)
        assert balance(Role.OTHER_PAYABLES, LATER) == balance(Role.REFUNDS_PAYABLE, LATER) == 0
        assert sound()

    def test_nothing_is_paid_of_a_run_that_nobody_released(self, run, treasurer):
        with pytest.raises(Refused, match="Only a released run"):
            paid(run, treasurer)
        with pytest.raises(IntegrityError, match="paid only from a released run"), transaction.atomic():
            run.items.update(state=ItemState.PAID, paid_on=NOW)

    def test_a_file_that_was_never_made_was_not_paid(self, run, coordinator, treasurer):
        services.release_run(run=run, on=NOW, by=coordinator)
        with pytest.raises(Refused, match="file of this run was not made"):
            paid(run, treasurer)

    def test_a_returned_refund_is_paid_again(self, released, treasurer, coordinator, claim, account, by):
        item = paid(released, treasurer)["Entry"]
        for _ in range(2):
            services.record_returned(item=item, on=LATER, reason="no such account", by=treasurer)
        claim.refresh_from_db()
        assert (claim.state, claim.paid_on, claim.times_returned) == ("approved", None, 1)
        assert balance(Role.REFUNDS_PAYABLE, LATER) == -60
        assert sound()
        factories.bank_details(claim.household, by, number="888888", reason="mistyped")
        again = services.make_run(
            bank_account=account, method="file", pay_on=LATER, on=LATER, by=treasurer, claims=[claim]
        )
        services.release_run(run=again, on=LATER, by=coordinator)
        services.make_file(run=again, by=treasurer)
        paid(again, treasurer)
        claim.refresh_from_db()
        assert claim.state == "paid"
        assert balance(Role.REFUNDS_PAYABLE, LATER) == 0
        assert sound()

    def test_a_returned_credit_stands_on_the_account_again(self, released, treasurer, credit):
        item = paid(released, treasurer)["Credit"]
        services.record_returned(item=item, on=LATER, reason="closed account", by=treasurer)
        assert unused_credit(credit) == as_amount(40)
        assert Repayment.objects.get().returned_on == LATER
        assert sound()

    def test_a_returned_expense_is_owed_again(self, released, treasurer, spent):
        item = paid(released, treasurer)["Expense"]
        services.record_returned(item=item, on=LATER, reason="closed account", by=treasurer)
        assert balance(Role.OTHER_PAYABLES, LATER) == as_amount("-25.50").amount
        assert sound()

    def test_what_was_not_paid_cannot_come_back_nor_before_it_was_paid(self, released, treasurer):
        with pytest.raises(Refused, match="was not paid"):
            services.record_returned(item=released.items.first(), on=LATER, reason="x", by=treasurer)
        item = paid(released, treasurer)["Entry"]
        with pytest.raises(Refused, match="cannot have come back before"):
            services.record_returned(item=item, on=NOW, reason="x", by=treasurer)

    def test_single_transfers_are_paid_one_by_one(self, account, claim, spent, treasurer, coordinator):
        run = services.make_run(
            bank_account=account, method="single", pay_on=NOW, on=NOW, by=treasurer, claims=[claim], expenses=[spent]
        )
        services.release_run(run=run, on=NOW, by=coordinator)
        first, second = run.items.all()
        services.record_paid(run=run, items=[first], on=NOW, by=treasurer)
        assert [item.state for item in run.items.all()] == ["paid", "waiting"]
        services.leave_out(item=second, on=NOW, reason="paid by the supplier", by=treasurer)
        assert selectors.expenses_to_pay().count() == 1
        assert sound()

    def test_once_one_payment_went_out_the_run_stands(self, released, treasurer):
        services.record_paid(run=released, items=[released.items.first()], on=LATER, by=treasurer)
        with pytest.raises(Refused, match="Some of this run was paid"):
            services.withdraw_run(run=released, on=LATER, reason="x", by=treasurer)
