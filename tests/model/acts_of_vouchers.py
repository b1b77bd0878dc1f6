"""What becomes of vouchers at the club and at the departments; each act in the book and in the model."""

from datetime import timedelta

from hypothesis import strategies as st

from clubdesk.bank import services as bank
from clubdesk.fees import services as fees
from clubdesk.fees.models import GiveBack, Lodgement, Voucher
from tests.model.acting import act
from tests.model.both import BothClubs, money
from tests.model.schemes import SCHEMES


class ActsOfVouchers(BothClubs):
    @act(often=5, scheme=st.sampled_from(SCHEMES), age=st.integers(0, 45), year=st.integers(0, 9))
    def a_voucher_is_taken(self, data, scheme, age, year):
        fees_left = [each for each in self.club.fees if self.club.creditable(each)]
        if fee := self.pick(data, fees_left if data.draw(st.integers(0, 3)) else self.club.fees):
            self.codes += 1
            code = f"N{self.club.children.index(fee.child)}" if scheme.of_child else f"C{self.codes}"
            issued = self.today - timedelta(days=age) if scheme.valid_days else None
            said = year if scheme.school and data.draw(st.booleans()) else None
            self.act(
                lambda: self.club.take(scheme, fee, code, issued, said),
                fees.accept_voucher, scheme=self.schemes[scheme], charge=self.fee(fee), code=code, issued_on=issued,
                on=self.today, school_year=said,
            )  # fmt: skip

    def a_voucher(self, data):
        voucher = self.pick(data, self.club.vouchers)
        return voucher, voucher and self.row(Voucher, self.club.vouchers.index(voucher))

    @act(when=lambda both: both.vouchers("taken"))
    def a_voucher_is_not_claimed(self, data):
        voucher, row = self.a_voucher(data)
        if voucher:
            self.act(
                lambda: self.club.let_go(voucher), fees.release_voucher, voucher=row, reason="wrong", on=self.today
            )

    @act(often=2, when=lambda both: both.vouchers("taken"))
    def vouchers_are_claimed(self, data):
        scheme = self.pick(data, self.vouchers("taken")).scheme
        row = self.schemes[scheme]
        self.act(lambda: self.club.claim(scheme), fees.lodge_vouchers, scheme=row, on=self.today)

    @act(when=lambda both: both.vouchers("asked"))
    def one_was_not_sent(self, data):
        voucher, row = self.a_voucher(data)
        if voucher:
            self.act(lambda: self.club.not_sent(voucher), fees.unlodge_voucher, voucher=row)

    @act(when=lambda both: both.vouchers("asked"))
    def a_department_refuses(self, data):
        voucher, row = self.a_voucher(data)
        if voucher:
            self.act(lambda: self.club.refuse(voucher), fees.refuse_voucher, voucher=row, reason="moved", on=self.today)

    @act(often=3, when=lambda both: both.vouchers("asked"), less=st.integers(0, 4_000))
    def a_department_answers(self, data, less):
        """Of each voucher: paid, paid short, refused, or no answer."""
        open_claims = [number for number, stands in enumerate(self.club.claims) if stands == "open"]
        number = self.pick(data, open_claims)
        if number is None:
            return
        asked = [v for v in self.club.vouchers if v.claim == number and v.stands == "asked"]
        answers = {v: data.draw(st.sampled_from(["paid", "short", "refused", "none"])) for v in asked}
        paid = {v: v.amount - (less if how == "short" else 0) for v, how in answers.items() if how in ("paid", "short")}
        refused = [v for v, how in answers.items() if how == "refused"]
        pks = {v: self.row(Voucher, self.club.vouchers.index(v)).pk for v in asked}
        self.act(
            lambda: self.club.answer(number, paid, refused),
            fees.answer_lodgement, lodgement=self.row(Lodgement, number),
            paid={pks[v]: money(amount) for v, amount in paid.items()}, refused={pks[v]: "moved" for v in refused},
            on=self.today,
        )  # fmt: skip

    @act(when=lambda both: both.vouchers("asked"))
    def a_department_pays_all(self, data):
        number = self.pick(data, range(len(self.club.claims)))
        if number is not None and any(v.claim == number and v.stands in ("asked", "paid") for v in self.club.vouchers):
            row = self.row(Lodgement, number)
            self.act(lambda: self.club.all_paid(number), fees.record_lodgement_paid, lodgement=row, on=self.today)

    @act(often=3, when=lambda both: both.vouchers("paid"))
    def a_voucher_is_given_back(self, data):
        owed = [each for each in self.club.vouchers if self.club.owed_back(each) or self.club.given_back_of(each)]
        if voucher := self.pick(data, owed if data.draw(st.integers(0, 3)) else self.vouchers("paid")):
            row = self.row(Voucher, self.club.vouchers.index(voucher))
            self.act(
                lambda: self.club.owe_back(voucher),
                fees.give_back, voucher=row, invoice="17", pay_to="082-902 123456", reason="left", on=self.today,
            )  # fmt: skip

    @act(often=2, when=lambda both: both.club.backs, returned=st.booleans())
    def what_is_owed_to_a_department_is_paid(self, data, returned):
        back = self.pick(data, self.club.backs)
        do, verb = (
            (self.club.voucher_comes_back, fees.take_give_back_back) if returned
            else (self.club.pay_back_voucher, fees.pay_give_back)
        )  # fmt: skip
        self.act(lambda: do(back), verb, back=self.row(GiveBack, self.club.backs.index(back)), on=self.today)

    @act(often=2, when=lambda both: both.club.backs)
    def a_voucher_is_not_given_back(self, data):
        back = self.pick(data, self.club.backs)
        row = self.row(GiveBack, self.club.backs.index(back))
        self.act(
            lambda: self.club.keeps_after_all(back),
            bank.undo_give_back,
            back=row,
            reason="their mistake",
            on=self.today,
        )
