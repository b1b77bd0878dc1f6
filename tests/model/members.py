"""Memberships by their plans, what they cost, how they change and end; told plainly."""

from dataclasses import dataclass
from datetime import date, timedelta

from tests.model.changes import Changes
from tests.model.course import half_up
from tests.model.fees import split
from tests.model.plans import CAP, PLANS, Plan, months_on, part_of, whole_months
from tests.model.things import Back, Child, Family, Fee, No


@dataclass(eq=False, repr=False)
class Member:
    child: Child
    plan: Plan
    payer: Family | None
    first: date
    last: date
    months: int
    fee: int
    passed_on: int
    charge: Fee | None
    sibling: bool
    changed_from: "Member | None" = None
    cost: "Cost | None" = None
    cancelled: bool = False
    ended: bool = False

    def covers(self, day):
        return not self.cancelled and self.first <= day <= self.last


@dataclass(frozen=True)
class Cost:
    """What a membership costs: by months, less what comes off, and what of it each association gets."""

    child: Child
    plan: Plan
    first: date
    last: date
    months: int
    full: int
    by_months: int
    off: int
    capped: int
    shares: dict

    @property
    def fee(self):
        return self.by_months - self.off - self.capped

    def says(self, by_voucher=0):
        """How a letter tells the cost: the whole, what of it by months, what comes off, and what is left."""
        start = (self.full,) if self.months == self.plan.months else (self.full, self.by_months)
        less = tuple(cents for cents in (self.off, self.capped, by_voucher) if cents)
        return (*start, *less, self.fee - by_voucher) if less else start


class Members(Changes):
    def __init__(self, day, prices):
        super().__init__(day, prices)
        self.members, self.told, self.passed_on = [], set(), {}

    def of_child(self, child):
        return [m for m in self.members if m.child is child and not m.cancelled]

    def payer(self, member):
        charge = member.charge or (member.changed_from.charge if member.changed_from else None)
        return charge.family if charge else self.paying(member)

    def paying(self, member):
        """Who pays for what comes of it: the family that does for a child of two homes, or the child's own."""
        return member.payer or member.child.family

    def cost(self, child, plan, family, first, ahead=(), term=None, leaving=None, refunded=0):
        """What a membership costs the family, after those that are taken out `ahead` of it.

        A change of plan has the `term` of the one that the child is `leaving`, of which so much is `refunded`.
        """
        last, months = term or (months_on(first, plan.months) - timedelta(days=1), plan.months)
        full, shares = plan.price(first), plan.shares_of(months)
        passed_on = sum(shares.values())
        if plan.whole_shares:
            own = part_of(full - sum(plan.shares.values()), months, plan.months)
        else:
            own = max(part_of(full, months, plan.months) - passed_on, 0)
        theirs = [m for m in self.members if not m.cancelled and self.payer(m) is family]
        others = [m for m in theirs if m is not leaving and m.plan is plan and m.child is not child and not m.sibling]
        comes_after = any(m.covers(first) for m in others) or any(
            each.plan is plan and each.child is not child and not each.off for each in ahead
        )
        off = half_up(own, plan.sibling_percent) if comes_after else 0
        before = self._paid_around(first, theirs, ahead) - (refunded if leaving in theirs else 0)
        room = min(own - off, max(CAP - before - passed_on, 0))
        return Cost(child, plan, first, last, months, full, passed_on + own, off, own - off - room, shares)

    def _paid_around(self, first, theirs, ahead):
        """What the family's others come to in those twelve months around the day that hold most."""
        began = [(m.first, m.charge.full - m.charge.credited if m.charge else 0) for m in theirs]
        began += [(each.first, each.fee) for each in ahead]
        starts = {day for day, _ in began if months_on(first, -12) < day <= first} | {first}
        return max(sum(fee for day, fee in began if s <= day < months_on(s, 12)) for s in starts)

    # Joining and renewing

    def join(self, child, plan, first, payer=None, voucher=None):
        """With a voucher, where one is given as scheme and code."""
        family = payer or child.family
        member = self._join(self.cost(child, plan, family, first), family)
        if voucher:
            if not member.charge:
                raise No
            self.take(voucher[0], member.charge, voucher[1])
        self._tell_joined("joined", [member], family)

    def _join(self, cost, family):
        child = cost.child
        if not cost.plan.is_for(child, cost.first):
            raise No
        if any(m.first <= cost.last and m.last >= cost.first for m in self.of_child(child)):
            raise No
        return self._write(cost, family, self._charge(cost, family, cost.fee, cost.shares))

    def _charge(self, cost, family, fee, shares):
        shares = {name: cents for name, cents in shares.items() if cents}
        if not fee:
            return None
        charge = self.charge(family, cost.child, "members", fee, fee, cost.first, shares)
        charge.called = ("joins", cost.plan.name, cost.child.name)
        return charge

    def _write(self, cost, family, charge, changed_from=None):
        payer = None if family is cost.child.family else family
        fee, passed_on, off = cost.fee, sum(cost.shares.values()), bool(cost.off)
        member = Member(
            cost.child, cost.plan, payer, cost.first, cost.last, cost.months, fee, passed_on, charge, off, changed_from,
            cost,
        )  # fmt: skip
        self.members.append(member)
        return member

    def _tell_joined(self, word, members, family):
        says = []
        for member in members:
            by_voucher = self.by_voucher(member.charge) if member.charge else 0
            says += [member.first, member.last, *member.cost.says(by_voucher)]
        self.tell(word, family, *says, *self.asks(sum(self.open(m.charge) for m in members if m.charge)))

    def _to_renew(self, family):
        found = []
        for member in self.members:
            later = any(m.first > member.last for m in self.of_child(member.child))
            if member.cancelled or member.ended or later or self.paying(member) is not family:
                continue
            notice, grace = timedelta(days=member.plan.notice), timedelta(days=member.plan.grace)
            if member.last - notice <= self.today <= member.last + grace:
                found.append(member)
        return sorted(found, key=lambda m: (m.last, self.members.index(m)))

    def _costs(self, family):
        """Of each that is to be renewed: what it costs after those before it and alone, or None."""
        found, ahead = [], []
        for member in self._to_renew(family):
            child, first = member.child, member.last + timedelta(days=1)
            if not member.plan.is_for(child, first):
                found.append((member, None, None))
                continue
            cost = self.cost(child, member.plan, family, first, ahead)
            found.append((member, cost, self.cost(child, member.plan, family, first)))
            ahead.append(cost)
        return found

    def renew(self, family):
        waits, renewed = self._to_renew(family), []
        for member in waits:
            child, plan, first = member.child, member.plan, member.last + timedelta(days=1)
            if plan.is_for(child, first):
                renewed.append(self._join(self.cost(child, plan, family, first), family))
        if renewed:
            self._tell_joined("renewed", renewed, family)
        elif waits or not self._renewed_today(family):
            raise No

    def _renewed_today(self, family):
        own = [m for m in self.members if not m.cancelled and self.paying(m) is family]
        ended = {(m.child, m.last) for m in self.members if not m.cancelled}
        return [
            m for m in own
            if m.charge and m.charge.charged == self.today and (m.child, m.first - timedelta(days=1)) in ended
        ]  # fmt: skip

    def remind_members(self):
        for family in self.families:
            days = {}
            for line in self._costs(family):
                days.setdefault((line[0].last, line[0].last < self.today), []).append(line)
            for (last, ended), lines in days.items():
                if (family, last, ended) not in self.told:
                    self.told.add((family, last, ended))
                    self._tell_to_renew(family, ended, lines)

    def _tell_to_renew(self, family, ended, lines):
        says, can = [], [cost for _, cost, _ in lines if cost]
        for member, cost, alone in lines:
            says.append(member.last)
            if cost is None:
                first = member.last + timedelta(days=1)
                says += [plan.price(first) for plan in PLANS if plan.is_for(member.child, first)]
            else:
                says += [*cost.says(), *([alone.fee] if alone.fee != cost.fee else [])]
        if can:
            total = sum(cost.fee for cost in can)
            says += [total, total, max(m.last + timedelta(days=m.plan.grace) for m, _, _ in lines)]
        if ended:
            self.tell("memberships ended", family, *says)
        else:
            self.tell("memberships end soon", family, *says, max(m.last for m, _, _ in lines))

    # Changing and leaving

    def _refuse_what_is_over(self, member):
        later = any(m.first > member.last for m in self.of_child(member.child))
        if member.cancelled or later or self.today >= member.last:
            raise No

    def changed_to(self, member):
        return next((m for m in self.members if m.changed_from is member and not m.cancelled), None)

    def rest_of(self, member, months):
        """What so many months of a membership come to, and what of it each association gets."""
        shares = member.plan.shares_of(months)
        return part_of(member.fee - member.passed_on, months, member.months) + sum(shares.values()), shares

    def change_plan(self, member, plan):
        today, done = self.today, self.changed_to(member)
        if done is None and member.cancelled:
            same = [m for m in self.of_child(member.child) if m.first == member.first]
            done = same[-1] if same else None
        if done and done.plan is plan:
            return
        if member.plan is plan:
            raise No
        self._refuse_what_is_over(member)
        first = max(today, member.first)
        if not plan.is_for(member.child, first):
            raise No
        if today > member.first:
            months = min(whole_months(today, member.last), member.months)
            last, member.last = member.last, today - timedelta(days=1)
            self._change(member, plan, today, last, months)
            return
        self._cancel(member)
        if member.changed_from:
            self._change(member.changed_from, plan, first, member.last, member.months)
            return
        family = self.paying(member)
        cost = self.cost(member.child, plan, family, first, term=(member.last, member.months))
        self._write(cost, family, self._charge(cost, family, cost.fee, cost.shares))

    def _change(self, before, plan, first, last, months):
        """Another plan for the rest: its difference to the rest of the one before is charged, or given back."""
        (rest, shares), family = self.rest_of(before, months), self.paying(before)
        cost = self.cost(before.child, plan, family, first, (), (last, months), before, rest)
        difference, charge = cost.fee - rest, None
        if difference > 0:
            left, parts = difference, {}
            for name, share in cost.shares.items():
                parts[name] = min(max(share - shares.get(name, 0), 0), left)
                left -= parts[name]
            charge = self._charge(cost, family, difference, parts)
            charge.called = ("changes", before.plan.name, plan.name, before.child.name)
        elif difference < 0:
            self._give_some_back(before, -difference)
        self._write(cost, family, charge, before)

    def end(self, member):
        """Who leaves early has the club's own part of the whole months that are left, where the plan says so."""
        if member.ended or member.cancelled:
            return
        self._refuse_what_is_over(member)
        if self.today < member.first:
            back = self.giving_back(member.charge, 0) if member.charge else Back()
            self.cancel_member(member)
            self._tell_left("never began", member, member.first, back)
            return
        months = min(whole_months(self.today + timedelta(days=1), member.last), member.months)
        owed = part_of(member.fee - member.passed_on, months, member.months) if member.plan.gives_back else 0
        back = self._give_some_back(member, owed)
        member.last, member.ended = self.today, True
        self._tell_left("membership ends", member, member.last, back)

    def _tell_left(self, word, member, day, back):
        family = self.paying(member)
        owed = max(self.balance(family), 0)
        says = [cents for cents in (back.credited, back.to_credit, owed) if cents > 0]
        self.tell(word, family, day, *says, *self.asks(owed))

    def _give_some_back(self, member, amount):
        """Of what was charged for it and for the plans before, the latest first."""
        fees, each, back = [], member, Back()
        while each:
            fees += [each.charge] if each.charge else []
            each = each.changed_from
        for also_asked in (False, True):
            for fee in fees:
                left = fee.full - fee.credited
                part = min(amount, max(left - sum(split(left, fee.shares).values()), 0))
                if not also_asked:
                    part = min(part, self.giving_back(fee, 0).credited)
                if part > 0:
                    back += self.give_back(fee, left - part, "left the club")
                    amount -= part
        return back

    def cancel_member(self, member):
        """Where it was a change of plan, the plan before holds again."""
        if member.cancelled:
            return
        if self.changed_to(member):
            raise No
        self._cancel(member)
        if member.changed_from and not member.ended:
            self._hold_again(member.changed_from, member)

    def _cancel(self, member):
        if member.charge:
            self.give_back(member.charge, 0, "membership cancelled")
        member.cancelled = True

    def _hold_again(self, before, cancelled):
        (rest, shares), charge, family = self.rest_of(before, cancelled.months), None, self.paying(before)
        if cancelled.charge is None and rest > cancelled.fee and before.charge:
            back = rest - cancelled.fee
            charge = self.charge(family, before.child, "members", back, back, self.today)
            charge.called = ("again", before.plan.name, before.child.name)
        self.members.append(
            Member(
                before.child, before.plan, before.payer, cancelled.first, cancelled.last, cancelled.months, rest,
                sum(shares.values()), charge, before.sibling, before,
            )
        )  # fmt: skip

    # What associations get

    def _due(self, name, fee):
        """What an association gets of a fee that has become income, less what it was paid of it."""
        if name not in fee.shares or not (fee.income_on or fee.starts <= fee.charged):
            return 0
        return split(fee.full - fee.credited, fee.shares)[name] - self.passed_on.get((fee, name), 0)

    def pass_on(self, name, through):
        """An association is paid its share of what started by a day."""
        due = {fee: self._due(name, fee) for fee in self.fees if fee.starts <= through}
        if (amount := sum(due.values())) <= 0:
            raise No
        for fee, part in due.items():
            if part:
                self.passed_on[fee, name] = self.passed_on.get((fee, name), 0) + part
        self.post(self.today, {name: amount, "bank": -amount})

    def owed_to_associations(self):
        return sum(self._due(name, fee) for fee in self.fees for name in fee.shares)

    def tax_not_paid_yet(self):
        """Of each fee that is not paid whole the tax in what is left; that in what was paid is rounded."""
        found = 0
        for fee in [each for each in self.fees if each.tax]:
            lost = [off for off in self.offs if off.fee is fee and not off.undone]
            due = fee.full - fee.credited - sum(off.amount for off in lost)
            tax = self.tax_in(fee, fee.full - fee.credited) - sum(off.tax for off in lost)
            unpaid = due - self.paid(fee) - self.by_voucher(fee, "paid")
            if unpaid > 0:
                found += tax - (2 * tax * (due - unpaid) + due) // (2 * due)
        return found

    def night(self, day):
        self.today = day
        self.lapse()
        self.remind()
        if any(self.free(run) > 0 for run in self.to_come()) and self.waiting():
            self.offer_free()
        self.remind_members()
        self.earn_what_started()
