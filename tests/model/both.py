"""A club set up in the book and in the plain model, and how an act is done in both and compared."""

import pickle
from collections import Counter
from datetime import date, timedelta

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking, Cohort, Place, RefundStep
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees.models import Charge, FeeItem, FeeKind, FeePrice, FeeShare, VoucherWindow
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Party, Role, TaxBasis, TaxCode
from clubdesk.ledger.selectors import account
from clubdesk.mail.models import Message
from clubdesk.membership.models import FamilyCap, Plan, Refund
from clubdesk.money import as_amount
from clubdesk.roll.models import Household, Person
from clubdesk.verbs import shell_user
from tests import factories
from tests.model.comparing import differences, letters_apart, letters_of, letters_since, questions_apart
from tests.model.course import BACK, FROM_AGE, OFFER_DAYS, PAY_DAYS, REMINDER_DAYS, Run
from tests.model.merging import Club
from tests.model.plans import CAP, PLANS
from tests.model.schemes import SCHEMES
from tests.model.things import Child, Family, No

BEGINS, ENDS = date(2026, 7, 6), date(2028, 5, 1)
COURSE_PRICES = ((factories.LONG_AGO, 12_603), (date(2026, 12, 1), 13_110), (date(2027, 7, 1), 14_001))
HOMES = (("Abbot", (9, 12, 13, 16), True), ("Bream", (8, 11), True), ("Curlew", (14, 10), True),
         ("Dotterel", (12, 9, 17), False), ("Egret", (15,), True), ("Fantail", (10, 11, 7), True))  # fmt: skip
FIRST_DAYS = (date(2026, 8, 2), date(2026, 10, 4), date(2027, 2, 7))


def money(cents):
    return as_amount(cents) / 100


class BothClubs(RuleBasedStateMachine):
    """Six families, three runs of a course at first; time only goes forward.

    What all runs begin with is done once: each begins with a copy, and at its end the book is as it was.
    """

    acts = 0
    done, refusals = Counter(), Counter()
    begun, number = None, 0

    @classmethod
    def begin(cls):
        """The club before anything happens, in the book of the test that runs, and the same in the model."""
        clock.set_today(BEGINS)
        by = shell_user()
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        club = Club(BEGINS, COURSE_PRICES)
        families(club)
        course, plans = a_course(club), {plan: a_plan(plan) for plan in PLANS}
        FamilyCap.objects.create(valid_from=factories.LONG_AGO, amount=money(CAP))
        FeeItem.objects.update(tax_code=TaxCode.TAXABLE)
        schemes = {scheme: _scheme_of(scheme) for scheme in SCHEMES}
        cls.begun = pickle.dumps(club), by, course, plans, schemes
        cls.acts, cls.done, cls.refusals = 0, Counter(), Counter()

    @initialize(registered=st.booleans())
    def start(self, registered):
        self.run = transaction.atomic()
        self.run.__enter__()
        clock.set_today(BEGINS)
        club, self.by, self.course, self.plans, self.schemes = self.begun
        self.club, self.codes, self.told, self.said = pickle.loads(club), 0, 0, 0
        self.rows = {Household: Household.everyone, Person: Person.everyone}
        if registered:
            self.registers()
        for family in self.club.families[1:]:
            self.books([child for child in self.club.children if child.family is family][:2], None)

    def registers(self):
        def in_model():
            self.club.taxed_since = self.today

        self.act(in_model, ledger.register_for_gst, since=self.today, basis=TaxBasis.CASH)

    # Which row is meant

    def row(self, model, index):
        rows = self.rows.get(model, model.objects).order_by("pk")
        return rows[index]

    def family(self, family):
        return self.row(Household, self.club.families.index(family))

    def person(self, child):
        return self.row(Person, self.club.children.index(child))

    def fee(self, fee):
        return self.row(Charge, self.club.fees.index(fee))

    def cohort(self, run):
        return self.row(Cohort, self.club.runs.index(run))

    def party(self, party):
        return Booking.objects.get(number=party.number)

    def seats(self, party, seats):
        rows = list(Place.objects.filter(booking__number=party.number).order_by("pk"))
        return [rows[party.seats.index(seat)] for seat in seats]

    def pick(self, data, found):
        return found[data.draw(st.sampled_from(range(len(found))))] if found else None

    def some(self, data, found):
        return self.any_of(data, found, 1) if found else []

    def any_of(self, data, found, least=0):
        return [found[n] for n in data.draw(st.lists(st.sampled_from(range(len(found))), unique=True, min_size=least))]

    def standing_families(self):
        return [each for each in self.club.families if not each.gone]

    def standing_children(self):
        return [each for each in self.club.children if not each.gone]

    def vouchers(self, stands):
        return [each for each in self.club.vouchers if each.stands == stands]

    def some_days_pass(self, days):
        day = min(self.today + timedelta(days=days), ENDS)
        Message.objects.filter(state="waiting").update(state="sent", sent_at=clock.now())
        clock.set_today(day)
        self.act(lambda: self.club.night(day), nightly, on=day)

    # One act, in the book and in the model

    def act(self, in_model, verb, name="", **given):
        """Both do it, or both say no; and then both say the same of everything."""
        BothClubs.acts += 1
        before, refused, sentence = pickle.dumps(self.club), False, ""
        try:
            in_model()
        except No:
            refused = True
        try:
            with transaction.atomic():
                verb(by=self.by, **given)
        except Refused as refusal:
            sentence = refusal.sentence
        assert refused == bool(sentence), f"the model {'refuses' if refused else 'does it'}: {sentence or 'done'}"
        (BothClubs.refusals if refused else BothClubs.done)[name or verb.__name__] += 1
        if refused:
            self.club = pickle.loads(before)
        self.compare()

    def books(self, children, runs, payer=None, hold=False):
        self.act(
            lambda: self.club.book(children, runs, payer, hold),
            courses.book_party, course=self.course, people=[self.person(each) for each in children],
            cohorts=None if runs is None else [self.cohort(run) for run in runs], on=self.today, hold_only=hold,
            payer=payer and self.family(payer),
        )  # fmt: skip

    def compare(self):
        apart = differences(self.club)
        assert not apart, apart
        self.told, book = letters_since(self.told)
        model = self.club.letters[self.said :]
        self.said = len(self.club.letters)
        apart = letters_apart(book, letters_of(self.club, model))
        assert not apart, apart

    @property
    def today(self):
        return self.club.today

    def teardown(self):
        if not hasattr(self, "run"):
            return
        try:
            apart = questions_apart(self.club)
            assert not apart, apart
            faults = [(result.name, result.faults) for result in check_all() if result.faults]
            assert not faults, faults
        finally:
            transaction.set_rollback(True)
            self.run.__exit__(None, None, None)
            clock.set_today(None)


def families(club):
    for number, (name, ages, has_mail) in enumerate(HOMES):
        email = f"{name.lower()}@example.org" if has_mail else ""
        family = Family(name, [(number, email)])
        home = factories.HouseholdFactory(name=f"{name} family", guardian=f"Ida {name}", email=email)
        club.families.append(family)
        for nth, age in enumerate(ages):
            born = date(BEGINS.year - age, 3 + 4 * (nth % 3), 9)
            factories.PersonFactory(household=home, given_name=f"{name}{nth}", birth_date=born)
            club.children.append(Child(f"{name}{nth}", family, born))


def a_course(club):
    for first in FIRST_DAYS:
        cohort = factories.cohort(capacity=4, first=first, fee="126.03", minimum_age=FROM_AGE)
        club.runs.append(Run(first, first.replace(day=25), 4))
    course = cohort.course
    course.offer_days, course.pay_days, course.reminder_days = OFFER_DAYS, PAY_DAYS, REMINDER_DAYS
    course.save()
    for days, percent in BACK:
        RefundStep.objects.create(course=course, days_before=days, percent=percent)
    for day, cents in COURSE_PRICES[1:]:
        FeePrice.objects.create(item=course.fee_item, valid_from=day, amount=money(cents))
    return course


def a_plan(plan):
    parties = {name: Party.objects.filter(name=name).first() or factories.association(name) for name in plan.shares}
    item = FeeItem.objects.create(
        code=plan.name, name=plan.name, kind=FeeKind.MEMBERSHIP, income_account=account(Role.MEMBERSHIPS)
    )
    for day, cents in plan.prices:
        price = FeePrice.objects.create(item=item, valid_from=day, amount=money(cents))
        for name, share in plan.shares.items():
            payable = account(Role.AFFILIATION_PAYABLE)
            FeeShare.objects.create(price=price, account=payable, party=parties[name], amount=money(share))
    return Plan.objects.create(
        name=plan.name, fee_item=item, months=plan.months, whole_shares=plan.whole_shares, oldest=plan.oldest,
        sibling_percent=plan.sibling_percent, youngest=plan.youngest, remind_days=plan.notice, grace_days=plan.grace,
        refund=Refund.MONTHS if plan.gives_back else Refund.NOTHING,
    )  # fmt: skip


def _scheme_of(scheme):
    row = factories.scheme(values=[(year, str(money(scheme.worth).amount)) for year in (2026, 2027, 2028)],
                           name=scheme.name)  # fmt: skip
    row.youngest, row.oldest, row.per_year = scheme.youngest, scheme.oldest, scheme.per_year
    row.aged_by = "born" if scheme.by_year_of_birth else "day"
    if days := scheme.school or scheme.named:
        row.aged_by, (row.on_month, row.on_day) = "school" if scheme.school else "named", days
    row.youngest_months, row.year_begins, row.starts_at = scheme.months, scheme.begins, 5
    row.key_kind = "child" if scheme.of_child else "code"
    row.only_unpaid, row.one_a_fee, row.pays_memberships = scheme.only_open, scheme.one_a_fee, not scheme.courses_only
    row.valid_days, row.claim_days = scheme.valid_days, scheme.claim_days
    row.no_money_back, row.gives_back, row.gives_back_days = scheme.tied, scheme.owes_back, scheme.owes_back_days
    row.save()
    if scheme.last_claim:
        row.values.filter(calendar_year=scheme.last_claim.year).update(last_claim_on=scheme.last_claim)
    for ends in ((1, 1, 6, 30), (7, 1, 12, 31)) if scheme.halves else ():
        VoucherWindow.objects.create(
            scheme=row, from_month=ends[0], from_day=ends[1], until_month=ends[2], until_day=ends[3]
        )
    return row
