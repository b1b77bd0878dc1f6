"""Vouchers taken, claimed, answered and given back, told plainly."""

from datetime import timedelta

from tests.model.givingback import GivingBack
from tests.model.things import GivenBack, No, Tie, Voucher


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

    def take(self, scheme, fee, code, issued=None, school_year=None):
        """A voucher is set against a fee, as far as anything of it is left."""
        day, child = self.today, fee.child
        late = scheme.last_claim and scheme.last_claim.year == day.year and day > scheme.last_claim
        if not scheme.is_for(child, day, school_year) or (scheme.courses_only and fee.sort != "course") or late:
            raise No
        if scheme.valid_days is not None and (issued is None or issued > day or day > scheme.lapses(issued)):
            raise No
        taken = Voucher(
            scheme, child, fee, 0, day, code, scheme.year(day), scheme.window(day), issued, scheme.lapses(issued),
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
        if self.given_back_of(voucher):
            return
        if not (owed := self.owed_back(voucher)):
            raise No
        fee = voucher.fee
        if owed == voucher.amount:
            voucher.stands = "returned"
        else:
            voucher.amount -= owed
        back = GivenBack(voucher, owed, fee, len(self.fees), self.untie(voucher), was_ahead=fee.is_ahead)
        self.backs.append(back)
        self.post(self.today, {"given back": -owed, ("owed", fee.family): owed})
        credited = self.give_back(fee, fee.keep, "given back").credited
        back.credited, back.credits, back.lines = credited, len(fee.credits), self.credit_lines if credited else {}
        if owed > credited:
            self._tell_less(voucher, owed, min(credited, owed))

    def given_back_of(self, voucher):
        return next((each for each in self.backs if each.voucher is voucher and not each.undone), None)

    def pay_back_voucher(self, back):
        if back.undone:
            raise No
        if not back.paid:
            back.paid = True
            self.post(self.today, {"given back": back.amount, "bank": -back.amount})

    def voucher_comes_back(self, back):
        if not back.paid and back.came_back:
            return
        if not back.paid:
            raise No
        back.paid, back.came_back = False, True
        self.post(self.today, {"given back": -back.amount, "bank": back.amount})

    def keeps_after_all(self, back):
        """A department takes its invoice back: the voucher pays as before, where that can still be."""
        if back.undone:
            return
        if back.paid or not self._can_pay_again(back):
            raise No
        voucher, fee, back.undone = back.voucher, back.voucher.fee, True
        self.release(fee, back.amount - back.credited - self.open(fee))
        self.post(self.today, {"given back": back.amount, ("owed", fee.family): -back.amount})
        if back.credited:
            fee.credits.pop()
            lines = {account: -cents for account, cents in back.lines.items()}
            self.post(self.today, {("owed", fee.family): back.credited, **lines})
        if voucher.stands == "returned":
            voucher.stands = "paid"
        else:
            voucher.amount += back.amount
        self.ties += [Tie(receipt, voucher, amount) for receipt, amount in back.freed if not receipt.cancelled]
        self.settle(fee.family)
        self.lay_anew(fee.family)
        if back.amount > back.credited:
            asked = back.amount - back.credited
            self.tell("voucher pays again", fee.family, asked, *self.how_it_stands(fee.family))

    def _can_pay_again(self, back):
        voucher, fee = back.voucher, back.voucher.fee
        if voucher.stands == "returned" and self._has_no_place(voucher):
            return False
        later = [f for f in self.fees[back.fees :] if f.called == fee.called and f.child is voucher.child]
        if any(not each.given_back for each in later):
            return False
        was_other = fee is not back.fee or len(fee.credits) != back.credits
        if back.credited and (was_other or (back.was_ahead and fee.income_on)):
            return False
        if self.creditable(fee) + back.credited < back.amount:
            return False
        return all(amount <= self.payable_of_own(r) for r, amount in back.freed if not r.cancelled)

    def _has_no_place(self, voucher):
        used = [v for v in self.used(voucher.scheme, voucher.child) if v.year == voucher.year]
        if len(used) >= voucher.scheme.per_year:
            return True
        if voucher.window and any(v.window == voucher.window for v in used):
            return True
        return not voucher.scheme.of_child and any(
            v.scheme == voucher.scheme and v.code == voucher.code and v.pays for v in self.vouchers
        )

    def payable_of_own(self, receipt):
        """What of a receipt is neither tied nor was paid back."""
        tied = sum(each.amount for each in self.tied(receipt))
        return receipt.amount - tied - sum(p.amount for p in self.pays if p.receipt is receipt and p.fee is None)
