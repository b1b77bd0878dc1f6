"""What families owe and what pays it, told plainly: every posting by day, in whole cents."""

from collections import Counter
from datetime import timedelta

from tests.model.things import Fee, No, PaidBack, Parts, Pays, Receipt, Tie, WrittenOff

PAY_WITHIN = 14
"""Days to pay what a letter asks for, where nothing else says so."""


def split(left, shares):
    """What the associations get while so much of a fee stands: all, until the club's own part is used up."""
    passed_on = sum(shares.values())
    if left >= passed_on:
        return dict(shares)
    found, rest = {}, left
    for name, share in shares.items():
        found[name] = min((share * left * 2 + passed_on) // (passed_on * 2), rest)
        rest -= found[name]
    return found


def eleventh(cents):
    """The GST in a price."""
    return (2 * cents + 11) // 22


class Accounts:
    """Fees, what pays them, and every posting by day."""

    def __init__(self, day):
        self.today = day
        self.families, self.children = [], []
        self.fees, self.receipts, self.pays, self.vouchers = [], [], [], []
        self.offs, self.agreed, self.claims, self.ties, self.paid_back, self.backs = [], [], [], [], [], []
        self.postings, self.letters, self.taxed_since, self.posted = Counter(), [], None, Counter()

    def post(self, day, lines):
        assert sum(lines.values()) == 0, lines
        for account, cents in lines.items():
            self.postings[day, account] += cents
            if account[0] == "owed":
                self.posted[account[1]] += bool(cents)

    def tell(self, word, family, *says, to=None):
        """A letter to a family, with the amounts, days and turns that it says."""
        self.letters.append((word, family, family.mail if to is None else to, says))

    def asks(self, amount):
        """What of a letter asks for money."""
        return (amount, self.today + timedelta(days=PAY_WITHIN)) if amount > 0 else ()

    def how_it_stands(self, family):
        """What of a letter says how an account stands, and what is asked for."""
        balance, agreed = self.balance(family), self.standing_parts(family)
        left = self.parts_left(agreed) if agreed else []
        if balance <= 0:
            return (-balance,) if balance else ()
        if left and left[0][0] >= self.today:
            return (balance, left[0][1], left[0][0], balance)
        return (balance, *self.asks(balance))

    # What stands

    def by_voucher(self, fee, *states):
        return sum(v.amount for v in self.vouchers if v.fee is fee and (v.stands in states if states else v.pays))

    def written_off(self, fee):
        return sum(off.amount for off in self.offs if off.fee is fee and not off.undone)

    def paid(self, fee):
        return sum(each.amount for each in self.pays if each.fee is fee)

    def creditable(self, fee):
        return fee.full - fee.credited - self.by_voucher(fee) - self.written_off(fee)

    def open(self, fee):
        return self.creditable(fee) - self.paid(fee)

    def unused(self, receipt):
        return 0 if receipt.cancelled else receipt.amount - sum(p.amount for p in self.pays if p.receipt is receipt)

    def credit_of(self, family):
        return sum(self.unused(each) for each in self.receipts if each.family is family)

    def repaid(self, family):
        return sum(each.amount for each in self.paid_back if each.family is family and not each.returned)

    def tied(self, receipt):
        return [each for each in self.ties if each.receipt is receipt and not each.freed]

    def unused_tie(self, tie):
        return tie.amount - sum(p.amount for p in self.pays if p.tie is tie)

    def payable(self, receipt):
        """What of what is unused may be paid back as money."""
        own = receipt.amount - sum(each.amount for each in self.tied(receipt))
        for each in self.pays:
            if each.receipt is receipt and (each.tie is None or each.tie.freed):
                own -= each.amount
        return max(min(self.unused(receipt), own), 0)

    def balance(self, family):
        owed = sum(f.full - f.credited - self.by_voucher(f) - self.written_off(f) for f in self.fees_of(family))
        received = sum(each.amount for each in self.receipts if each.family is family and not each.cancelled)
        return owed - received + self.repaid(family)

    def fees_of(self, family):
        return [fee for fee in self.fees if fee.family is family]

    # Charging, crediting, becoming income

    def tax_in(self, fee, left):
        """What of so much of a fee is tax: nothing of what associations get."""
        return eleventh(left - sum(split(left, fee.shares).values())) if fee.tax else 0

    def _earned(self, fee, left, sign):
        """Lines for what is left of a fee, as it waits or as income."""
        shares, tax = split(left, fee.shares), self.tax_in(fee, left)
        if fee.is_ahead:
            return Counter({"ahead": -(left - tax) * sign, "tax": -tax * sign})
        lines = Counter({f"income {fee.sort}": -(left - tax - sum(shares.values())) * sign, "tax": -tax * sign})
        for name, share in shares.items():
            lines[name] -= share * sign
        return lines

    def write_fee(self, family, child, sort, price, full, starts, shares=()):
        fee = Fee(family, child, sort, price, full, self.today, max(starts, self.today), dict(shares))
        if self.taxed_since:
            fee.tax = eleventh(full - sum(fee.shares.values()))
        self.fees.append(fee)
        self.post(self.today, {("owed", family): full, **self._earned(fee, full, 1)})
        return fee

    def charge(self, family, child, sort, price, full, starts, shares=()):
        fee = self.write_fee(family, child, sort, price, full, starts, shares)
        self.settle(family)
        return fee

    def _credit(self, fee, amount, why):
        if not 0 < amount <= self.creditable(fee):
            raise No
        self.release(fee, amount - self.open(fee))
        left = fee.full - fee.credited
        lines = self._earned(fee, left, -1)
        for account, cents in self._earned(fee, left - amount, 1).items():
            lines[account] += cents
        fee.credits.append((amount, why))
        self.post(self.today, {("owed", fee.family): -amount, **lines})
        return lines

    def credit(self, fee, amount, why="goodwill"):
        self._credit(fee, amount, why)
        self.settle(fee.family)
        self.lay_anew(fee.family)

    def earn_what_started(self):
        for fee in self.fees:
            if fee.is_ahead and fee.starts <= self.today and not fee.waits_for_next and fee.full > fee.credited:
                left = fee.full - fee.credited
                lines = self._earned(fee, left, -1)
                fee.income_on = fee.starts
                for account, cents in self._earned(fee, left, 1).items():
                    lines[account] += cents
                self.post(fee.starts, lines)

    # Which receipt pays what

    def settle(self, family, first=()):
        """What is unused pays the fees that are asked for first, then what was paid back too much, then the oldest."""
        owing = [fee for fee in self.fees_of(family) if self.open(fee) > 0]
        owing.sort(key=lambda fee: (fee.charged, self.fees.index(fee)))
        receipts = sorted((r for r in self.receipts if r.family is family), key=lambda r: (r.day, r.number))
        for fee in [each for each in owing if any(each is one for one in first)]:
            self._pay(fee, receipts)
        for back in [each for each in self.paid_back if each.family is family]:
            for receipt in receipts:
                self._pay_of(back, receipt, self.beyond(back))
        for fee in owing:
            self._pay(fee, receipts)

    def _pay(self, fee, receipts):
        for receipt in receipts:
            if part := min(self.open(fee), self.unused(receipt)):
                self._use(receipt, fee, part)

    def _pay_of(self, back, receipt, amount):
        if part := min(amount, self.payable(receipt)):
            self.pays.append(Pays(receipt, None, part, None, back))
        return part

    def beyond(self, back):
        """What of a payment to a family no receipt of it covers."""
        return 0 if back.returned else back.amount - sum(p.amount for p in self.pays if p.repaid is back)

    def _use(self, receipt, fee, amount):
        """What of a receipt is never given back as money goes first."""
        for tie in self.tied(receipt):
            if part := min(self.unused_tie(tie), amount):
                self.pays.append(Pays(receipt, fee, part, tie))
                amount -= part
        if amount:
            self.pays.append(Pays(receipt, fee, amount))

    def _free(self, pays, amount):
        self.pays.remove(pays)
        if amount < pays.amount:
            self.pays.append(Pays(pays.receipt, pays.fee, pays.amount - amount, pays.tie))

    def release(self, fee, amount):
        """So much of what receipts pay of a fee makes way, the latest first."""
        made_way = []
        for each in reversed([p for p in self.pays if p.fee is fee]):
            if amount <= 0:
                break
            freed = min(each.amount, amount)
            self._free(each, freed)
            made_way.append((each, freed))
            amount -= freed
        return made_way

    def tie(self, voucher, made_way):
        """What made way for the voucher is never given back as money, where its scheme forbids that."""
        for pays, amount in made_way if voucher.scheme.tied else ():
            if pays.tie is None or pays.tie.freed:
                self._tie(voucher, pays.receipt, amount)

    def _tie(self, voucher, receipt, amount):
        """Never more than the voucher pays."""
        amount = min(amount, voucher.amount - sum(each.amount for each in self.ties_of(voucher)))
        if amount > 0:
            self.ties.append(Tie(receipt, voucher, amount))
            return self.ties[-1]
        return None

    def ties_of(self, voucher):
        return [each for each in self.ties if each.voucher is voucher and not each.freed]

    def tie_again(self, voucher, before):
        """A voucher that pays less, or another fee, keeps what made way for it before."""
        for each in before:
            if after := self._tie(voucher, each.receipt, each.amount):
                self._hand_on(each, after)

    def _hand_on(self, before, after):
        left = after.amount
        for pays in [p for p in self.pays if p.tie is before]:
            if pays.amount <= left:
                left -= pays.amount
                pays.tie = after

    def untie(self, voucher):
        """No more stays tied than the voucher pays, the latest free first; what of which receipts is free."""
        standing = self.ties_of(voucher)
        beyond, freed = sum(each.amount for each in standing) - (voucher.amount if voucher.pays else 0), []
        for each in reversed(standing):
            if beyond <= 0:
                break
            each.freed = True
            freed.append((each.receipt, min(each.amount, beyond)))
            if each.amount > beyond:
                smaller = Tie(each.receipt, voucher, each.amount - beyond)
                self.ties.append(smaller)
                self._hand_on(each, smaller)
            beyond -= each.amount
        return freed

    def receive(self, family, amount, first=(), into="bank"):
        """In cash what is handed over is the nearest five cents, and nothing is no payment."""
        came = {into: amount}
        if into == "cash box":
            handed = (2 * amount + 5) // 10 * 5
            came = {into: handed, "rounding": amount - handed}
        if amount <= 0 or not came[into]:
            raise No
        self.receipts.append(Receipt(family, amount, len(self.receipts) + 1, self.today, came))
        self.post(self.today, {**came, ("owed", family): -amount})
        self.settle(family, first)

    def cancel_receipt(self, receipt):
        if receipt.cancelled:
            return
        own = [p for p in self.pays if p.receipt is receipt]
        if any(p.fee is None for p in own):
            raise No
        self.pays = [p for p in self.pays if p.receipt is not receipt]
        receipt.cancelled = True
        gone = {where: -cents for where, cents in receipt.came.items()}
        self.post(self.today, {**gone, ("owed", receipt.family): receipt.amount})
        self.settle(receipt.family)

    def let_it_pay(self, receipt, fee):
        """A receipt pays this fee first, then the oldest; what paid the fee before pays something else."""
        if receipt.cancelled or fee.family is not receipt.family:
            raise No
        self.pays = [p for p in self.pays if p.receipt is not receipt or p.fee is None]
        wanted = self.unused(receipt)
        missing = wanted - self.open(fee)
        for each in reversed([p for p in self.pays if p.fee is fee]):
            if missing <= 0:
                break
            freed = min(each.amount, missing)
            self._free(each, freed)
            missing -= freed
        if part := min(wanted, self.open(fee)):
            self._use(receipt, fee, part)
        self.settle(receipt.family)

    def pay_back(self, family, amount, has_paid=False):
        """Where the bank `has_paid` already, whatever it paid is owed again as far as there is no credit for it."""
        own = [r for r in self.receipts if r.family is family]
        if has_paid:
            self._free_for(family, amount)
            cancelled = sum(each.amount for each in own if each.cancelled)
            beyond = sum(self.beyond(each) for each in self.paid_back if each.family is family)
            most = self.credit_of(family) + max(cancelled - beyond, 0)
        else:
            most = sum(self.payable(each) for each in own)
        if not 0 < amount <= most:
            raise No
        self.post(self.today, {"bank": -amount, ("owed", family): amount})
        back = PaidBack(family, amount)
        self.paid_back.append(back)
        for receipt in sorted(own, key=lambda r: (r.day, r.number), reverse=True):
            amount -= self._pay_of(back, receipt, amount)

    def _free_for(self, family, amount):
        """The latest fees go unpaid again, until the family has so much credit."""
        missing = amount - self.credit_of(family)
        for fee in [each for each in reversed(self.fees) if each.family is family and self.paid(each)]:
            if missing <= 0:
                return
            part = min(self.paid(fee), missing)
            self.release(fee, part)
            missing -= part

    def comes_back(self, back):
        """The bank returns what was paid back."""
        if back.returned:
            return
        back.returned = True
        self.post(self.today, {"bank": back.amount, ("owed", back.family): -back.amount})
        self.pays = [p for p in self.pays if p.repaid is not back]
        self.settle(back.family)
        self.lay_anew(back.family)

    # Debts written off

    def write_off(self, fee, amount):
        if not 0 < amount <= self.open(fee) or fee.is_ahead:
            raise No
        tax, left = 0, fee.full - fee.credited
        if fee.tax:
            supplied = left - sum(split(left, fee.shares).values())
            tax = (2 * amount * supplied + 11 * left) // (22 * left)
        self.offs.append(WrittenOff(fee, amount, tax))
        self.post(self.today, {"lost": amount - tax, "tax": tax, ("owed", fee.family): -amount})
        self.lay_anew(fee.family)

    def expect_again(self, off):
        if off.undone:
            return
        off.undone = True
        self.post(self.today, {"lost": off.tax - off.amount, "tax": -off.tax, ("owed", off.fee.family): off.amount})
        if off.fee.given_back:
            self.give_back(off.fee, off.fee.keep, "expected again")
        self.settle(off.fee.family)

    # Paid in parts

    def standing_parts(self, family):
        return next((each for each in self.agreed if each.family is family and not each.ended), None)

    def parts_left(self, agreed):
        own = [r for r in self.receipts if r.family is agreed.family and not r.cancelled and r.number > agreed.since]
        paid, left = sum(r.amount for r in own), []
        for day, amount in agreed.parts:
            met = min(amount, paid)
            paid -= met
            if met < amount:
                left.append((day, amount - met))
        return left

    def agree(self, family, parts):
        days = [day for day, _ in parts]
        if self.balance(family) <= 0 or sum(amount for _, amount in parts) != self.balance(family):
            raise No
        if min(days) < self.today or len(set(days)) < len(days) or min(amount for _, amount in parts) <= 0:
            raise No
        if standing := self.standing_parts(family):
            standing.ended = True
        self.agreed.append(Parts(family, self.today, sorted(parts), len(self.receipts)))

    def end_parts(self, agreed):
        agreed.ended = True

    def lay_anew(self, family):
        """No more stands in parts than is owed: what is too much comes off the last."""
        if not (standing := self.standing_parts(family)):
            return
        left, owed = self.parts_left(standing), max(self.balance(family), 0)
        if sum(amount for _, amount in left) <= owed:
            return
        standing.ended, laid = True, []
        for day, amount in left:
            amount = min(amount, owed)
            owed -= amount
            if amount:
                laid.append((day, amount))
        if laid:
            self.agreed.append(Parts(family, standing.agreed, laid, len(self.receipts)))

    def is_paid_in_parts(self, fee):
        """Whether the family pays the fee in parts that it agreed to since, and is not behind."""
        agreed = self.standing_parts(fee.family)
        if not agreed or agreed.agreed < fee.charged:
            return False
        left = self.parts_left(agreed)
        return bool(left) and left[0][0] >= self.today
