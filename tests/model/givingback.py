"""Fees given back, called off and charged again, with the vouchers that pay them; told plainly."""

from datetime import timedelta

from tests.model.fees import Accounts
from tests.model.things import Back, No, Voucher


class GivingBack(Accounts):
    def giving_back(self, fee, keep):
        """What it comes to where no more than `keep` may stay of a fee."""
        if fee.given_back:
            keep = min(keep, fee.keep)
        asked, taken = self.by_voucher(fee, "asked", "paid"), self.by_voucher(fee, "taken")
        due = fee.full - fee.credited - self.written_off(fee)
        back = max(min(fee.full - fee.credited - keep, due - asked), 0)
        kept = due - back
        by_voucher = min(taken, kept - asked)
        to_credit = max(self.paid(fee) - (kept - asked - by_voucher), 0)
        return Back(due, back, kept, asked, to_credit, by_voucher, taken - by_voucher)

    def give_back(self, fee, keep, why, first=()):
        found = self.giving_back(fee, keep)
        fee.keep = min(keep, fee.keep if fee.given_back else fee.full)
        fee.given_back, fee.given_back_on = True, fee.given_back_on or self.today
        freed = self.let_all_go(fee, why) if found.freed else []
        if found.credited:
            self.credit_lines = self._credit(fee, found.credited, why)
        self.take_again(freed, fee, found.by_voucher)
        self.settle(fee.family, first)
        self.lay_anew(fee.family)
        return found

    def let_all_go(self, fee, why):
        """Each that ends, with what had made way for it."""
        freed = [(v, self.ties_of(v)) for v in self.vouchers if v.fee is fee and v.stands == "taken"]
        for voucher, _ in freed:
            self._let_go(voucher, why)
        return freed

    def _let_go(self, voucher, why):
        voucher.stands, voucher.why = "let go", why
        self.untie(voucher)
        self.post(self.today, {"vouchers": -voucher.amount, ("owed", voucher.fee.family): voucher.amount})

    def take_again(self, freed, fee, amount):
        for old, ties in freed:
            part = min(old.amount, amount)
            if part <= 0:
                return
            if old.lapses is None or self.today <= old.lapses:
                self.tie_again(self.set_against(fee, old, part), ties)
                amount -= part

    def set_against(self, fee, like, amount):
        made_way = self.release(fee, amount - self.open(fee))
        taken = Voucher(
            like.scheme, fee.child, fee, amount, self.today, like.code, like.year, like.window, like.issued,
            like.lapses, like.claim_by,
        )  # fmt: skip
        self.vouchers.append(taken)
        self.tie(taken, made_way)
        self.post(self.today, {"vouchers": amount, ("owed", fee.family): -amount})
        return taken

    def call_off(self, fee, why):
        """All goes back; what a department was asked for waits for the child's next fee and is nobody's income."""
        found = self.give_back(fee, 0, why)
        if not found.asked or fee.waits_for_next:
            return found
        if fee.is_ahead:
            fee.waits_for_next = True
            return found
        self.hand_over(fee, self._holder(fee, fee.family, found.asked))
        return found

    def _holder(self, fee, family, amount):
        """Nothing but a department's money, until the child's next fee."""
        ahead = self.today + timedelta(days=1)
        holder = self.write_fee(family, fee.child, fee.sort, fee.price, amount, ahead)
        holder.given_back = holder.waits_for_next = True
        holder.given_back_on = self.today
        return holder

    def hand_over(self, before, after):
        for voucher in [v for v in self.vouchers if v.fee is before and v.pays]:
            self.tie(voucher, self.release(after, voucher.amount - self.open(after)))
            voucher.fee = after
            if before.family is not after.family:
                voucher.came = True
                self.post(
                    self.today, {("owed", before.family): voucher.amount, ("owed", after.family): -voucher.amount}
                )
        self.give_back(before, 0, "handed over")

    def waiting_for_next(self, family, child):
        return [
            fee for fee in self.fees_of(family) if fee.waits_for_next and fee.child is child and self.by_voucher(fee)
        ]

    def take_along(self, waiting, family):
        """What waits for the next fee of a child of another family waits there; what has come along once stays."""
        along = []
        for fee in waiting:
            standing = [v for v in self.vouchers if v.fee is fee and v.pays]
            if not any(v.came for v in standing):
                self.hand_over(fee, self._holder(fee, family, self.by_voucher(fee)))
                along += standing
        return along

    def tell_along(self, vouchers, before, now):
        for voucher in vouchers:
            self.tell("voucher goes along", before, voucher.amount, *self.how_it_stands(before))
            self.tell("voucher comes along", now, voucher.amount, *self.how_it_stands(now))

    def pays_next(self, family, child):
        """What waits for a course's fee of the child: of a scheme that pays a fee but once, the first."""
        found, once = [], set()
        for fee in self.waiting_for_next(family, child):
            alone = {v.scheme for v in self.vouchers if v.fee is fee and v.pays and v.scheme.one_a_fee}
            if fee.sort == "course" and not alone & once:
                once |= alone
                found.append(fee)
        return found

    def charge_next(self, family, child, price, starts):
        carried = self.pays_next(family, child)
        full = max(price, sum(self.by_voucher(fee) for fee in carried))
        fee = self.charge(family, child, "course", price, full, starts)
        for each in carried:
            self.hand_over(each, fee)
        return fee

    def charge_instead(self, fee, family, child, starts):
        """Somebody else, or another family, is charged in its place."""
        if any(v.fee is fee and v.pays for v in self.vouchers):
            raise No
        less = fee.full - self.creditable(fee)
        new = self.charge_next(family, child, fee.price, starts)
        if off := min(less, self.creditable(new)):
            self.credit(new, off, "as before")
        self.give_back(fee, 0, "instead", first=[new] if family is fee.family else ())
        return new

    def charge_again(self, fee, starts):
        """A fee that is income already waits once more for a later start."""
        if self.by_voucher(fee, "asked", "paid"):
            raise No
        freed, left = self.let_all_go(fee, "again"), self.creditable(fee)
        fee.given_back, fee.keep, fee.given_back_on = True, 0, self.today
        if left:
            self._credit(fee, left, "again")
        new = self.write_fee(fee.family, fee.child, fee.sort, fee.price, fee.full, starts)
        if left < new.full:
            self._credit(new, new.full - left, "as before")
        self.take_again(freed, new, left)
        self.settle(fee.family, [new])
        return new
