"""Random runs of the rooms' verbs in any order: whatever is refused, the books prove themselves."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from clubdesk.bank import services as bank
from clubdesk.courses import services as courses
from clubdesk.courses.models import Place
from clubdesk.desk.services import nightly
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import ContainerReturn, EntryClaim, PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.fees import services as fees
from clubdesk.fees.models import Charge, Lodgement, Method, Receipt, Voucher
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Fund, Party
from clubdesk.ledger.selectors import month_end
from clubdesk.membership import services as membership
from clubdesk.money import as_amount, cash_rounded, in_pieces
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Banking, Gear, Paid, SignOn
from clubdesk.rangeday.selectors import tin
from clubdesk.verbs import shell_user
from tests import factories
from tests.chance import by_chance

pytestmark = pytest.mark.django_db
amounts = st.integers(1, 30000).map(lambda cents: as_amount(cents) / 100)
methods = st.sampled_from(list(Method))


class RandomSeason(RuleBasedStateMachine):
    """Two families, four children, one helper too many; time only goes forward."""

    @initialize()
    def start(self):
        self.run = transaction.atomic()
        self.run.__enter__()
        self.by = shell_user()
        ledger.open_year(first_day=date(2027, 7, 1), by=self.by)
        self.other = type(self.by).objects.get(username="keeper")
        self.today = date(2026, 7, 6)
        self.plan = factories.plan("228.01", shares=[(factories.association(), "71.33")])
        self.scheme = factories.scheme()
        self.cohort = factories.cohort(capacity=1, fee="126.03")
        factories.hire("7.02", "15.04")
        self.event = factories.event(held=self.today)
        homes = [factories.HouseholdFactory() for _ in range(2)]
        self.children = [factories.PersonFactory(household=homes[n % 2]) for n in range(4)]
        self.made = 0

    def try_to(self, verb, **given):
        """Do it, or see it refused with a sentence; nothing in between."""
        try:
            return verb(by=self.by, **given)
        except Refused as refusal:
            assert refusal.sentence
            return None

    def pick(self, data, rows):
        found = list(rows.order_by("pk"))
        return data.draw(st.sampled_from(found)) if found else None

    @rule(days=st.integers(1, 40))
    def time_goes_on(self, days):
        self.today = min(self.today + timedelta(days=days), date(2028, 6, 1))
        nightly(on=self.today, by=self.by)

    @rule(n=st.integers(0, 3), later=st.integers(0, 60))
    def join(self, n, later):
        self.try_to(
            membership.take_out_membership,
            person=self.children[n],
            plan=self.plan,
            starts_on=self.today + timedelta(days=later),
            on=self.today,
        )

    @rule(n=st.integers(0, 3))
    def book(self, n):
        self.try_to(courses.book_place, person=self.children[n], cohort=self.cohort, on=self.today)

    @rule(data=st.data())
    def leave(self, data):
        if place := self.pick(data, Place.objects.all()):
            self.try_to(courses.withdraw_place, place=place, on=self.today, reason="ill")

    @rule(data=st.data())
    def accept(self, data):
        if place := self.pick(data, Place.objects.filter(state="offered")):
            self.try_to(courses.accept_offer, booking=place.booking, on=self.today)

    @rule(n=st.integers(0, 1), amount=amounts, method=methods)
    def pay(self, n, amount, method):
        home = self.children[n].household
        self.try_to(fees.record_receipt, household=home, amount=amount, method=method, on=self.today)

    @rule(data=st.data())
    def cancel_a_receipt(self, data):
        if receipt := self.pick(data, Receipt.objects.all()):
            self.try_to(fees.cancel_receipt, receipt=receipt, on=self.today, reason="typed wrongly")

    @rule(data=st.data(), amount=amounts)
    def credit(self, data, amount):
        if charge := self.pick(data, Charge.objects.all()):
            self.try_to(fees.credit_charge, charge=charge, amount=amount, on=self.today, reason="goodwill")

    @rule(n=st.integers(0, 1), amount=amounts)
    def repay(self, n, amount):
        self.try_to(fees.repay_credit, household=self.children[n].household, amount=amount, on=self.today)

    @rule(data=st.data())
    def voucher(self, data):
        if charge := self.pick(data, Charge.objects.all()):
            self.made += 1
            self.try_to(fees.accept_voucher, scheme=self.scheme, charge=charge, code=f"V{self.made}", on=self.today)

    @rule()
    def lodge(self):
        self.try_to(fees.lodge_vouchers, scheme=self.scheme, on=self.today)

    @rule(data=st.data())
    def department_refuses(self, data):
        if voucher := self.pick(data, Voucher.objects.all()):
            self.try_to(fees.refuse_voucher, voucher=voucher, on=self.today, reason="used elsewhere")

    @rule(data=st.data())
    def department_pays(self, data):
        if lodgement := self.pick(data, Lodgement.objects.all()):
            self.try_to(fees.record_lodgement_paid, lodgement=lodgement, on=self.today)

    @rule(n=st.integers(0, 3), gear=st.sampled_from([Gear.HIRE, Gear.OWN]), paid=st.sampled_from(list(Paid)))
    def sign_on(self, n, gear, paid):
        day, _ = factories.RangeDay.objects.get_or_create(date=self.today, place="River range")
        self.try_to(rangeday.sign_on, range_day=day, person=self.children[n], gear=gear, paid=paid)

    @rule(data=st.data())
    def cancel_a_sign_on(self, data):
        if sign_on := self.pick(data, SignOn.objects.all()):
            self.try_to(rangeday.cancel_sign_on, sign_on=sign_on, on=self.today, reason="wrong child")

    @rule(counted=amounts)
    def close_the_day(self, counted):
        if day := factories.RangeDay.objects.filter(date=self.today).first():
            self.try_to(
                rangeday.close_day,
                range_day=day,
                pieces=in_pieces(cash_rounded(counted)),
                card_slip=tin(day).card + tin(day).card_receipts,
                second_counter=self.other,
                on=self.today,
                reason="counted twice",
            )

    @rule()
    def reopen_the_day(self):
        if day := factories.RangeDay.objects.filter(date=self.today).first():
            self.try_to(rangeday.reopen_day, range_day=day, reason="counted wrongly", on=self.today)

    @rule(ahead=st.booleans())
    def call_the_day_off(self, ahead):
        if day := factories.RangeDay.objects.filter(date=self.today).first():
            later = None
            if ahead:
                later, _ = factories.RangeDay.objects.get_or_create(
                    date=self.today + timedelta(days=7), place="River range"
                )
            self.try_to(rangeday.call_off_day, range_day=day, reason="hail", on=self.today, move_to=later)

    @rule(data=st.data(), gear=st.sampled_from([Gear.HIRE, Gear.OWN]), paid=st.sampled_from(list(Paid)))
    def correct_a_sign_on(self, data, gear, paid):
        if wrong := self.pick(data, SignOn.objects.all()):
            self.try_to(rangeday.correct_sign_on, wrong=wrong, gear=gear, paid=paid, reason="typo", on=self.today)

    @rule(data=st.data())
    def cancel_a_banking(self, data):
        if banking := self.pick(data, Banking.objects.all()):
            self.try_to(rangeday.cancel_banking, banking=banking, reason="wrong sum", on=self.today)

    @rule(amount=amounts)
    def bank_takings(self, amount):
        self.try_to(rangeday.bank_takings, amount=amount, on=self.today)

    @rule(takings=amounts, fee=amounts)
    def settle_cards(self, takings, fee):
        self.try_to(bank.settle_cards, takings=takings, fee=fee, on=self.today)

    @rule(amount=amounts, paid_into=st.sampled_from(list(PaidInto)))
    def cash_in(self, amount, paid_into):
        self.try_to(entryfund.cash_in, containers=100, amount=amount, paid_into=paid_into, on=self.today)

    @rule(n=st.integers(0, 3))
    def claim(self, n):
        self.made += 1
        evidence = Evidence(f"receipt {self.made}".encode(), "application/pdf")
        self.try_to(
            entryfund.record_claim,
            person=self.children[n],
            event=self.event,
            amount=as_amount(60),
            evidence=evidence,
            on=self.today,
        )

    @rule(data=st.data(), approve=st.booleans())
    def decide(self, data, approve):
        if claim := self.pick(data, EntryClaim.objects.all()):
            for person in (self.by, self.other):
                try:
                    if approve:
                        entryfund.approve_claim(claim=claim, by=person, on=self.today)
                    else:
                        entryfund.decline_claim(claim=claim, by=person, on=self.today, reason="no receipt")
                except Refused:
                    continue
                assert person == self.other

    @rule(data=st.data())
    def pay_claim(self, data):
        if claim := self.pick(data, EntryClaim.objects.filter(state="approved")):
            self.try_to(entryfund.pay_claim, claim=claim, on=self.today)

    @rule(data=st.data())
    def ask_about_a_claim(self, data):
        if claim := self.pick(data, EntryClaim.objects.all()):
            self.by, self.other = self.other, self.by
            self.try_to(entryfund.ask_for_more, claim=claim, question="Which class?", on=self.today)
            self.by, self.other = self.other, self.by

    @rule(data=st.data(), shown=st.sampled_from([None, True, False]))
    def answer_about_a_claim(self, data, shown):
        if claim := self.pick(data, EntryClaim.objects.filter(state="asked")):
            self.try_to(entryfund.answer_claim, claim=claim, answer="Compound", entry_shown=shown)

    @rule(data=st.data())
    def cancel_a_container_return(self, data):
        if cashed_in := self.pick(data, ContainerReturn.objects.all()):
            self.try_to(entryfund.cancel_return, container_return=cashed_in, on=self.today, reason="typo")

    @rule(amount=amounts, back=st.booleans())
    def move_between_funds(self, amount, back):
        funds = list(Fund.objects.order_by("pk"))
        from_fund, to_fund = reversed(funds) if back else funds
        self.try_to(
            entryfund.move_between_funds,
            from_fund=from_fund, to_fund=to_fund, amount=amount, minute="May, 3", on=self.today,
        )  # fmt: skip

    @rule(days=st.integers(0, 60))
    def remit(self, days):
        association = Party.objects.get(kind="association")
        through = self.today - timedelta(days=days)
        self.try_to(membership.remit_affiliation, association=association, through=through, on=self.today)

    @precondition(lambda self: self.today.day > 20)
    @rule()
    def lock_last_month(self):
        ended = month_end(self.today.replace(day=1) - timedelta(days=1))
        self.try_to(ledger.lock_month, month_end=ended, reason="a test")

    def teardown(self):
        try:
            assert [result for result in check_all() if result.faults] == []
        finally:
            transaction.set_rollback(True)
            self.run.__exit__(None, None, None)


@pytest.mark.slow
def test_any_order_of_the_rooms_verbs_leaves_books_that_prove_themselves(db):
    run_state_machine_as_test(RandomSeason, settings=by_chance(12, 30))
