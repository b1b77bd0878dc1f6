"""Payment runs: made by one, released by another, paid or returned item by item; and where the money goes."""

import uuid
from datetime import date

import pytest
from django.contrib.auth.models import Group, User
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk.bank import selectors, services
from clubdesk.bank.models import BankAccount, ItemState, PaymentItem, PaymentRun, RunState
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method, Repayment
from clubdesk.fees.selectors import unused_credit
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rooms import COORDINATOR
from tests import factories

pytestmark = pytest.mark.django_db
NOW, LATER = date(2026, 9, 12), date(2026, 9, 16)


def sound():
    return [(result.name, result.faults) for result in check_all() if result.faults] == []


@pytest.fixture
def account(book):
    return factories.direct_entry()


@pytest.fixture
def home(book):
    return factories.HouseholdFactory(name="Mirabar", guardian="Ida Mirabar", email="ida@example.org")


@pytest.fixture
def claim(by, approver, home):
    """An approved refund of 60."""
    child = factories.PersonFactory(household=home)
    start = date(2026, 7, 6)
    membership.take_out_membership(person=child, plan=factories.plan(), starts_on=start, on=start, by=by)
    entryfund.cash_in(containers=5000, amount=as_amount(500), paid_into=PaidInto.BANK, on=NOW, by=by)
    claimed = entryfund.record_claim(
        person=child,
        event=factories.event(),
        amount=as_amount(60),
        evidence=Evidence(b"receipt", "application/pdf"),
        on=NOW,
        by=by,
    )
    return entryfund.approve_claim(claim=claimed, by=approver, on=NOW)


@pytest.fixture
def spent(by, approver):
    """An approved expense of 25.50 of another household."""
    return expenses.approve_expense(expense=factories.expense(by), on=NOW, by=approver)


@pytest.fixture
def credit(by):
    """A household that has paid 40 too much."""
    household = factories.HouseholdFactory(name="Quoll")
    fees.record_receipt(household=household, amount=as_amount(40), method=Method.TRANSFER, on=NOW, by=by)
    return household


@pytest.fixture
def run(account, claim, spent, credit, treasurer, by):
    """A run of a refund, an expense and a credit, 125.50 in all."""
    for household in (claim.household, spent.household, credit):
        factories.bank_details(household, by, title=household.name)
    return services.make_run(
        bank_account=account,
        method="file",
        pay_on=LATER,
        on=NOW,
        by=treasurer,
        claims=[claim],
        expenses=[spent],
        credits=[credit],
    )


@pytest.fixture
def released(run, coordinator, treasurer):
    services.release_run(run=run, on=NOW, by=coordinator)
    services.make_file(run=run, by=treasurer)
    run.refresh_from_db()
    return run


def paid(run, by):
    services.record_paid(run=run, items=list(run.items.all()), on=LATER, by=by)
    return {item.what.split()[0]: item for item in run.items.all()}


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
        with pytest.raises(IntegrityError), transaction.atomic():
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
        with pytest.raises(IntegrityError), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=treasurer, released_on=NOW)

    def test_nobody_releases_a_payment_to_their_own_household(self, run, home, coordinator):
        home.users.add(coordinator)
        with pytest.raises(Refused, match="You belong to Mirabar"):
            services.release_run(run=run, on=NOW, by=coordinator)
        with pytest.raises(IntegrityError), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=coordinator, released_on=NOW)

    def test_nobody_releases_a_payment_to_details_that_they_entered(self, run, by):
        with pytest.raises(Refused, match="You entered bank details"):
            services.release_run(run=run, on=NOW, by=by)
        with pytest.raises(IntegrityError), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=by, released_on=NOW)

    def test_details_changed_in_between_stop_the_release(self, run, home, by, coordinator):
        factories.bank_details(home, by, number="999999", reason="a letter asked for it")
        with pytest.raises(Refused, match="details of Mirabar changed since"):
            services.release_run(run=run, on=NOW, by=coordinator)

    def test_a_credit_that_was_used_meanwhile_stops_the_release(self, run, credit, by, coordinator):
        price = factories.price(code="cap", amount="30.00")
        fees.charge(household=credit, price=price, on=NOW, starts_on=NOW, by=by)
        with pytest.raises(Refused, match="Quoll has a smaller credit than 40.00"):
            services.release_run(run=run, on=NOW, by=coordinator)
        item = run.items.get(claim=None, expense=None)
        services.leave_out(item=item, on=NOW, reason="used for a cap", by=by)
        assert services.release_run(run=run, on=NOW, by=coordinator).state == RunState.RELEASED

    def test_first_payments_and_changed_details_are_pointed_out(self, released, treasurer, home, by, account, approver):
        said = selectors.changed_details(list(released.items.select_related("details__recorded_by")))
        assert all("first payment to this account" in words for words in said.values())
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
        with pytest.raises(IntegrityError), transaction.atomic():
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


class TestTheFile:
    def test_made_twice_it_is_the_same_file_with_the_same_number_and_says_so(self, client, released, treasurer):
        from clubdesk.bank.services.runs import file_of

        first = file_of(released)
        client.force_login(treasurer)
        page = reverse("admin:bank_paymentrun_make-file", args=[released.pk])
        assert "It was made once before. The bank must get it once." in client.get(page).content.decode()
        answer = client.post(page, {"key": str(uuid.uuid4())}, follow=True).content.decode()
        assert "The same file again. It was made once before. It has the same number" in answer
        download = client.get(reverse("admin:bank_paymentrun_file", args=[released.pk]))
        assert download.content == first
        assert b"RUN 1 " in first.splitlines()[0]
        assert 'filename="payment-run-1.aba"' in download["Content-Disposition"]
        assert released.files.count() == 2
        assert sound()

    def test_its_content_is_what_the_run_pays(self, released):
        from clubdesk.bank.services.runs import file_of
        from tests.bank.test_direct_entry import read

        found = read(file_of(released))
        assert [row["cents"] for row in found.details] == [6000, 2550, 4000]
        assert {row["account"] for row in found.details} == {"123456"}
        assert int(found.foot["net"]) == 12550

    def test_settings_changed_since_do_not_make_another_file_under_its_number(self, released, account, treasurer):
        account.user_id = "999999"
        account.save()
        with pytest.raises(Refused, match="settings changed since this file was made"):
            services.make_file(run=released, by=treasurer)

    def test_a_payment_that_the_bank_did_not_make_is_free_for_another_run_and_the_file_stays(self, released, treasurer):
        from clubdesk.bank.services.runs import file_of

        before, item = file_of(released), released.items.first()
        services.leave_out(item=item, on=NOW, reason="account unknown", by=treasurer)
        item.refresh_from_db()
        assert item.state == ItemState.REFUSED
        assert file_of(released) == before
        assert selectors.claims_to_pay().count() == 1
        paid(released, treasurer)
        assert sound()

    def test_a_file_whose_day_has_passed_is_not_released(self, run, coordinator):
        with pytest.raises(Refused, match="was to pay on 16 Sep 2026, which has passed"):
            services.release_run(run=run, on=date(2026, 9, 17), by=coordinator)

    def test_the_bank_cannot_have_paid_before_the_day_that_the_file_tells_it(self, released, treasurer):
        with pytest.raises(Refused, match="tells the bank to pay on 16 Sep 2026"):
            services.record_paid(run=released, items=list(released.items.all()), on=NOW, by=treasurer)

    def test_there_is_no_file_before_the_release_or_for_others_than_the_treasurer(
        self, client, run, treasurer, coordinator
    ):
        url = reverse("admin:bank_paymentrun_file", args=[run.pk])
        with pytest.raises(Refused, match="Only a released run"):
            services.make_file(run=run, by=treasurer)
        client.force_login(treasurer)
        assert client.get(url).status_code == 404
        services.release_run(run=run, on=NOW, by=coordinator)
        services.make_file(run=run, by=treasurer)
        client.force_login(coordinator)
        assert client.get(url).status_code == 403


class TestBankDetails:
    def test_a_change_needs_a_reason_and_the_same_again_changes_nothing(self, home, by):
        first = factories.bank_details(home, by)
        assert factories.bank_details(home, by, reason="") == first
        with pytest.raises(Refused, match="Say who asked for this"):
            factories.bank_details(home, by, number="7654321", reason=" ")

    @pytest.mark.parametrize("number", ["1", "12345678901", "12-34", "abc", "１２３４"])
    def test_a_number_of_another_form_is_refused(self, home, by, number):
        with pytest.raises(Refused, match="two to nine digits"):
            factories.bank_details(home, by, number=number)

    def test_all_but_the_treasurer_see_them_masked(self, client, run, treasurer, auditor, coordinator, home):
        def seen(user, url):
            client.force_login(user)
            return client.get(url).content.decode()

        page = reverse("admin:bank_paymentrun_change", args=[run.pk])
        assert "082-902, 123456" in seen(treasurer, page)
        for user in (auditor, coordinator):
            assert "082-902" not in seen(user, page)
            assert "account ending in 456" in seen(user, page)
        household = reverse("admin:roll_household_change", args=[home.pk])
        assert "082-902, 123456" in seen(treasurer, household)
        assert "account ending in 456" in seen(auditor, household)
        assert "ending in" not in seen(coordinator, household)

    def test_nobody_is_paid_at_a_bank_that_does_not_exist(self, home, by):
        with pytest.raises(Refused, match="No bank has the BSB 000-000"):
            services.set_bank_details(
                household=home, title="Ida", bsb="000-000", account_number="1234", reason="x", on=NOW, by=by
            )

    def test_the_database_keeps_what_was_noted(self, home, by):
        factories.bank_details(home, by)
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("UPDATE bank_bankdetails SET account_number = '999999'")


class TestExpenses:
    def test_an_approved_expense_is_charged_to_its_account_and_fund(self, by, approver, claim):
        spent = factories.expense(by, amount="100.00", fund="entry", code="5020")
        expenses.approve_expense(expense=spent, on=NOW, by=approver)
        from clubdesk.ledger.selectors import fund_balance

        assert fund_balance("entry") == 340
        assert sound()

    def test_a_restricted_fund_is_not_overdrawn(self, by, approver, claim):
        spent = factories.expense(by, amount="500.00", fund="entry")
        with pytest.raises(Refused, match="holds 440.00"):
            expenses.approve_expense(expense=spent, on=NOW, by=approver)

    def test_nobody_decides_what_they_recorded_or_what_pays_their_own(self, by, approver):
        spent = factories.expense(by)
        with pytest.raises(Refused, match="You recorded this"):
            expenses.approve_expense(expense=spent, on=NOW, by=by)
        spent.household.users.add(approver)
        with pytest.raises(Refused, match="You belong to"):
            expenses.approve_expense(expense=spent, on=NOW, by=approver)
        for who in (by, approver):
            with pytest.raises(IntegrityError), transaction.atomic():
                type(spent).objects.filter(pk=spent.pk).update(state="approved", decided_by=who, decided_on=NOW)

    def test_one_receipt_stands_behind_one_expense(self, by, approver, home):
        spent = factories.expense(by)
        known = {
            "household": home, "what": "again", "amount": as_amount(1), "spent_on": NOW, "account": spent.account,
            "fund": spent.fund, "by": by, "evidence": Evidence(spent.receipt.read(), "image/jpeg"),
        }  # fmt: skip
        with pytest.raises(Refused, match="stands behind another expense"):
            expenses.record_expense(**known)
        expenses.decline_expense(expense=spent, reason="not for the club", on=NOW, by=approver)
        assert expenses.record_expense(**known).state == "recorded"
        assert sound()

    def test_only_an_expense_account_or_equipment_bears_it(self, by, home):
        with pytest.raises(Refused, match="cannot be charged to 4010"):
            factories.expense(by, home, code="4010")
        assert factories.expense(by, home, code="1500").account.code == "1500"

    def test_the_approver_may_choose_another_account(self, by, approver):
        from clubdesk.ledger.models import Account

        spent = factories.expense(by, code="5040")
        other = Account.objects.get(code="5050")
        assert expenses.approve_expense(expense=spent, account=other, on=NOW, by=approver).account == other
        with pytest.raises(IntegrityError), transaction.atomic():
            type(spent).objects.filter(pk=spent.pk).update(account=spent.account)

    def test_a_declined_one_tells_the_volunteer_and_stays_declined(self, by, approver, home):
        spent = factories.expense(by, home)
        with pytest.raises(Refused, match="Give the reason"):
            expenses.decline_expense(expense=spent, reason=" ", on=NOW, by=approver)
        expenses.decline_expense(expense=spent, reason="the club has some", on=NOW, by=approver)
        assert "the club has some" in home.messages.get().body
        with pytest.raises(Refused, match="was declined"):
            expenses.approve_expense(expense=spent, on=NOW, by=approver)


class TestContainers:
    def cash_in(self, by, amount="500.00", **more):
        known = {"containers": 5012, "paid_into": PaidInto.BANK, "on": NOW, "by": by}
        return entryfund.cash_in(amount=as_amount(amount), **known | more)

    def test_the_depots_receipt_is_kept_and_known_again(self, client, by, coordinator):
        receipt = Evidence(factories.photo("depot", "JPEG"), "image/jpeg")
        cashed_in = self.cash_in(by, evidence=receipt)
        with pytest.raises(Refused, match="This very receipt stands behind"):
            self.cash_in(by, evidence=receipt)
        client.force_login(coordinator)
        answer = client.get(reverse("admin:entryfund_containerreturn_evidence", args=[cashed_in.pk]))
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert b"".join(answer.streaming_content) == receipt.content

    def test_the_depots_number_and_amount_come_once(self, by):
        self.cash_in(by, depot_receipt="7781")
        with pytest.raises(Refused, match="receipt 7781 over 500.00 is recorded already"):
            self.cash_in(by, depot_receipt=" 7781 ")
        self.cash_in(by, amount="400.00", depot_receipt="7781")

    def test_the_difference_to_the_count_is_shown(self, client, by, coordinator):
        # Source: Environment Protection Act 1993 (SA), Part 8 Division 2: ten cents a container; 5012 are 501.20.
        cashed_in = self.cash_in(by)
        assert cashed_in.difference == as_amount("-1.20")
        client.force_login(coordinator)
        page = client.get(reverse("admin:entryfund_containerreturn_change", args=[cashed_in.pk])).content.decode()
        assert "−1.20" in page

    def test_a_mistyped_return_is_cancelled_with_a_reason(self, by):
        cashed_in = self.cash_in(by, amount="5000.00")
        with pytest.raises(Refused, match="Say why"):
            entryfund.cancel_return(container_return=cashed_in, on=NOW, reason=" ", by=by)
        for _ in range(2):
            entryfund.cancel_return(container_return=cashed_in, on=NOW, reason="a nought too many", by=by)
        self.cash_in(by)
        assert balance(Role.BANK, NOW) == 500
        assert sound()

    def test_not_once_the_fund_has_promised_the_money(self, by, claim):
        from clubdesk.entryfund.models import ContainerReturn

        with pytest.raises(Refused, match="holds 440.00; this would take 500.00"):
            entryfund.cancel_return(container_return=ContainerReturn.objects.get(), on=NOW, reason="typo", by=by)
        assert sound()

    def test_cash_from_the_depot_that_was_cancelled_leaves_the_tin(self, by):
        cashed_in = self.cash_in(by, paid_into=PaidInto.TILL)
        entryfund.cancel_return(container_return=cashed_in, on=NOW, reason="typo", by=by)
        assert balance(Role.TILL, NOW) == 0
        assert sound()

    def test_bags_are_an_estimate_and_no_money(self, by):
        from clubdesk.entryfund.selectors import bags_in_words

        entryfund.count_bags(bags=4, containers=1200, on=NOW, by=by)
        assert bags_in_words() == (
            "4 bags, about 1200 containers, about 120.00 that is not in the fund yet (counted 12 Sep 2026)"
        )
        assert JournalEntry.objects.count() == 0
        self.cash_in(by)
        assert bags_in_words().endswith("containers were cashed in since, so count again")
        with pytest.raises(Refused, match="both nought"):
            entryfund.count_bags(bags=0, containers=5, on=NOW, by=by)


def test_the_fund_statement_tells_the_outlook_and_totals_by_discipline(client, claim, auditor):
    client.force_login(auditor)
    page = client.get(reverse("admin:fund_statement")).content.decode()
    assert "Chance that it covers all claims to 30 Jun 2027" in page
    assert "Refunds by discipline" in page
    assert "drawn a thousand times" in page
