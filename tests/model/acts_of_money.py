"""What families pay and are paid back, and what the club no longer expects; each act in the book and in the model."""

from datetime import timedelta

from hypothesis import strategies as st

from clubdesk.fees import services as fees
from clubdesk.fees.models import Arrangement, Method, Receipt, Repayment, WriteOff
from tests.model.acting import act
from tests.model.both import BothClubs, money

INTO = {"bank": Method.TRANSFER, "cash box": Method.CASH, "card": Method.CARD}


class ActsOfMoney(BothClubs):
    @act(often=4, cents=st.integers(1, 30_000), whole=st.booleans(), into=st.sampled_from(list(INTO)))
    def a_family_pays(self, data, cents, whole, into):
        family = self.pick(data, self.standing_families())
        amount = max(self.club.balance(family), 1) if whole else cents
        own = self.club.fees_of(family)
        first = [self.pick(data, own)] if own and data.draw(st.booleans()) else []
        self.act(
            lambda: self.club.receive(family, amount, first, into),
            fees.record_receipt, household=self.family(family), amount=money(amount), method=INTO[into],
            charges=[self.fee(each) for each in first], on=self.today,
        )  # fmt: skip

    @act(when=lambda both: both.club.receipts)
    def a_receipt_is_cancelled(self, data):
        if receipt := self.pick(data, self.club.receipts):
            row = self.row(Receipt, self.club.receipts.index(receipt))
            self.act(
                lambda: self.club.cancel_receipt(receipt),
                fees.cancel_receipt, receipt=row, reason="typed wrongly", on=self.today,
            )  # fmt: skip

    @act(often=2, when=lambda both: both.club.receipts)
    def a_receipt_pays_another_fee(self, data):
        receipt = self.pick(data, self.club.receipts)
        own = [fee for fee in self.club.fees if fee.family is receipt.family]
        fee = self.pick(data, own if data.draw(st.integers(0, 3)) else self.club.fees)
        if receipt and fee:
            row = self.row(Receipt, self.club.receipts.index(receipt))
            self.act(
                lambda: self.club.let_it_pay(receipt, fee),
                fees.pay_with, receipt=row, charges=[self.fee(fee)], on=self.today,
            )  # fmt: skip

    @act(
        often=2, when=lambda both: both.club.receipts, cents=st.integers(1, 20_000), whole=st.booleans(),
        has_paid=st.booleans(),
    )  # fmt: skip
    def credit_is_paid_back(self, data, cents, whole, has_paid):
        families = self.standing_families()
        family = self.pick(data, [each for each in families if self.club.credit_of(each)] or families)
        own = [receipt for receipt in self.club.receipts if receipt.family is family]
        amount = max(sum(self.club.payable(each) for each in own), 1) if whole else cents
        self.act(
            lambda: self.club.pay_back(family, amount, has_paid),
            fees.repay_credit, "what the bank has paid already" if has_paid else "",
            household=self.family(family), amount=money(amount), on=self.today, has_paid=has_paid,
        )  # fmt: skip

    @act(cents=st.integers(1, 15_000))
    def a_fee_is_credited(self, data, cents):
        if fee := self.pick(data, self.club.fees):
            self.act(
                lambda: self.club.credit(fee, cents),
                fees.credit_charge, charge=self.fee(fee), amount=money(cents), reason="goodwill", on=self.today,
            )  # fmt: skip

    @act(cents=st.integers(1, 15_000), whole=st.booleans())
    def a_debt_is_written_off(self, data, cents, whole):
        owed = [fee for fee in self.club.fees if self.club.open(fee) and not fee.is_ahead]
        if fee := self.pick(data, owed or self.club.fees):
            amount = max(self.club.open(fee), 1) if whole else cents
            self.act(
                lambda: self.club.write_off(fee, amount),
                fees.write_off, charge=self.fee(fee), amount=money(amount), reason="moved away", on=self.today,
            )  # fmt: skip

    @act(when=lambda both: both.club.offs)
    def a_debt_is_expected_again(self, data):
        if off := self.pick(data, self.club.offs):
            row = self.row(WriteOff, self.club.offs.index(off))
            self.act(
                lambda: self.club.expect_again(off), fees.take_up_again, write_off=row, reason="paid", on=self.today
            )

    @act(count=st.integers(1, 3), days=st.integers(0, 20))
    def a_family_pays_in_parts(self, data, count, days):
        owing = [family for family in self.standing_families() if self.club.balance(family) >= count]
        if family := self.pick(data, owing):
            owed = self.club.balance(family)
            each = [owed // count] * (count - 1)
            parts = [
                (self.today + timedelta(days=days + 15 * n), part) for n, part in enumerate([*each, owed - sum(each)])
            ]
            self.act(
                lambda: self.club.agree(family, parts),
                fees.agree_parts, household=self.family(family), parts=[(day, money(part)) for day, part in parts],
                on=self.today,
            )  # fmt: skip

    @act(when=lambda both: both.club.paid_back)
    def what_was_paid_back_is_returned(self, data):
        if back := self.pick(data, self.club.paid_back):
            row = self.row(Repayment, self.club.paid_back.index(back))
            self.act(
                lambda: self.club.comes_back(back),
                fees.take_repayment_back, repayment=row, reason="account closed", on=self.today,
            )  # fmt: skip

    @act(when=lambda both: both.club.agreed)
    def parts_are_no_longer_agreed(self, data):
        if agreed := self.pick(data, self.club.agreed):
            found = Arrangement.objects.filter(household=self.family(agreed.family)).order_by("pk")
            nth = [each for each in self.club.agreed if each.family is agreed.family].index(agreed)
            self.act(lambda: self.club.end_parts(agreed), fees.end_arrangement, arrangement=found[nth], on=self.today)

    @act(when=lambda both: both.club.taxed_since is None)
    def the_club_registers_for_tax(self):
        self.registers()
