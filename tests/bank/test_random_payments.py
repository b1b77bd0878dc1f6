"""Random payments: runs made, released, paid, returned and given up in any order; the books prove themselves."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from clubdesk.bank import services as bank
from clubdesk.bank.expected import explain
from clubdesk.bank.models import BankAccount, Clearing, PaymentItem, PaymentRun, Reconciliation
from clubdesk.bank.reconciling import reconcile
from clubdesk.bank.selectors import claims_to_pay, credits_to_repay, expenses_to_pay
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.expenses.models import Expense
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Fund, Posting
from clubdesk.ledger.selectors import month_end
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.roll.models import Household
from clubdesk.verbs import shell_user
from tests import factories
from tests.chance import by_chance

pytestmark = pytest.mark.django_db
amounts = st.integers(1, 9000).map(lambda cents: as_amount(cents) / 100)
START = date(2026, 7, 6)
NAMES = tuple(enumerate(("Ada", "Bea", "Cai", "Dot")))


class RandomPayments(RuleBasedStateMachine):
    """Two families with claims, expenses and credits; a treasurer and a second person."""

    @initialize()
    def start(self):
        self.run = transaction.atomic()
        self.run.__enter__()
        self.by = shell_user()
        ledger.open_year(first_day=date(2027, 7, 1), by=self.by)
        self.other = type(self.by).objects.get(username="keeper")
        self.today, self.made = START, 0
        self.homes = [factories.HouseholdFactory(name=name) for name in ("Mirabar", "Quoll")]
        entryfund.cash_in(containers=1, amount=as_amount(150), paid_into=PaidInto.BANK, on=START, by=self.by)
        plan = factories.plan()
        self.children = [factories.PersonFactory(household=self.homes[n % 2], given_name=name) for n, name in NAMES]
        for child in self.children:
            membership.take_out_membership(person=child, plan=plan, starts_on=START, on=START, by=self.by)
        self.event = factories.event(held=START)
        self.price = factories.price(amount="33.33", code="cap")
        for n in range(2):
            self.claim(n)
            self.be_paid_too_much(n, as_amount(300))
            self.spend(n, as_amount("20.05"), "general")
        self.decide_all()

    def claim(self, n):
        evidence = Evidence(f"claim {n}".encode(), "application/pdf")
        self.try_to(
            entryfund.record_claim, person=self.children[n], event=self.event, amount=as_amount(60),
            evidence=evidence, on=self.today,
        )  # fmt: skip

    def decide_all(self):
        self.by, self.other = self.other, self.by
        for claim in self.event.claims.filter(state="recorded"):
            self.try_to(entryfund.approve_claim, claim=claim, on=self.today)
        for expense in Expense.objects.filter(state="recorded"):
            self.try_to(expenses.approve_expense, expense=expense, on=self.today)
        self.by, self.other = self.other, self.by

    def try_to(self, verb, **given):
        """Do it, or see it refused with a sentence; nothing in between. The book itself refuses a signed-off month."""
        try:
            with transaction.atomic():
                return verb(by=self.by, **given)
        except Refused as refusal:
            assert refusal.sentence
        except IntegrityError as refused:
            assert "signed off" in str(refused)
        return None

    def pick(self, data, rows):
        found = list(rows.order_by("pk"))
        return data.draw(st.sampled_from(found)) if found else None

    @rule(days=st.integers(1, 40))
    def time_goes_on(self, days):
        self.today = min(self.today + timedelta(days=days), date(2028, 6, 1))

    @rule(n=st.integers(2, 3))
    def claim_and_decide(self, n):
        self.claim(n)
        self.decide_all()

    @rule(n=st.integers(0, 1), amount=amounts)
    def be_paid_too_much(self, n, amount):
        self.try_to(fees.record_receipt, household=self.homes[n], amount=amount, method=Method.TRANSFER, on=self.today)

    @rule(n=st.integers(0, 1))
    def charge(self, n):
        self.try_to(fees.charge, household=self.homes[n], price=self.price, on=self.today, starts_on=self.today)

    @rule()
    def lock_last_month(self):
        ended = month_end(self.today.replace(day=1) - timedelta(days=1))
        self.try_to(ledger.lock_month, month_end=ended, reason="a test")

    @rule(n=st.integers(0, 1), amount=amounts, fund=st.sampled_from(["general", "entry"]))
    def spend(self, n, amount, fund):
        self.made += 1
        self.try_to(
            expenses.record_expense,
            household=self.homes[n],
            what="tape",
            amount=amount,
            spent_on=self.today,
            account=Account.objects.get(code="5040"),
            fund=Fund.objects.get(pk=fund),
            evidence=Evidence(f"expense {self.made}".encode(), "application/pdf"),
        )

    @rule(data=st.data())
    def decide_an_expense(self, data):
        if expense := self.pick(data, Expense.objects.all()):
            self.by, self.other = self.other, self.by
            self.try_to(expenses.approve_expense, expense=expense, on=self.today)
            self.by, self.other = self.other, self.by

    @rule(with_credits=st.booleans())
    def make_a_payment_run(self, with_credits):
        in_credit = Household.objects.filter(pk__in=credits_to_repay())
        self.try_to(
            bank.make_run,
            bank_account=BankAccount.objects.get(),
            method="single",
            pay_on=self.today,
            on=self.today,
            claims=claims_to_pay(),
            expenses=expenses_to_pay(),
            credits=in_credit if with_credits else (),
        )

    @rule(data=st.data())
    def release_a_run(self, data):
        if run := self.pick(data, PaymentRun.objects.all()):
            self.by, self.other = self.other, self.by
            self.try_to(bank.release_run, run=run, on=self.today)
            self.by, self.other = self.other, self.by

    @rule(data=st.data())
    def the_bank_pays(self, data):
        if item := self.pick(data, PaymentItem.objects.filter(state="waiting")):
            self.try_to(bank.record_paid, run=item.run, items=[item], on=self.today)

    @rule(data=st.data())
    def the_bank_returns(self, data):
        if item := self.pick(data, PaymentItem.objects.filter(state="paid")):
            self.try_to(bank.record_returned, item=item, on=self.today, reason="closed account")

    @rule(data=st.data(), whole=st.booleans())
    def give_up_a_payment(self, data, whole):
        if item := self.pick(data, PaymentItem.objects.all()):
            if whole:
                self.try_to(bank.withdraw_run, run=item.run, on=self.today, reason="wrong day")
            else:
                self.try_to(bank.leave_out, item=item, on=self.today, reason="wrong day")

    @rule(data=st.data(), words=st.sampled_from(["TFR MIRABAR A", "RUN 1", "CASH", "RETURNED"]))
    def the_bank_shows_something(self, data, words):
        account = BankAccount.objects.get()
        known = Posting.objects.filter(account=account.account).order_by("pk")
        amount = data.draw(st.sampled_from([each.amount for each in known]))
        try:
            with transaction.atomic():
                bank.record_statement_line(bank_account=account, on=self.today, amount=amount, text=words, by=self.by)
        except IntegrityError as refused:
            assert "signed off" in str(refused)

    @rule(data=st.data())
    def take_an_answer(self, data):
        found = explain(BankAccount.objects.get())[0]
        if found:
            each = data.draw(st.sampled_from(found))
            self.try_to(
                bank.accept,
                lines=each.lines,
                answer=data.draw(st.sampled_from(each.answers)).made_of,
                reasons=each.reasons,
                how_sure=each.how_sure,
            )

    @rule(data=st.data())
    def undo_a_clearing(self, data):
        if clearing := self.pick(data, Clearing.objects.all()):
            self.try_to(bank.undo_clearing, clearing=clearing, on=self.today, reason="not the same")

    @rule()
    def sign_a_month_off(self):
        account = BankAccount.objects.get()
        until = month_end(self.today.replace(day=1) - timedelta(days=1))
        found = reconcile(account, until, as_amount(0))
        stated = found.book_balance - found.deposits_not_credited + found.payments_not_presented
        self.try_to(bank.sign_off_month, bank_account=account, until=until, statement_balance=stated, on=self.today)

    @rule(data=st.data())
    def open_a_month(self, data):
        if signed := self.pick(data, Reconciliation.objects.filter(reopened_on=None)):
            self.try_to(bank.reopen_month, reconciliation=signed, on=self.today, reason="typo")

    def teardown(self):
        try:
            assert [result for result in check_all() if result.faults] == []
        finally:
            transaction.set_rollback(True)
            self.run.__exit__(None, None, None)


@pytest.mark.slow
def test_any_order_of_payments_leaves_books_that_prove_themselves(db):
    run_state_machine_as_test(RandomPayments, settings=by_chance(15, 50))
