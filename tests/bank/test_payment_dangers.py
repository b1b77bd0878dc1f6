"""Ways in which a payment could be lost, doubled or misdirected, each shut."""

import io
import uuid
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import selectors, services
from clubdesk.bank.models import BankAccount, ItemState, PaymentItem, PaymentRun
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.entryfund.selectors import fund_statement
from clubdesk.errors import Refused
from clubdesk.expenses import services as expenses
from clubdesk.expenses.models import Expense
from clubdesk.fees import services as fees
from clubdesk.fees.selectors import balance as owed_by
from clubdesk.ledger.models import Account, Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from clubdesk.roll import services as roll
from tests import factories, families
from tests.bank.paying import LATER, NOW, paid, sound

pytestmark = pytest.mark.django_db


class TestStuck:
    @pytest.fixture
    def used(self, released, credit, by):
        """A payment of 40 in a file that is made; the credit behind it has paid a fee of 30 since."""
        fees.charge(household=credit, price=factories.price(code="cap", amount="30.00"), on=NOW, starts_on=NOW, by=by)
        return released.items.get(claim=None, expense=None)

    def test_a_credit_used_after_the_file_was_made_is_paid_and_the_fee_owed_again(
        self, released, used, credit, treasurer
    ):
        services.record_paid(run=released, items=[used], on=LATER, by=treasurer)
        assert released.items.get(pk=used.pk).state == ItemState.PAID
        assert owed_by(credit) == as_amount(30)
        assert sound()

    def test_a_credit_used_after_the_file_was_made_can_be_left_out(self, released, used, credit, treasurer):
        services.record_paid(run=released, items=released.items.exclude(pk=used.pk), on=LATER, by=treasurer)
        with pytest.raises(Refused, match="Some of this run was paid"):
            services.withdraw_run(run=released, on=LATER, reason="x", by=treasurer)
        services.leave_out(item=used, on=LATER, reason="x", by=treasurer)
        assert released.items.get(pk=used.pk).state == ItemState.REFUSED
        assert owed_by(credit) == as_amount(-10)
        assert sound()

    def test_a_whole_press_is_not_refused_for_one_credit(self, released, used, treasurer):
        assert {item.state for item in paid(released, treasurer).values()} == {ItemState.PAID}

    def test_a_payment_that_the_bank_never_took_from_the_file_can_be_left_out(self, released, treasurer):
        first, second, _ = released.items.all()
        services.record_paid(run=released, items=[first], on=LATER, by=treasurer)
        left = services.leave_out(item=second, on=LATER, reason="bank threw it out of the file", by=treasurer)
        assert left.state == ItemState.REFUSED
        assert [item.state for item in released.items.all()] == [ItemState.PAID, ItemState.REFUSED, ItemState.WAITING]


class TestFund:
    def test_a_restricted_fund_buys_no_equipment(self, by, claim):
        with pytest.raises(Refused, match="pays for no equipment"):
            factories.expense(by, amount="5000.00", fund="entry", code="1500")

    @pytest.mark.parametrize("code", ["6010", "5090", "5080", "5085"])
    def test_an_expense_is_not_charged_to_accounts_that_documents_own(self, by, claim, code):
        with pytest.raises(Refused, match="cannot be charged"):
            factories.expense(by, code=code, fund="entry")

    def test_the_statement_page_opens_where_the_year_is_not_open_yet(self, client, book, auditor):
        client.force_login(auditor)
        with clock.on(date(2027, 7, 2)):
            assert client.get(reverse("admin:fund_statement")).status_code == 200

    def test_an_expense_of_the_fund_has_a_line_of_its_own(self, by, approver, claim):
        expenses.approve_expense(expense=factories.expense(by, fund="entry"), on=NOW, by=approver)
        assert fund_statement(date(2026, 7, 1), NOW).other == 0


class TestTheFile:
    def test_no_other_file_is_downloaded_than_the_one_that_was_made(self, client, released, treasurer):
        client.force_login(treasurer)
        url, before = reverse("admin:bank_paymentrun_file", args=[released.pk]), BankAccount.objects.values("remitter")
        first, known = client.get(url), before.get()
        BankAccount.objects.update(remitter="SOMEBODY ELSE")
        refused = client.get(url, follow=True)
        assert "settings changed since this file was made; put them back" in refused.content.decode()
        BankAccount.objects.update(**known)
        assert client.get(url).content == first.content

    def test_a_download_says_what_is_wrong_where_the_settings_were_emptied(self, client, released, treasurer):
        client.force_login(treasurer)
        BankAccount.objects.update(user_name="")
        answer = client.get(reverse("admin:bank_paymentrun_file", args=[released.pk]), follow=True)
        assert "The file would not be taken by a bank" in answer.content.decode()

    def test_the_file_does_not_go_to_details_changed_since_the_release(self, run, home, by, coordinator, treasurer):
        services.release_run(run=run, on=NOW, by=coordinator)
        factories.bank_details(home, by, number="999999", reason="old account closed")
        with pytest.raises(Refused, match="bank details of Mirabar changed since the run was made"):
            services.make_file(run=run, by=treasurer)

    def test_a_run_is_not_released_after_the_day_in_its_file(self, run, coordinator):
        with pytest.raises(Refused, match="was to pay on 16 Sep 2026, which has passed"):
            services.release_run(run=run, on=date(2026, 10, 30), by=coordinator)

    def test_the_releaser_is_told_of_an_earlier_file_with_the_same_payment(
        self, client, released, treasurer, coordinator, claim, account
    ):
        services.withdraw_run(run=released, on=LATER, reason="wrong", by=treasurer)
        again = services.make_run(
            bank_account=account, method="file", pay_on=LATER, on=LATER, by=treasurer, claims=[claim]
        )
        client.force_login(coordinator)
        page = client.get(reverse("admin:bank_paymentrun_release", args=[again.pk])).content.decode()
        assert "run 1" in page.lower()

    def test_the_releaser_is_told_that_the_last_payment_to_these_details_came_back(
        self, released, treasurer, claim, account
    ):
        item = paid(released, treasurer)["Entry"]
        services.record_returned(item=item, on=LATER, reason="no such account", by=treasurer)
        again = services.make_run(
            bank_account=account, method="file", pay_on=LATER, on=LATER, by=treasurer, claims=[claim]
        )
        said = selectors.changed_details(list(again.items.select_related("details__recorded_by")))
        assert list(said.values()) == ["the bank returned the last payment to this very account: no such account"]


class TestAccounts:
    def test_a_run_is_paid_only_from_the_account_that_payments_are_posted_to(self, claim, treasurer):
        savings = Account.objects.create(code="1015", name="Savings", kind="asset", is_money=True)
        other = BankAccount.objects.create(name="Savings", account=savings)
        with pytest.raises(Refused, match="Savings is another"):
            services.make_run(bank_account=other, method="single", pay_on=NOW, on=NOW, by=treasurer, claims=[claim])


class TestPrivacy:
    def test_the_export_of_what_is_held_keeps_bank_details_from_who_may_not_see_them(
        self, client, home, by, coordinator
    ):
        from openpyxl import load_workbook

        factories.bank_details(home, by, number="123456")
        client.force_login(coordinator)
        answer = client.get(reverse("admin:household_file", args=[home.pk]))
        book = load_workbook(io.BytesIO(answer.content if not answer.streaming else b"".join(answer.streaming_content)))
        text = " ".join(str(cell.value) for sheet in book for row in sheet for cell in row)
        assert "account ending in 456" in text
        assert "082-902, 123456" not in text

    def test_an_erased_receipt_is_not_found(self, client, by, approver, treasurer, home):
        from clubdesk.desk.erasing import erase_person

        child = factories.PersonFactory(household=home)
        spent = factories.expense(by, home)
        expenses.decline_expense(expense=spent, reason="no", on=NOW, by=approver)
        client.force_login(treasurer)
        url = reverse("admin:expenses_expense_evidence", args=[spent.pk])
        assert client.get(url).status_code == 200
        with clock.on(date(2040, 1, 1)):
            erase_person(person=child, on=date(2040, 1, 1), by=treasurer)
            client.force_login(treasurer)
            assert client.get(url).status_code == 404

    def test_nobody_is_erased_while_the_club_owes_them(self, by, approver, treasurer, home):
        from clubdesk.desk.erasing import erase_person

        child = factories.PersonFactory(household=home)
        expenses.approve_expense(expense=factories.expense(by, home), on=NOW, by=approver)
        with clock.on(date(2040, 1, 1)), pytest.raises(Refused, match="still owes Mirabar an expense"):
            erase_person(person=child, on=date(2040, 1, 1), by=treasurer)

    def test_the_reason_of_a_return_does_not_stay_in_the_journal(self, released, treasurer, claim):
        from clubdesk.ledger.models import JournalEntry

        services.record_returned(
            item=paid(released, treasurer)["Entry"], on=LATER, reason="account of Ida Mirabar closed", by=treasurer
        )
        assert not JournalEntry.objects.filter(narration__contains="Ida").exists()


class TestGuards:
    def other_run(self, run):
        return PaymentRun.objects.create(
            number=9, bank_account=run.bank_account, method="single", made_on=NOW, pay_on=NOW,
            recorded_by=run.recorded_by,
        )  # fmt: skip

    @pytest.mark.parametrize("field", ["amount", "household"])
    def test_an_item_is_what_its_document_says(self, run, claim, treasurer, spent, field):
        """A row of another amount or household than its claim's would be paid so and posted otherwise."""
        services.withdraw_run(run=run, on=NOW, reason="x", by=treasurer)
        other = self.other_run(run)
        home = spent.household if field == "household" else claim.household
        amount = as_amount(6000) if field == "amount" else claim.amount
        with (
            pytest.raises(IntegrityError, match="has the amount and the family of what it pays"),
            transaction.atomic(),
        ):
            PaymentItem.objects.create(
                run=other, claim=claim, household=home, details=home.bank_details.first(), amount=amount
            )

    def test_an_item_goes_to_its_own_households_details(self, run, claim, treasurer, spent):
        services.withdraw_run(run=run, on=NOW, reason="x", by=treasurer)
        other = self.other_run(run)
        with pytest.raises(IntegrityError, match="and that family's bank details"), transaction.atomic():
            PaymentItem.objects.create(
                run=other, claim=claim, household=claim.household, amount=claim.amount,
                details=spent.household.bank_details.first(),
            )  # fmt: skip

    @pytest.mark.only_on("sqlite")
    def test_a_paid_item_is_not_replaced_by_its_claim(self, released, treasurer, claim):
        item = paid(released, treasurer)["Entry"]
        other = self.other_run(released)
        never = pytest.raises(IntegrityError, match="This payment stands already; it is never replaced")
        with never, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "INSERT OR REPLACE INTO bank_paymentitem"
                " (run_id, household_id, claim_id, amount, state, reason)"
                " VALUES (%s, %s, %s, 6000, 'waiting', '')",
                [other.pk, claim.household_id, claim.pk],
            )
        assert PaymentItem.objects.filter(pk=item.pk).exists()

    @pytest.mark.only_on("sqlite")
    def test_an_expense_is_not_replaced_by_its_receipt(self, book, by, approver, home):
        expenses.approve_expense(expense=factories.expense(by), on=NOW, by=approver)
        never = pytest.raises(IntegrityError, match="expense stands already; it is never replaced")
        with never, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "INSERT OR REPLACE INTO expenses_expense (key, recorded_at, decision_reason, payment_reference,"
                " times_returned, what, amount, spent_on, receipt, receipt_type, receipt_digest, state,"
                " account_id, fund_id, household_id, recorded_by_id)"
                " SELECT %s, recorded_at, '', '', 0, what, amount, spent_on, receipt, receipt_type,"
                " receipt_digest, 'recorded', account_id, fund_id, household_id, recorded_by_id FROM expenses_expense",
                [uuid.uuid4().hex],
            )

    def test_a_file_of_an_unreleased_run_is_no_row(self, run, treasurer):
        from clubdesk.bank.models import PaymentFile

        with pytest.raises(IntegrityError, match="Only a released run has a file"), transaction.atomic():
            PaymentFile.objects.create(run=run, file_digest="0" * 64, recorded_by=treasurer)


class TestOdd:
    @pytest.mark.parametrize(
        "name", ["bank_paymentrun_file", "expenses_expense_evidence", "entryfund_containerreturn_evidence"]
    )
    def test_numbers_that_no_row_has(self, client, book, treasurer, name):
        client.force_login(treasurer)
        client.raise_request_exception = False
        assert client.get(reverse(f"admin:{name}", args=[10**30])).status_code == 404

    @pytest.mark.parametrize(
        ("on", "item"),
        [("2026-09-16", "x"), ("2026-09-16", "9" * 40), ("2026-09-16", ""), ("abc", None), ("1800-01-01", None)],
    )
    def test_nothing_is_paid_by_a_form_that_names_no_payment_or_no_day(self, client, released, treasurer, on, item):
        client.force_login(treasurer)
        form = {"key": str(uuid.uuid4()), "items": released.items.first().pk if item is None else item, "on": on}
        assert client.post(reverse("admin:bank_paymentrun_paid", args=[released.pk]), form).status_code == 422
        assert {each.state for each in released.items.all()} == {ItemState.WAITING}

    @pytest.mark.parametrize("value", ["x", "9" * 40, "", "\x00"])
    @pytest.mark.parametrize("field", ["bank_account", "claims", "expenses", "credits", "method", "pay_on", "key"])
    def test_no_run_is_made_by_a_form_with_one_odd_field(
        self, client, account, claim, spent, credit, treasurer, field, value
    ):
        client.force_login(treasurer)
        form = {
            "key": str(uuid.uuid4()), "bank_account": account.pk, "method": "single", "pay_on": "2026-09-20",
            "claims": [claim.pk],
        }  # fmt: skip
        assert client.post(reverse("admin:bank_paymentrun_add"), form | {field: value}).status_code == 422
        assert not PaymentRun.objects.exists()

    @pytest.mark.parametrize(
        ("field", "value"),
        [("household", "9" * 40), ("account", "9" * 40), ("fund", "x" * 300), ("amount", "1e99"), ("amount", "NaN"),
         ("spent_on", "x"), ("what", "   "), ("what", "x" * 500)],
    )  # fmt: skip
    def test_no_expense_is_recorded_by_a_form_with_one_odd_field(self, client, home, treasurer, field, value):
        client.force_login(treasurer)
        form = {
            "key": str(uuid.uuid4()), "household": home.pk, "what": "a", "amount": "3", "spent_on": "2026-09-10",
            "account": Account.objects.get(code="5040").pk, "fund": "general",
            "evidence": SimpleUploadedFile("a.jpg", factories.photo(kind="JPEG")),
        }  # fmt: skip
        assert client.post(reverse("admin:expenses_expense_add"), form | {field: value}).status_code == 422
        assert not Expense.objects.exists()

    @pytest.mark.parametrize(
        ("field", "value"),
        [("title", "日本"), ("title", "x" * 60), ("bsb", "１２３-４５６"), ("account_number", "1\n2")],
    )
    def test_no_bank_details_are_noted_by_a_form_with_one_odd_field(self, client, home, treasurer, field, value):
        client.force_login(treasurer)
        form = {
            "key": str(uuid.uuid4()), "title": "A", "bsb": "123-456", "account_number": "1234", "reason": "x",
        }  # fmt: skip
        url = reverse("admin:roll_household_bank-details", args=[home.pk])
        assert client.post(url, form | {field: value}).status_code == 422
        assert not home.bank_details.exists()


class TestQueries:
    def test_pages_of_a_run_ask_no_more_for_twelve_payments_than_for_two(
        self, client, account, by, approver, treasurer, coordinator
    ):
        def asked_by(user, *pages):
            client.force_login(user)
            for name, *which in pages:
                url = reverse(f"admin:{name}", args=which)
                client.get(url)
                with CaptureQueriesContext(connection) as queries:
                    assert client.get(url).status_code == 200
                yield name, len(queries)

        def asked_for(count):
            spent = [factories.expense(by, what=f"thing {n}", amount=f"{n + 1}.00") for n in range(count)]
            for each in spent:
                expenses.approve_expense(expense=each, on=NOW, by=approver)
                factories.bank_details(each.household, by)
            yield from asked_by(treasurer, ["bank_paymentrun_add"])
            run = services.make_run(
                bank_account=account, method="file", pay_on=LATER, on=NOW, by=treasurer, expenses=spent
            )
            change = ["bank_paymentrun_change", run.pk]
            yield from asked_by(coordinator, ["bank_paymentrun_release", run.pk], change)
            services.release_run(run=run, on=NOW, by=coordinator)
            services.make_file(run=run, by=treasurer)
            lists = ["bank_paymentitem_changelist"], ["expenses_expense_changelist"]
            yield from asked_by(treasurer, ["bank_paymentrun_paid", run.pk], change, *lists)

        assert list(asked_for(12)) == list(asked_for(2))


class TestMore:
    def test_a_households_statement_after_a_return(self, released, treasurer, credit):
        from clubdesk.fees import accounts

        item = paid(released, treasurer)["Credit"]
        services.record_returned(item=item, on=date(2026, 9, 20), reason="closed 100%", by=treasurer)
        assert accounts.statement(credit, date(2026, 9, 18)).closing == 0
        assert accounts.statement(credit, date(2026, 9, 20)).closing == -40
        assert sound()

    def test_cancelling_cash_that_was_banked_leaves_no_till_below_nil(self, by, home):
        from clubdesk.rangeday import services as rangeday

        cashed = entryfund.cash_in(containers=100, amount=as_amount(10), paid_into=PaidInto.TILL, on=NOW, by=by)
        entryfund.cash_in(containers=100, amount=as_amount(10), paid_into=PaidInto.BANK, on=NOW, by=by)
        rangeday.bank_takings(amount=as_amount(10), on=NOW, by=by)
        with pytest.raises(Refused, match="not in the cash box any more"):
            entryfund.cancel_return(container_return=cashed, on=NOW, reason="typo", by=by)
        assert balance(Role.TILL, NOW) == 0

    def test_the_chart_of_a_period_is_its_ledger(self, by):
        from clubdesk.entryfund.selectors import pool_chart

        cashed = entryfund.cash_in(
            containers=100, amount=as_amount(10), paid_into=PaidInto.BANK, on=date(2026, 7, 5), by=by
        )
        entryfund.cancel_return(container_return=cashed, on=NOW, reason="typo", by=by)
        july = date(2026, 7, 1), date(2026, 7, 31)
        assert fund_statement(*july).containers == 10
        assert sum(sum(figures) for _, figures in pool_chart(*july).columns) == 10

    def test_nobody_takes_themselves_off_a_household_and_then_releases_its_payment(
        self, client, run, home, coordinator
    ):
        families.belongs(coordinator, home)
        client.force_login(coordinator)
        url = reverse("admin:roll_household_take-off-sign-in", args=[home.pk])
        answer = client.post(url, {"user": coordinator.pk, "key": str(uuid.uuid4())})
        assert "Somebody else must take you off this family" in answer.content.decode()
        with pytest.raises(Refused, match="You belong or belonged to Mirabar, which this run pays"):
            services.release_run(run=run, on=NOW, by=coordinator)

    def test_whoever_left_the_family_since_it_was_asked_for_does_not_release_it_either(
        self, run, home, coordinator, by
    ):
        families.belongs(coordinator, home)
        roll.take_off_family(household=home, user=coordinator, by=by)
        with pytest.raises(Refused, match="You belong or belonged to Mirabar, which this run pays"):
            services.release_run(run=run, on=NOW, by=coordinator)
        with pytest.raises(IntegrityError, match="to their own family"), transaction.atomic():
            PaymentRun.objects.filter(pk=run.pk).update(state="released", released_by=coordinator, released_on=NOW)
