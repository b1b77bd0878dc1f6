"""A season of any size for tests of pages: households, members, places, a range day, claims, a bank line."""

import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount, BankRule
from clubdesk.bank.reconciling import reconcile
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort
from clubdesk.desk import services as desk
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto, StateEvent
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.expenses.models import Expense
from clubdesk.fees import services as fees
from clubdesk.fees.models import Charge, Method, VoucherScheme
from clubdesk.fees.selectors import balance
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Fund, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account, entries_of
from clubdesk.membership import services as membership
from clubdesk.membership.models import Plan
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Kit, OwnGearCost, Paid, RangeDay, SafetyText
from clubdesk.rangeday.services.taps import Tapped
from clubdesk.rooms import APPROVER
from clubdesk.verbs import shell_user
from clubdesk.yearend import services as yearend
from tests import factories
from tests.worlds.day_one import username

START, JULY, AUGUST, NOW = date(2026, 7, 6), date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 12)


def grow(people):
    """What the worlds of seasons are made by: the book's season, begun where there is none, with so many people."""
    season = Season.found() if StateEvent.objects.exists() else Season(*people_of_it())
    return season.grow(people)


def grow_with_time(people):
    """What the worlds of many people are made by; who is in all of them comes first, so that its rows are the same."""
    season = Season.found()
    season.grown_ups()
    season.grow(people).what_comes_with_time()


def sign_off(by):
    """August at the bank, as if the bank had said what the book makes of it."""
    figures = reconcile(BankAccount.objects.get(), AUGUST, as_amount(0))
    stated = figures.book_balance + figures.adjustments - figures.deposits_not_credited + figures.payments_not_presented
    bank.sign_off_month(bank_account=BankAccount.objects.get(), until=AUGUST, statement_balance=stated, on=NOW, by=by)


def people_of_it():
    return shell_user(), User.objects.get(username=username(APPROVER))


class Season:
    """Grows to a number of people; every kind of document is there from the first."""

    @classmethod
    def found(cls):
        """The season that the book holds, as it was left."""
        season = cls.__new__(cls)
        season.by, season.approver = people_of_it()
        season.second = User.objects.get(username="second")
        season.plan, season.scheme, season.event = (
            Plan.objects.get(),
            VoucherScheme.objects.get(),
            StateEvent.objects.get(),
        )
        season.cohort = Cohort.objects.order_by("pk").first()
        season.day, season.closed_day = RangeDay.objects.order_by("pk")
        season.people = season.event.claims.count()
        return season

    def __init__(self, by, approver, seats=20):
        self.by, self.approver = by, approver
        self.second, _ = desk.add_user(username="second", role=APPROVER)
        self.people = 0
        state = factories.association()
        self.plan = factories.plan(shares=[(state, "71.00")])
        self.scheme = factories.scheme()
        self.cohort = factories.cohort(capacity=seats)
        self.cohort.course.pay_days = 60
        self.cohort.course.save()
        self.run_a_course()
        factories.hire()
        self.day, self.closed_day = factories.range_day(), factories.range_day(date(2026, 9, 5))
        self.event = factories.event(held=date(2026, 9, 5))
        entryfund.cash_in(
            containers=90000, amount=as_amount(9000), paid_into=PaidInto.BANK, on=START, by=by, depot_receipt="D1"
        )
        lines = [debit(Role.BANK, as_amount(500)), credit(Role.GRANTS, as_amount(500))]
        ledger.record_journal(on=START, narration="Grant", lines=lines, by=by)

    def grow(self, people):
        for _ in range(people - self.people):
            self.add_child()
        if not self.people:
            self.once()
        self.people = people
        return self

    def add_child(self):
        self.add_child_of(factories.PersonFactory())

    def add_child_of(self, child):
        """What every child of the season has."""
        by, household = self.by, child.household
        taken = membership.take_out_membership(person=child, plan=self.plan, starts_on=START, on=START, by=by)
        if child.pk % 2:
            fees.accept_voucher(scheme=self.scheme, charge=taken.charge, code=f"SV{child.pk}", on=START, by=by)
        fees.record_receipt(household=household, amount=as_amount(50), method=Method.CARD, on=START, by=by)
        courses.book_place(person=child, cohort=self.cohort, by=by, on=START)
        signed = rangeday.sign_on(range_day=self.day, person=child, gear=Gear.HIRE, paid=Paid.CASH, by=by)
        bow = Kit.objects.create(number=f"B{child.pk}", kind="bow")
        rangeday.give_out(kit=bow, sign_on=signed, at=clock.now(), by=by)
        entryfund.record_claim(
            person=child,
            event=self.event,
            amount=as_amount(60),
            evidence=Evidence(f"receipt {child.pk}".encode(), "application/pdf"),
            on=NOW,
            by=by,
        )

    def run_a_course(self):
        """A cohort that has begun, with somebody who came and has a certificate."""
        cohort = factories.cohort(capacity=1, first=date(2026, 8, 4))
        place = courses.book_place(person=factories.PersonFactory(), cohort=cohort, by=self.by, on=START)
        for session in cohort.sessions[:3]:
            courses.record_attendance(cohort=cohort, session=session, present=[place], by=self.by)
        courses.issue_certificates(cohort=cohort, by=self.by)

    def what_comes_with_time(self):
        """A counted day, an offer to a family that waits, a thing in the register, another year.

        A month is signed off, and one is locked that somebody wants open again.
        """
        by = self.by
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        self.count_the_day()
        another = factories.cohort(capacity=1, first=date(2026, 11, 1))
        courses.offer_free_seats(course=another.course, on=NOW, by=by)
        lines = [debit(Role.EQUIPMENT, as_amount(300)), credit(Role.BANK, as_amount(300))]
        ledger.record_journal(on=START, narration="Butts", lines=lines, by=by)
        yearend.add_equipment(
            name="Butts", bought_on=START, cost=as_amount(300), years=3, fund=Fund.objects.get(code="general"), by=by
        )
        sign_off(by)
        self.lock_july()

    def lock_july(self):
        ledger.lock_month(month_end=JULY, reason="no cash was counted in July", by=self.by)
        year = FinancialYear.objects.get(locked_through=JULY)
        ledger.ask_to_unlock(year=year, month_end=JULY, reason="a bill was forgotten", on=NOW, by=self.by)

    def close_and_credit(self):
        """A counted day and a fee taken back."""
        self.count_the_day()
        charge = self.event.claims.first().household.charges.first()
        fees.credit_charge(charge=charge, amount=as_amount(1), on=NOW, reason="goodwill", by=self.by)

    def count_the_day(self):
        rangeday.close_day(
            range_day=self.closed_day,
            pieces={100: 1},
            second_counter=self.approver,
            by=self.by,
            on=NOW,
            reason="a coin too many",
        )

    def once(self):
        """What a page needs one of."""
        by = self.by
        first = Charge.objects.filter(recognised_on=None, starts_on__lte=START).first()
        fees.write_off(charge=first, amount=as_amount(1), on=NOW, reason="too small to ask for", by=by)
        owed = balance(first.household)
        fees.agree_parts(household=first.household, parts=[(NOW, owed)], on=NOW, by=by)
        SafetyText.objects.create(in_force_from=START, text="Stay behind the line.")
        OwnGearCost.objects.create(since=START, amount=as_amount(200))
        rangeday.set_kit_aside(kit=Kit.objects.create(number="X1", kind="tab"), on=NOW, note="torn", by=by)
        asked = self.event.claims.order_by("pk").first()
        entryfund.ask_for_more(claim=asked, question="Which class was it?", by=self.approver, on=NOW)
        lodged = fees.lodge_vouchers(scheme=self.scheme, on=NOW, by=by)
        fees.refuse_voucher(voucher=lodged.vouchers.first(), on=NOW, reason="used elsewhere", by=by)
        renewing = membership.take_out_membership(
            person=factories.PersonFactory(), plan=self.plan, starts_on=date(2025, 10, 1), on=START, by=by
        )
        sent = membership.take_out_membership(
            person=factories.PersonFactory(), plan=self.plan, starts_on=date(2025, 10, 1), on=START, by=by
        )
        fees.accept_voucher(scheme=self.scheme, charge=sent.charge, code="SV01", on=NOW, by=by)
        fees.lodge_vouchers(scheme=self.scheme, on=NOW, by=by)
        fees.accept_voucher(scheme=self.scheme, charge=renewing.charge, code="SV0", on=NOW, by=by)
        rangeday.receive_tap(
            range_day=self.day,
            tapped=Tapped(key=uuid.uuid4(), at=clock.now(), people=(999_999,), gear=Gear.HIRE, paid=Paid.CASH),
            by=by,
        )
        bank.settle_cards(takings=as_amount(50), fee=as_amount(1), on=NOW, by=by)
        rangeday.bank_takings(amount=as_amount(7), on=NOW, by=by)
        line = {"bank_account": BankAccount.objects.get(), "on": NOW, "by": by}
        bank.record_statement_line(amount=as_amount(49), text="CARDS", **line)
        payed = bank.record_statement_line(amount=as_amount("-1"), text="STAMPS", **line)
        stamps = [debit(Role.BANK_FEES, as_amount(1)), credit(Role.BANK, as_amount(1))]
        written = ledger.record_journal(on=NOW, narration="Stamps", lines=stamps, by=by)
        bank.explain_line(line=payed, posting=entries_of(written).get().postings.get(amount=as_amount(-1)), by=by)
        BankRule.objects.create(
            name="Account fee", contains="FEE", way="out", account=account(Role.BANK_FEES), fund_id="general"
        )
        bank.import_statement(
            bank_account=line["bank_account"], content=b"12/09/2026,FEE,-2.00\n", file_name="september.csv", by=by
        )
        extra = factories.HouseholdFactory()
        fees.record_receipt(household=extra, amount=as_amount(9), method=Method.TRANSFER, on=NOW, by=by)
        fees.repay_credit(household=extra, amount=as_amount(5), on=NOW, by=by)
        association = self.plan.fee_item.prices.get().shares.get().party
        membership.remit_affiliation(association=association, through=NOW, on=NOW, by=by)
        claims = list(self.event.claims.all()[:2])
        entryfund.approve_claim(claim=claims[0], by=self.approver, on=NOW)
        self.pay_out(extra)
        self.take_back()

    def grown_ups(self):
        """In a cohort that no child is old enough for: one withdrew, one of the family has the seat, two wait."""
        by, later = self.by, factories.cohort(capacity=1, first=date(2027, 8, 1))
        Cohort.objects.filter(pk=later.pk).update(minimum_age=40)
        home, born = factories.HouseholdFactory(), date(1970, 1, 1)
        one, keen, *both = (factories.PersonFactory(household=home, birth_date=born) for _ in range(4))
        later = Cohort.objects.get(pk=later.pk)
        courses.book_party(course=later.course, people=both, cohorts=[later], on=NOW, by=by)
        tired = courses.book_place(person=one, cohort=later, on=NOW, by=by)
        courses.withdraw(booking=tired.booking, on=NOW, reason="another hobby", by=by)
        courses.book_place(person=keen, cohort=later, on=NOW, by=by)

    def pay_out(self, household):
        """A run of each kind: one that waits, one that is released, one of which something is paid."""
        by, second = self.by, self.second
        factories.direct_entry()
        factories.bank_details(household, by)
        for what in ("tape", "string wax", "arrow rests", "nocks"):
            factories.expense(by, household, what=what)
        for expense in list(Expense.objects.order_by("pk")[:3]):
            expenses.approve_expense(expense=expense, on=NOW, by=self.approver)
            run = bank.make_run(
                bank_account=BankAccount.objects.get(), method="file", pay_on=NOW, on=NOW, by=by, expenses=[expense]
            )
            if expense.what != "tape":
                bank.release_run(run=run, on=NOW, by=second)
                bank.make_file(run=run, by=by)
            if expense.what == "arrow rests":
                bank.record_paid(run=run, items=list(run.items.all()), on=NOW, by=by)
        entryfund.count_bags(bags=3, containers=900, on=NOW, by=by)

    def take_back(self):
        """A line that the bank took back by another, and a grant that the book took back, which no line shows."""
        for amount in (as_amount(33), as_amount(-33)):
            bank.record_statement_line(
                bank_account=BankAccount.objects.get(), amount=amount, text="DEPOSIT", on=NOW, by=self.by
            )
        for one, other in ((debit, credit), (credit, debit)):
            lines = [one(Role.BANK, as_amount(21)), other(Role.GRANTS, as_amount(21))]
            ledger.record_journal(on=NOW, narration="Grant of another club", lines=lines, by=self.by)
