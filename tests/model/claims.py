"""Vouchers taken, claimed, answered and given back, told plainly."""

from datetime import timedelta

from tests.model.givingback import GivingBack
from tests.model.things import No, Voucher


class Claims(GivingBack):
    """What a child's voucher pays, and what becomes of it at the department."""

    def used(self, scheme, child):
        return [v for v in self.vouchers if v.scheme == scheme and v.child is child and v.pays]

    def _is_used_up(self, like, child, fee):
        used = [v for v in self.used(like.scheme, child) if v.year == like.year]
        if len(used) >= like.scheme.per_year or (like.window and any(v.window == like.window for v in used)):
            return True
        if not like.scheme.of_child and any(v.code == like.code and v.pays for v in self.vouchers):
            return True
        return like.scheme.one_a_fee and any(v.fee is fee and v.scheme == like.scheme and v.pays for v in self.vouchers)

    def take(self, scheme, fee, code, issued=None):
        """A voucher is set against a fee, as far as anything of it is left."""
        day, child = self.today, fee.child
        late = scheme.last_claim and scheme.last_claim.year == day.year and day > scheme.last_claim
        if not scheme.is_for(child, day) or (scheme.courses_only and fee.sort != "course") or late:
            raise No
        if scheme.valid_days is not None and (issued is None or issued > day or day > scheme.lapses(issued)):
            raise No
        taken = Voucher(
            scheme, child, fee, 0, day, code, day.year, scheme.window(day), issued, scheme.lapses(issued),
            scheme.claim_by(day, issued),
        )  # fmt: skip
        if self._is_used_up(taken, child, fee):
            raise No
        if scheme.of_child and any(v.code == code and v.child is not child for v in self.vouchers):
            raise No
        amount = min(scheme.worth, self.open(fee) if scheme.only_open else self.creditable(fee))
        if amount <= 0:
            raise No
        self.set_against(fee, taken, amount)
        self.settle(fee.family)
        self.lay_anew(fee.family)

    def let_go(self, voucher):
        """The club does not claim a voucher that it has taken."""
        if voucher.stands == "let go":
            return
        if voucher.stands != "taken":
            raise No
        self._let_go(voucher, "wrong fee")
        self.settle(voucher.fee.family)

    def claim(self, scheme):
        waits = [v for v in self.vouchers if v.scheme == scheme and v.stands == "taken"]
        in_time = [v for v in waits if v.claim_by is None or v.claim_by >= self.today]
        if not in_time:
            raise No
        self.claims.append("open")
        for voucher in in_time:
            voucher.stands, voucher.claim = "asked", len(self.claims) - 1

    def not_sent(self, voucher):
        """One voucher was not sent with its claim."""
        if voucher.stands == "taken":
            return
        if voucher.stands != "asked":
            raise No
        together = [v for v in self.vouchers if v.claim == voucher.claim]
        if any(v.stands != "asked" for v in together):
            raise No
        voucher.stands, voucher.claim = "taken", None

    def refuse(self, voucher):
        if voucher.stands == "refused":
            return
        if voucher.stands not in ("taken", "asked"):
            raise No
        voucher.stands = "refused"
        self.untie(voucher)
        self.post(self.today, {"vouchers": -voucher.amount, ("owed", voucher.fee.family): voucher.amount})
        self._owed_again(voucher, voucher.amount)

    def _owed_again(self, voucher, amount, *says):
        credited = 0
        if voucher.fee.given_back:
            credited = self.give_back(voucher.fee, voucher.fee.keep, "refused").credited
        self.settle(voucher.fee.family)
        self._tell_less(voucher, amount, min(credited, amount), *says)

    def _tell_less(self, voucher, amount, credited, *says):
        """A voucher pays so much less: what of that was credited, what the family's credit pays, and what is to pay."""
        to_pay = min(self.open(voucher.fee), amount - credited)
        by_credit = amount - credited - to_pay
        parts = [part for part in (credited, by_credit) if part > 0]
        self.tell("voucher pays less", voucher.fee.family, *says, amount, *parts, *self.asks(to_pay))

    def answer(self, number, paid, refused):
        """The department's answer: what it paid of which voucher, and which it refused."""
        if self.claims[number] == "paid":
            return
        asked = [v for v in self.vouchers if v.claim == number and v.stands == "asked"]
        if not paid and not refused:
            raise No
        if any(voucher in refused or not 0 < amount <= voucher.amount for voucher, amount in paid.items()):
            raise No
        for voucher in [v for v in self.vouchers if v in refused and v in asked]:
            self.refuse(voucher)
        settled = [v for v in asked if v in paid]
        if not settled:
            return
        if set(asked) - set(settled) - set(refused):
            self.claims.append("open")
            number = len(self.claims) - 1
            for voucher in settled:
                voucher.claim = number
        for voucher in settled:
            voucher.stands, voucher.short = "paid", voucher.amount - paid[voucher]
            voucher.amount = paid[voucher]
            if voucher.short:
                self.untie(voucher)
                self.post(self.today, {"vouchers": -voucher.short, ("owed", voucher.fee.family): voucher.short})
                self._owed_again(voucher, voucher.short, voucher.amount, voucher.short)
        self.claims[number] = "paid"
        total = sum(v.amount for v in settled)
        self.post(self.today, {"bank": total, "vouchers": -total})

    def all_paid(self, number):
        if self.claims[number] == "paid":
            return
        self.answer(number, {v: v.amount for v in self.vouchers if v.claim == number and v.stands == "asked"}, [])

    # What the department gets back

    def owed_back(self, voucher):
        fee, scheme = voucher.fee, voucher.scheme
        if voucher.stands != "paid" or not fee.given_back or scheme.owes_back == "nothing":
            return 0
        if scheme.owes_back_days is not None and fee.given_back_on > fee.starts + timedelta(scheme.owes_back_days):
            return 0
        if scheme.owes_back == "whole":
            return voucher.amount
        return max(min(voucher.amount, fee.full - fee.credited - self.written_off(fee) - fee.keep), 0)

    def owe_back(self, voucher):
        """What the club may not keep of a paid voucher whose child has left."""
        if voucher.owed_back:
            return
        if not (owed := self.owed_back(voucher)):
            raise No
        voucher.owed_back = owed
        if owed == voucher.amount:
            voucher.stands = "returned"
        else:
            voucher.amount -= owed
        self.untie(voucher)
        self.post(self.today, {"given back": -owed, ("owed", voucher.fee.family): owed})
        credited = self.give_back(voucher.fee, voucher.fee.keep, "given back").credited
        if owed > credited:
            self._tell_less(voucher, owed, credited)

    def pay_back_voucher(self, voucher):
        if not voucher.paid_back:
            voucher.paid_back = True
            self.post(self.today, {"given back": voucher.owed_back, "bank": -voucher.owed_back})

    def voucher_comes_back(self, voucher):
        if not voucher.paid_back and voucher.came_back:
            return
        if not voucher.paid_back:
            raise No
        voucher.paid_back, voucher.came_back = False, True
        self.post(self.today, {"given back": -voucher.owed_back, "bank": voucher.owed_back})
