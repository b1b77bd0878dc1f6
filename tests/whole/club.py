"""A club of any size through three years: joining, renewing, leaving, and vouchers of every outcome."""

import random
from collections import Counter, defaultdict
from datetime import date, timedelta
from itertools import count

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fee_questions
from clubdesk.fees import services as fees
from clubdesk.fees.models import Charge, FeeKind, FeeShare, Lodgement, Method, Voucher
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Book, Role
from clubdesk.ledger.selectors import account
from clubdesk.membership import selectors, services
from clubdesk.membership.models import FamilyCap, Membership, Plan, Refund
from clubdesk.money import as_amount, nil
from clubdesk.roll import services as roll
from tests import factories

START, DAYS = date(2026, 7, 1), 3 * 365


class Club:
    """What happens each day is drawn by chance from a fixed seed; `counts` says how often each thing did."""

    def __init__(self, by, juniors, seed=7):
        self.by, self.chance, self.codes = by, random.Random(seed), count(10**7)
        self.counts = Counter()
        self.later = defaultdict(list)
        for year in (2027, 2028, 2029):
            ledger.open_year(first_day=date(year, 7, 1), by=by)
        self.bodies = [factories.association(), factories.association("National archery body")]
        self.junior = factories.plan(shares=list(zip(self.bodies, ("71.00", "45.00"), strict=True)))
        adult = factories.price(FeeKind.MEMBERSHIP, "300.00", Role.MEMBERSHIPS, code="adult")
        for party, share in zip(self.bodies, ("95.00", "60.00"), strict=True):
            FeeShare.objects.create(
                price=adult, account=account(Role.AFFILIATION_PAYABLE), party=party, amount=as_amount(share)
            )
        Plan.objects.filter(pk=self.junior.pk).update(sibling_percent=10, refund=Refund.MONTHS)
        self.junior.refresh_from_db()
        self.adult = Plan.objects.create(name="Adult", fee_item=adult.item, refund=Refund.MONTHS)
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(560))
        self.scheme = factories.scheme(values=tuple((year, "100.00") for year in range(2026, 2030)))
        self.people_join(juniors)
        for month in range(36):
            first = clock.months_later(START, month)
            self.at(first + timedelta(days=14), self.lodge)
            self.at(first + timedelta(days=27), self.department_answers)
            self.at(first + timedelta(days=20), self.tidy)
            if month % 3 == 2:
                self.at(first + timedelta(days=24), self.remit)

    def at(self, day, act):
        self.later[day].append(act)

    def people_join(self, juniors):
        """Three quarters within ten weeks of the start, the rest over the three years."""
        made = 0
        while made < juniors:
            household = roll.add_household(name=f"Family {made}", guardian="Ida", email=f"f{made}@example.org")
            day = START + timedelta(days=self.chance.randrange(70 if made < juniors * 3 / 4 else DAYS - 60))
            for _ in range(min(self.chance.choice((1, 1, 2, 2, 3)), juniors - made)):
                born = date(self.chance.randint(2010, 2017), self.chance.randint(1, 12), self.chance.randint(1, 28))
                child = roll.add_person(
                    household=household, given_name=f"Child{made}", family_name=f"Family{made}", birth_date=born
                )
                self.at(day + timedelta(days=self.chance.randrange(20)), lambda on, who=child: self.join(who, on))
                made += 1

    def stands_at(self):
        """Another after each day on which anything was done or posted."""
        return self.counts.total(), Book.objects.get().last_number

    def days(self):
        """Each day of the three years, once all of it has happened."""
        for passed in range(DAYS):
            day = START + timedelta(days=passed)
            clock.set_today(day)
            for act in self.later.pop(day, []):
                act(day)
            if passed % 7 == 0:
                self.renew(day)
            fees.recognise_due(on=day, by=self.by)
            yield day

    def does(self, what, verb, **arguments):
        """Try a verb; what it refuses is counted too."""
        try:
            done = verb(by=self.by, **arguments)
        except Refused:
            self.counts[f"{what} refused"] += 1
            return None
        self.counts[what] += 1
        return done

    def join(self, person, day):
        starts_on = day + timedelta(days=self.chance.choice((0, 0, 0, 12)))
        taken = self.does(
            "joined", services.take_out_membership, person=person, plan=self.junior, starts_on=starts_on, on=day
        )
        if taken:
            self.after_joining(taken, day)

    def after_joining(self, taken, day):
        if taken.charge and self.chance.random() < 0.6:
            late = self.chance.choice((1, 1, 2, 45))
            self.at(day + timedelta(days=late), lambda on, charge=taken.charge: self.voucher(charge, on))
        if self.chance.random() < 0.93:
            home = taken.person.household
            self.at(day + timedelta(days=self.chance.randint(3, 40)), lambda on: self.pay(home, on))
        fate = self.chance.random()
        if fate < 0.05:
            self.at(day + timedelta(days=self.chance.randint(20, 300)), lambda on: self.leave(taken, on))
        elif fate < 0.08:
            self.at(day + timedelta(days=self.chance.randint(20, 300)), lambda on: self.change(taken, on))
        elif fate < 0.09:
            self.at(day + timedelta(days=9), lambda on: self.cancel(taken, on))

    def voucher(self, charge, day):
        code = f"SV{next(self.codes)}"
        made = self.does("voucher", fees.accept_voucher, scheme=self.scheme, charge=charge, code=code, on=day)
        if made and self.chance.random() < 0.02:
            self.does("voucher released", fees.release_voucher, voucher=made, on=day, reason="wrong child")

    def pay(self, household, day):
        owed = fee_questions.balance(household)
        if owed <= nil():
            return
        chance, amount = self.chance.random(), owed
        if chance < 0.05:
            amount = owed + as_amount(50)  # too much
        elif chance < 0.15:
            amount = max(owed - as_amount(30), as_amount(10))  # too little
        method = self.chance.choice((Method.TRANSFER, Method.CARD, Method.CASH))
        made = self.does("paid", fees.record_receipt, household=household, amount=amount, method=method, on=day)
        if made and chance > 0.98:
            self.does("receipt cancelled", fees.cancel_receipt, receipt=made, on=day, reason="written twice")

    def leave(self, taken, day):
        self.does("left", services.end_membership, membership=taken, on=day, reason="moved")

    def change(self, taken, day):
        self.does("changed plan", services.change_plan, membership=taken, plan=self.adult, on=day, reason="turns 18")

    def cancel(self, taken, day):
        self.does("cancelled", services.cancel_membership, membership=taken, on=day, reason="never came")

    def renew(self, day):
        """Four in five households renew, at some time between the notice and the end of grace."""
        for renewal in selectors.renewals(day):
            if self.chance.random() < 0.3:
                renewed = self.does("renewed", services.renew_household, household=renewal.household, on=day)
                for taken in renewed or ():
                    self.after_joining(taken, day)

    def lodge(self, day):
        self.does("lodged", fees.lodge_vouchers, scheme=self.scheme, on=day)

    def department_answers(self, day):
        for lodgement in Lodgement.objects.filter(paid_on=None):
            paid, refused = {}, {}
            for voucher in lodgement.vouchers.filter(state="lodged"):
                outcome = self.chance.random()
                if outcome < 0.06:
                    refused[voucher.pk] = "used elsewhere"
                elif outcome < 0.11 and voucher.amount > as_amount(60):
                    paid[voucher.pk] = voucher.amount - as_amount(25)
                else:
                    paid[voucher.pk] = voucher.amount
            self.does("answered", fees.answer_lodgement, lodgement=lodgement, paid=paid, refused=refused, on=day)

    def tidy(self, day):
        """Credits are repaid, and what nobody will pay is written off."""
        for receipt in list(fee_questions.receipts_with_unused().filter(unused__gt=as_amount(20))[:5]):
            amount = fee_questions.unused_credit(receipt.household)
            if amount > nil():
                self.does("repaid", fees.repay_credit, household=receipt.household, amount=amount, on=day)
        old = fee_questions.charges_with_open().filter(open_amount__gt=0, charged_on__lt=day - timedelta(days=200))
        for charge in list(old.select_related("household")[:3]):
            amount = as_amount(charge.open_amount)
            self.does("written off", fees.write_off, charge=charge, amount=amount, on=day, reason="moved, no answer")

    def remit(self, day):
        for body in self.bodies:
            self.does("remitted", services.remit_affiliation, association=body, through=day, on=day)


def figures():
    """How large the book has become."""
    return {"charges": Charge.objects.count(), "memberships": Membership.objects.count(),
            "vouchers": Counter(Voucher.objects.values_list("state", flat=True))}  # fmt: skip
