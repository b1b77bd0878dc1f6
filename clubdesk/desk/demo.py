"""The demo book: one whole financial year and the current one of an invented club, made by the verbs.

Everything is invented: Quandong Bend Archery Club stands in an invented river town of an unnamed state. People
come from Faker with a fixed seed, so that the same day gives the same book.
"""

import io
import random
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.contrib.auth.models import User
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import override_settings
from djmoney.money import Money
from faker import Faker
from PIL import Image, ImageDraw

from clubdesk import clock, guards
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount, BankRule, HowPaid, PaymentItem, PaymentRun
from clubdesk.bank.reconciling import book_balance
from clubdesk.bank.selectors import card_takings_waiting, claims_to_pay, credits_to_repay, expenses_to_pay
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking, Cohort, Course, PlaceState, RefundStep
from clubdesk.desk import roles
from clubdesk.desk import services as desk
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import ContainerReturn, Discipline, EntryClaim, PaidInto, StateEvent
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.expenses import services as expenses
from clubdesk.expenses.models import Expense
from clubdesk.fees import selectors as fee_questions
from clubdesk.fees import services as fees
from clubdesk.fees.models import (
    FeeItem,
    FeeKind,
    FeePrice,
    FeeShare,
    Lodgement,
    Method,
    Voucher,
    VoucherScheme,
    VoucherValue,
)
from clubdesk.ledger import selectors as ledger_questions
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import (
    Account,
    Book,
    FinancialYear,
    Fund,
    FundRole,
    Journal,
    JournalOrigin,
    Party,
    PartyKind,
    Posting,
    Role,
)
from clubdesk.ledger.posting import credit, debit
from clubdesk.mail import services as mail
from clubdesk.membership import services as membership
from clubdesk.membership.models import FamilyCap, Plan, Refund
from clubdesk.membership.selectors import affiliation_owed, is_member, membership_on
from clubdesk.money import as_amount, half_up, in_pieces, nil, total
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import (
    Gear,
    Kit,
    KitKind,
    KitState,
    OwnGearCost,
    Paid,
    RangeDay,
    SafetyText,
    SignOn,
)
from clubdesk.rangeday.selectors import safety_text
from clubdesk.rangeday.selectors import tin as tin_of
from clubdesk.roll import services as roll
from clubdesk.roll.models import Household, Person
from clubdesk.yearend import services as yearend
from clubdesk.yearend.selectors import budget_of, months_of, spread

CLUB = "Quandong Bend Archery Club"
PASSWORD = "quandong-bend"  # noqa: S105 - the demo's own, printed when it starts, on loopback only
SEED = 4010
NOWHERE = "django.core.mail.backends.dummy.EmailBackend"
FLOAT = as_amount(100)
SAFETY_RULES = """Stay behind the waiting line until you are called.
Shoot only at your own target, and only on the whistle.
Nobody walks forward until all bows are down and the range is called clear.
A child shoots only while a guardian or a coach stands by.
Tell the coach at once of anything that is cracked, frayed or loose."""
SIGN_INS = {
    "coordinator": (roles.COORDINATOR, "Ines Kallara"),
    "helper": (roles.RANGE_HELPER, "Tomas Wirrin"),
    "approver": (roles.APPROVER, "Petra Solano"),
    "treasurer": (roles.TREASURER, "Hugo Marchetti"),
    "auditor": (roles.AUDITOR, "Noor Ellery"),
}


def refuse_a_real_book() -> None:
    """Raise Refused where the database holds anything that no demo made."""
    book = Book.objects.first()
    if book and not book.is_demo:
        raise Refused(f"This database holds the books of {book}; the demo never touches a real club's books.")
    if not book and (Household.objects.exists() or User.objects.exists()):
        raise Refused("This database is not empty and holds no demo; give the demo a database of its own.")


def empty() -> None:
    """Take an earlier demo away, its evidence too."""
    for model in (EntryClaim, ContainerReturn, Expense, Journal):
        for name in model._default_manager.exclude(receipt="").values_list("receipt", flat=True):
            default_storage.delete(name)
    guards.remove(connection)
    call_command("flush", interactive=False, verbosity=0)


@dataclass
class Demo:
    """Builds the book day by day up to `today`; `say` is told each month that begins."""

    today: date
    say: Callable[[str], None] = lambda text: None
    chance: random.Random = field(default_factory=lambda: random.Random(SEED))
    plans: dict[date, list[Callable[[date], object]]] = field(default_factory=lambda: defaultdict(list))
    juniors: list[Person] = field(default_factory=list)
    newcomers: list[list[Person]] = field(default_factory=list)
    to_repay: list[Household] = field(default_factory=list)

    @property
    def this_year(self) -> date:
        return date(self.today.year - (self.today.month < 7), 7, 1)

    @property
    def last_year(self) -> date:
        return self.this_year.replace(year=self.this_year.year - 1)

    @property
    def year_before(self) -> date:
        return self.this_year.replace(year=self.this_year.year - 2)

    def build(self) -> None:
        self.fake = Faker("en_AU")
        self.fake.seed_instance(SEED)
        with transaction.atomic():
            self.begin()
            self.bring_forward()
            self.schedule_of_fees()
            self.club_kit()
            self.people()
        for start in (self.last_year, self.this_year):
            self.plan_year(start)
        next_year = membership.months_later(self.this_year, 12)
        self.plan_cohort(_next_sunday(next_year + timedelta(weeks=4)), "Term 3")
        for index in range(30):
            self.at(self.last_year + timedelta(days=1 + index // 2), self.family_asks)
        for day in self.days():
            if day.day == 1:
                self.say(f"{day:%B %Y}")
            with clock.on(day), transaction.atomic():
                desk.nightly(on=day, by=self.shell)
                mail.deliver()
                self.answer_offers(day)
                for action in self.plans.pop(day, []):
                    action(day)

    def days(self) -> Iterator[date]:
        day = self.last_year
        while day <= self.today:
            yield day
            day += timedelta(days=1)

    def at(self, day: date, action: Callable[[date], object]) -> None:
        """Do `action` on `day`, where the demo gets that far."""
        self.plans[day].append(action)

    # The club before the demo's first day

    def begin(self) -> None:
        self.shell = ledger.shell_user()
        desk.start_books(club_name=CLUB, year_start=self.year_before, by=self.shell, is_demo=True)
        ledger.open_year(first_day=self.last_year, by=self.shell)
        ledger.open_year(first_day=self.this_year, by=self.shell)
        self.users = {
            name: desk.add_user(username=name, role=role, password=PASSWORD, full_name=full_name)[0]
            for name, (role, full_name) in SIGN_INS.items()
        }
        self.coordinator, self.helper = self.users["coordinator"], self.users["helper"]
        self.approver, self.treasurer = self.users["approver"], self.users["treasurer"]
        BankAccount.objects.update(
            bsb="900-100",
            account_number="40012345",
            bank_letters="QBB",
            user_name="QUANDONG BEND ARCHERY CLUB",
            user_id="300123",
            remitter="QUANDONG BEND AC",
        )

    def bring_forward(self) -> None:
        """The year before, as one summary from the paper books, so that last year's figures stand beside."""
        on = self.last_year - timedelta(days=1)
        accounts = {account.code: account for account in Account.objects.all()}
        income = {"4010": "7392.00", "4020": "6426.00", "4030": "4130.00", "4040": "1245.00", "4070": "31.20"}
        spent = {"5020": "1684.35", "5030": "942.10", "5040": "2210.75", "5050": "618.40", "5060": "147.62"}
        before, till = as_amount("5184.20"), FLOAT
        lines = [credit(accounts[code], as_amount(text)) for code, text in income.items()]
        lines += [debit(accounts[code], as_amount(text)) for code, text in spent.items()]
        lines += [debit(accounts["5070"], as_amount("2875.00")), debit(accounts["5100"], as_amount("640.00"))]
        lines += [debit(accounts["1500"], as_amount("6400.00")), credit(accounts["1510"], as_amount("1920.00"))]
        lines += [debit(Role.TILL, till), credit(Role.ACCUMULATED, before)]
        bank_balance = -sum((line.amount for line in lines), nil())
        lines.append(debit(Role.BANK, bank_balance))
        ledger.record_journal(
            on=on,
            narration="Brought forward from the paper books",
            lines=lines,
            by=self.treasurer,
            origin=JournalOrigin.OPENING,
        )
        entry = [
            debit(Role.BANK, as_amount("412.60"), fund=FundRole.ENTRY),
            debit(Role.ENTRY_REFUNDS, as_amount("1180.00"), fund=FundRole.ENTRY),
            credit(Role.CONTAINERS, as_amount("1592.60"), fund=FundRole.ENTRY),
        ]
        ledger.record_journal(
            on=on,
            narration="Entry fund from the paper books",
            lines=entry,
            by=self.treasurer,
            origin=JournalOrigin.OPENING,
        )
        year = FinancialYear.objects.get(first_day=self.year_before)
        ledger.close_year(year=year, by=self.treasurer, on=self.last_year)
        yearend.add_equipment(
            name="Ten training bows and the range's butts", bought_on=membership.months_later(self.year_before, -24),
            cost=as_amount(6400), years=10, brought_in=as_amount(1920), fund=Fund.objects.get(pk=FundRole.GENERAL),
            by=self.treasurer,
        )  # fmt: skip

    def schedule_of_fees(self) -> None:
        state = Party.objects.create(name="State archery association", kind=PartyKind.ASSOCIATION)
        national = Party.objects.create(name="National archery body", kind=PartyKind.ASSOCIATION)
        department = Party.objects.create(name="Department for Sport", kind=PartyKind.DEPARTMENT)
        self.associations = [state, national]
        account = ledger_questions.account
        payable = account(Role.AFFILIATION_PAYABLE)
        prices = {}
        for code, name, kind, role, amount in (
            ("junior-membership", "Junior membership", FeeKind.MEMBERSHIP, Role.MEMBERSHIPS, 228),
            ("adult-membership", "Adult membership", FeeKind.MEMBERSHIP, Role.MEMBERSHIPS, 296),
            ("beginner-course", "Beginner course", FeeKind.COURSE, Role.COURSES, 126),
            ("beginner-course-adult", "Beginner course, adult", FeeKind.COURSE, Role.COURSES, 148),
            ("gear-hire", "Gear hire, member", FeeKind.HIRE, Role.HIRE, 7),
            ("visitor", "Visitor with gear", FeeKind.VISITOR, Role.VISITORS, 15),
            ("parent-beside", "Parent beside a child", FeeKind.BESIDE, Role.HIRE, 7),
        ):
            item = FeeItem.objects.create(code=code, name=name, kind=kind, income_account=account(role))
            prices[code] = FeePrice.objects.create(item=item, valid_from=self.year_before, amount=as_amount(amount))
        for code, party, share in (
            ("junior-membership", state, 71),
            ("junior-membership", national, 45),
            ("adult-membership", state, 92),
            ("adult-membership", national, 58),
        ):
            FeeShare.objects.create(price=prices[code], account=payable, party=party, amount=as_amount(share))
        FeeShare.objects.create(price=prices["visitor"], account=account(Role.HIRE), amount=as_amount(7))
        self.plan = Plan.objects.create(
            name="Junior",
            fee_item=prices["junior-membership"].item,
            oldest=17,
            sibling_percent=10,
            refund=Refund.MONTHS,
        )
        self.adult_plan = Plan.objects.create(
            name="Adult", fee_item=prices["adult-membership"].item, youngest=18, refund=Refund.MONTHS
        )
        FamilyCap.objects.create(valid_from=self.year_before, amount=as_amount(640))
        self.course = Course.objects.create(
            name="Beginner course",
            fee_item=prices["beginner-course"].item,
            adult_fee_item=prices["beginner-course-adult"].item,
            minimum_age=10,
            offer_days=7,
            sessions_to_complete=3,
            pay_days=28,
            reminder_days=7,
        )
        for days, percent in ((28, 100), (7, 50)):
            RefundStep.objects.create(course=self.course, days_before=days, percent=percent)
        self.scheme = VoucherScheme.objects.create(name="State sport voucher", department=department)
        for offset, worth in ((0, 100), (1, 150), (2, 150)):
            year = self.last_year.year + offset
            VoucherValue.objects.create(scheme=self.scheme, calendar_year=year, amount=as_amount(worth))

    def people(self) -> None:
        """Families with one to three children; about half of them are in the club already."""
        for index in range(178):
            family = self.fake.unique.last_name()
            household = roll.add_household(
                name=f"{family} family",
                guardian=f"{self.fake.first_name()} {family}",
                email=f"{family.lower().replace(' ', '').replace(chr(39), '')}{index}@example.org",
                phone=f"08 7010 {index:04d}",
            )
            children = []
            for _ in range(self.chance.choice((1, 1, 1, 2, 2, 3))):
                age = self.chance.randint(10, 15)
                child = roll.add_person(
                    household=household,
                    given_name=self.fake.first_name(),
                    family_name=family,
                    birth_date=self.last_year - timedelta(days=365 * age + self.chance.randint(20, 340)),
                )
                children.append(child)
            if index < 42:
                self.juniors.extend(children)
            else:
                self.newcomers.append(children)
        self.juniors[0].household.users.add(self.approver)
        self.chance.shuffle(self.newcomers)

    # What happens in a year

    def plan_year(self, start: date) -> None:
        for index, junior in enumerate(list(self.juniors)):
            self.at(start + timedelta(days=2 + index % 24), lambda day, who=junior: self.join(who, day))
        for week, name in ((4, "Term 3"), (14, "Term 4"), (31, "Term 1"), (43, "Term 2")):
            self.plan_cohort(_next_sunday(start + timedelta(weeks=week)), name)
        for week in range(52):
            for _ in range(self.chance.choice((0, 1, 1, 2, 1, 2))):
                self.at(start + timedelta(weeks=week, days=self.chance.randint(1, 6)), self.family_asks)
        for week in range(52):
            saturday = _next_saturday(start + timedelta(weeks=week))
            if not ((saturday.month, saturday.day) >= (12, 20) or (saturday.month, saturday.day) <= (1, 9)):
                self.at(saturday, self.saturday)
        for month in range(12):
            first = membership.months_later(start, month)
            self.at(first + timedelta(days=8), self.cash_in_containers)
            self.at(first + timedelta(days=11), self.settle_cards)
            self.at(first + timedelta(days=16), self.pay_bills)
            self.at(first + timedelta(days=25), self.settle_cards)
            self.at(first + timedelta(days=20), self.make_payments)
            self.at(first + timedelta(days=26), self.bank_interest)
        for days in (24, 96, 171, 250):
            self.at(start + timedelta(days=days), self.volunteer_spends)
        for months, weeks in ((2, 3), (8, 3)):
            lodged = membership.months_later(start, months) + timedelta(days=14)
            self.at(lodged, self.lodge_vouchers)
            self.at(lodged + timedelta(weeks=weeks), self.department_answers)
        for months in (3, 6, 9, 11):
            self.at(membership.months_later(start, months) + timedelta(days=19), self.remit_affiliation)
        self.plan_events(start)
        self.at(start + timedelta(days=40), self.pay_twice)
        self.at(start + timedelta(days=55), self.guardian_joins)
        self.at(start + timedelta(days=130), self.one_leaves)
        for month in range(11):
            ended = ledger_questions.month_end(membership.months_later(start, month))
            self.at(
                ended + timedelta(days=45), lambda day, end=ended: ledger.lock_month(month_end=end, by=self.treasurer)
            )
        over = membership.months_later(start, 12) + timedelta(days=50)
        self.at(over - timedelta(days=30), lambda day, first=start: self.adjust(first, day))
        self.at(start + timedelta(days=3), self.plan_the_money)
        self.at(over, lambda day, first=start: self.close(first, day))

    def lock(self, month_end: date) -> None:
        ledger.lock_month(month_end=month_end, by=self.treasurer)

    def close(self, start: date, day: date) -> None:
        """The year's end: what nobody decided is decided, the bank is signed off, and the checklist is done."""
        year = FinancialYear.objects.get(first_day=start)
        for claim in EntryClaim.objects.filter(claimed_on__lte=year.last_day, state="recorded"):
            self.decide_by_another(claim, day)
        self.lodge_vouchers(day)
        self.at(day + timedelta(weeks=3), self.department_answers)
        self.tell_by_the_bank(start, year.last_day, cleared_before=day)
        for month in (2, 5, 8, 11):
            self.sign_off(ledger_questions.month_end(membership.months_later(start, month)), day)
        yearend.close_books(year=year, by=self.treasurer, on=day)

    def decide_by_another(self, claim: EntryClaim, day: date) -> None:
        """A claim of the approver's own household is for the treasurer to decide."""
        try:
            entryfund.approve_claim(claim=claim, by=self.treasurer, on=day)
        except Refused as refusal:
            entryfund.decline_claim(claim=claim, reason=refusal.sentence[:150], by=self.treasurer, on=day)

    def adjust(self, start: date, day: date) -> None:
        """What belongs to the year that ends though its bills say otherwise."""
        last = membership.months_later(start, 12) - timedelta(days=1)
        accounts = {account.code: account for account in Account.objects.all()}
        undone = {"fund": Fund.objects.get(pk=FundRole.GENERAL), "on": last, "reverse_on": last + timedelta(days=1),
                  "by": self.treasurer}  # fmt: skip
        yearend.accrue(
            expense=accounts["5050"],
            amount=as_amount("185.00"),
            narration="Mower serviced in June, bill to come",
            **undone,
        )
        yearend.prepay(
            expense=accounts["5070"], amount=as_amount("620.00"), narration="Insurance of July and August", **undone
        )
        yearend.count_stock(
            counted=as_amount("240.00"), materials=accounts["5020"], fund=undone["fund"], on=last,
            narration="Finger tabs and strings in the store", by=self.treasurer,
        )  # fmt: skip
        yearend.depreciate(until=last, by=self.treasurer)

    def plan_the_money(self, day: date) -> None:
        """The committee's budget of the year that begins: a little above what the last one was."""
        year = FinancialYear.objects.get(first_day=day.replace(day=1))
        yearend.copy_budget(year=year, percent=Decimal(104), by=self.treasurer)
        if year.first_day == self.last_year:  # of the year before only the sums are known
            for account, planned in planned_by_account(year):
                months = spread(planned, months_of(year))
                yearend.set_budget(year=year, account=account, months=months, by=self.treasurer)

    def sign_off(self, month_end: date, day: date) -> None:
        account = BankAccount.objects.get()
        bank.sign_off_month(
            bank_account=account, until=month_end, statement_balance=book_balance(account, month_end), on=day,
            by=self.treasurer,
        )  # fmt: skip

    def join(self, who: Person, day: date) -> None:
        """A junior takes out a year's membership; most families pay within weeks, many with a voucher."""
        if is_member(who, day):
            return
        taken = membership.take_out_membership(person=who, plan=self.plan, starts_on=day, on=day, by=self.coordinator)
        if self.chance.random() < 0.62:
            self.at(day + timedelta(days=1), lambda later, charge=taken.charge: self.voucher(charge, later))
        if self.chance.random() < 0.93:
            self.pays(who.household, day)

    def guardian_joins(self, day: date) -> None:
        """A guardian becomes a member beside the children."""
        household = self.juniors[3].household
        guardian = household.guardians.get()
        given, _, family = guardian.name.partition(" ")
        adult = household.people.filter(given_name=given).first() or roll.add_person(
            household=household, given_name=given, family_name=family, birth_date=day - timedelta(days=365 * 41)
        )
        membership.take_out_membership(person=adult, plan=self.adult_plan, starts_on=day, on=day, by=self.coordinator)
        self.pays(household, day)

    def one_leaves(self, day: date) -> None:
        """A member moves away; the club's part of the months left is credited and paid back."""
        leaver = self.juniors.pop(9)
        standing = membership_on(leaver, day)
        if standing:
            membership.end_membership(membership=standing, on=day, reason="moving away", by=self.coordinator)
            self.at(day + timedelta(days=12), lambda later: self.repay(leaver.household, later))

    def voucher(self, charge: object, day: date) -> None:
        code = f"SV{self.chance.randint(10**7, 10**8 - 1)}"
        try:
            fees.accept_voucher(scheme=self.scheme, charge=charge, code=code, on=day, by=self.coordinator)
        except Refused:
            return  # the child used this calendar year's voucher before

    def pays(self, household: Household, day: date) -> None:
        """The household pays what it then owes, in some days and by some means."""

        def pay(later: date) -> None:
            owed = fee_questions.balance(household)
            if owed > nil():
                method = self.chance.choices((Method.TRANSFER, Method.CARD, Method.CASH), (6, 2, 1))[0]
                fees.record_receipt(
                    household=household, amount=owed, method=method, on=later, by=self.coordinator, reference="fees"
                )

        self.at(day + timedelta(days=self.chance.randint(3, 30)), pay)

    def pay_twice(self, day: date) -> None:
        """One family pays twice and stays in credit."""
        fees.record_receipt(
            household=self.juniors[5].household,
            amount=as_amount(128),
            method=Method.TRANSFER,
            on=day,
            by=self.coordinator,
            reference="paid again by mistake",
        )

    def plan_cohort(self, first: date, name: str) -> None:
        """A cohort, set up most of a year ahead, and what happens in it."""
        self.at(
            max(first - timedelta(days=265), self.last_year), lambda day: self.set_up(first, f"{name} {first.year}")
        )
        cohort = lambda: Cohort.objects.get(course=self.course, first_session=first)  # noqa: E731
        self.at(first - timedelta(days=45), lambda day: self.transfer_one(cohort(), day))
        self.at(first - timedelta(days=20), lambda day: self.withdraw_one(cohort(), day))
        for week in range(4):
            self.at(first + timedelta(weeks=week), lambda day: self.session(cohort(), day))
        self.at(first + timedelta(weeks=3, days=1), lambda day: self.certify(cohort(), day))
        self.at(first + timedelta(weeks=4), lambda day: self.graduates_join(cohort(), day))

    def set_up(self, first: date, name: str) -> None:
        cohort = Cohort(
            course=self.course, name=name, first_session=first, last_session=first + timedelta(weeks=3), capacity=14
        )
        courses.save_cohort(cohort=cohort, on=clock.today(), by=self.coordinator)

    def family_asks(self, day: date) -> None:
        """A family asks for the course; a guardian may come along; some cannot make the next cohort."""
        if not self.newcomers:
            return
        party = self.newcomers.pop()
        household = party[0].household
        if self.chance.random() < 0.15:
            guardian = household.guardians.get()
            given, _, family = guardian.name.partition(" ")
            born = day - timedelta(days=365 * self.chance.randint(33, 51))
            party.append(roll.add_person(household=household, given_name=given, family_name=family, birth_date=born))
        to_come = list(Cohort.objects.filter(course=self.course, first_session__gte=day).order_by("first_session"))
        cohorts = to_come[1:] if len(to_come) > 1 and self.chance.random() < 0.2 else None
        booking = courses.book_party(course=self.course, people=party, cohorts=cohorts, by=self.coordinator, on=day)
        if booking.state == PlaceState.HELD and self.chance.random() < 0.96:
            self.pays(household, day)

    def answer_offers(self, day: date) -> None:
        """Most families answer an offer within its days, some of them no."""
        for booking in Booking.objects.filter(state=PlaceState.OFFERED).order_by("pk"):
            answer = self.chance.random()
            if answer < 0.2:
                courses.accept_offer(booking=booking, on=day, by=courses.family_user())
                self.pays(booking.household, day)
            elif answer < 0.23:
                courses.withdraw(booking=booking, on=day, reason="the dates do not suit", by=courses.family_user())

    def transfer_one(self, cohort: Cohort, day: date) -> None:
        """One party asks for the cohort after, where that has room."""
        place = cohort.places.filter(state=PlaceState.HELD, booking__seats=1).last()
        later = Cohort.objects.filter(course=self.course, first_session__gt=cohort.first_session)
        target = later.order_by("first_session").first()
        if place and target:
            with suppress(Refused):  # no seat is left there
                courses.transfer(
                    booking=place.booking, cohort=target, on=day, reason="school camp", by=self.coordinator
                )

    def withdraw_one(self, cohort: Cohort, day: date) -> None:
        place = cohort.places.filter(state=PlaceState.HELD).first()
        if place:
            courses.withdraw_place(place=place, on=day, reason="moving away", by=self.coordinator)
            self.at(day + timedelta(days=9), lambda later: self.repay(place.person.household, later))

    def session(self, cohort: Cohort, day: date) -> None:
        present = [place for place in cohort.places.filter(state=PlaceState.HELD) if self.chance.random() < 0.88]
        courses.record_attendance(cohort=cohort, session=day, present=present, by=self.coordinator)

    def certify(self, cohort: Cohort, day: date) -> None:
        courses.issue_certificates(cohort=cohort, by=self.coordinator)

    def repay(self, household: Household, day: date) -> None:
        """The family asks for its credit; it goes into the next payment run."""
        if fee_questions.unused_credit(household) > nil():
            self.to_repay.append(household)

    def graduates_join(self, cohort: Cohort, day: date) -> None:
        for place in cohort.places.filter(state=PlaceState.HELD).select_related("person__household__party"):
            if place.person.age_on(day) < 18 and self.chance.random() < 0.75:
                self.juniors.append(place.person)
                self.join(place.person, day)

    def club_kit(self) -> None:
        """Numbered kit, the safety rules for visitors, and what gear of one's own costs about."""
        SafetyText.objects.create(in_force_from=self.year_before, text=SAFETY_RULES)
        OwnGearCost.objects.create(since=self.year_before, amount=as_amount(210))
        for kind, prefix, how_many, words, check_after in (
            (KitKind.BOW, "B", 16, "66 inch, 18 pounds, right hand", 30),
            (KitKind.BOW, "L", 3, "66 inch, 18 pounds, left hand", 30),
            (KitKind.ARM_GUARD, "G", 8, "", None),
            (KitKind.TAB, "T", 8, "", None),
        ):
            for number in range(1, how_many + 1):
                Kit.objects.create(
                    number=f"{prefix}{number:02d}", kind=kind, description=words, check_after=check_after
                )

    def lend_bows(self, signed: list[SignOn], day: date) -> None:
        """Some of who hires takes a numbered bow; one comes back with a crack, one does not come back at all."""
        bows = list(Kit.objects.filter(kind=KitKind.BOW, state=KitState.USABLE, number__startswith="B"))
        bows = [bow for bow in bows if not bow.loans.filter(back_at=None).exists()]
        turn = day.toordinal() % len(bows)
        bows = bows[turn:] + bows[:turn]
        morning = clock.start_of(day) + timedelta(hours=9)
        for sign_on, bow in zip([row for row in signed if row.gear == Gear.HIRE][:6], bows, strict=False):
            rangeday.give_out(kit=bow, sign_on=sign_on, at=morning, by=self.helper)
            if not (day.month == 11 and day.day <= 7 and bow == bows[0]):
                rangeday.take_back_kit(kit=bow, at=morning + timedelta(hours=2), by=self.helper)
        if day.month == 9 and 8 <= day.day <= 14:
            note = "a crack in the upper limb"
            rangeday.check_kit(kit=bows[0], state=KitState.SET_ASIDE, on=day, note=note, by=self.helper)
        if day.month == 2 and day.day <= 7:
            for bow in Kit.objects.filter(state=KitState.SET_ASIDE):
                rangeday.check_kit(
                    kit=bow, state=KitState.USABLE, on=day, note="new limb", checked_by="the coach", by=self.coordinator
                )

    def saturday(self, day: date) -> None:
        """A range day from the first sign-on to the counted tin."""
        range_day, _ = RangeDay.objects.get_or_create(date=day, place="River range")
        signed = self.sign_everyone_on(range_day, day)
        if day.month == 10 and 8 <= day.day <= 14:
            later, _ = RangeDay.objects.get_or_create(date=day + timedelta(days=7), place="River range")
            rangeday.call_off_day(range_day=range_day, reason="lightning", on=day, by=self.coordinator, move_to=later)
            return
        self.lend_bows(signed, day)
        self.count_the_tin(range_day, day)

    def sign_everyone_on(self, range_day: RangeDay, day: date) -> list[SignOn]:
        there = set(range_day.sign_ons.values_list("person", flat=True))
        signed = []
        present = self.chance.sample(self.juniors, k=min(len(self.juniors), self.chance.randint(26, 38)))
        keen = self.juniors[0]
        present += [keen] if keen not in present else []
        for who in present:
            if who.pk in there:
                continue
            member = is_member(who, day)
            gear = Gear.OWN if member and who != keen and self.chance.random() < 0.45 else Gear.HIRE
            means = (Paid.CASH, Paid.CARD, Paid.ACCOUNT) if member else (Paid.CASH, Paid.CARD)
            paid = Paid.NOTHING if gear == Gear.OWN else self.chance.choices(means, (5, 4, 1)[: len(means)])[0]
            signed.append(rangeday.sign_on(range_day=range_day, person=who, gear=gear, paid=paid, by=self.helper))
        for _ in range(self.chance.randint(0, 4)):
            paid = self.chance.choice((Paid.CASH, Paid.CARD))
            visitor = rangeday.sign_on(
                range_day=range_day, visitor_name=self.fake.name(), gear=Gear.VISITOR, paid=paid,
                safety=safety_text(day), by=self.helper,
            )  # fmt: skip
            signed.append(visitor)
        return signed

    def count_the_tin(self, range_day: RangeDay, day: date) -> None:
        """Counted by two; short by a note once, and once opened again since a coin had rolled under the table."""
        expected = as_amount(ledger_questions.balance(Role.TILL, day))
        tin = tin_of(range_day)
        short = as_amount(5) if day.month == 9 and day.day <= 7 else nil()

        def count(counted: Money, reason: str) -> None:
            rangeday.close_day(
                range_day=range_day,
                pieces=in_pieces(counted),
                card_slip=tin.card + tin.card_receipts,
                second_counter=self.helper,
                by=self.coordinator,
                on=day,
                reason=reason,
            )

        if day.month == 8 and day.day <= 7:
            count(expected - as_amount(2), "two dollars less, to be looked for")
            rangeday.reopen_day(range_day=range_day, reason="a coin lay under the table", on=day, by=self.coordinator)
        count(expected - short, "a five-dollar note less than expected, not found" if short > nil() else "")
        if day.day % 3 == 0 and expected - short > FLOAT * 2:
            tomorrow = day + timedelta(days=2)
            self.at(tomorrow, self.bank_takings)

    def bank_takings(self, day: date) -> None:
        held = as_amount(ledger_questions.balance(Role.TILL, day))
        if held > FLOAT:
            rangeday.bank_takings(amount=held - FLOAT, on=day, by=self.coordinator)

    def settle_cards(self, day: date) -> None:
        takings = card_takings_waiting()
        if takings > nil():
            fee = as_amount(half_up(takings.amount * Decimal("0.016")))
            bank.settle_cards(takings=takings, fee=fee, on=day, by=self.treasurer)

    def cash_in_containers(self, day: date) -> None:
        entryfund.count_bags(bags=self.chance.randint(1, 6), containers=900, on=day, by=self.coordinator)
        containers = self.chance.randint(1250, 2900)
        paid_into = PaidInto.TILL if day.month == 2 else PaidInto.BANK
        amount = as_amount(containers - self.chance.choice((0, 0, 0, 3, 12))) / 10
        entryfund.cash_in(
            containers=containers,
            amount=amount,
            paid_into=paid_into,
            on=day,
            by=self.coordinator,
            depot_receipt=(number := f"D{self.chance.randint(10000, 99999)}"),
            evidence=examine(_receipt_photo(f"{number}\n{containers} containers\n{amount.amount}")),
        )

    def pay_bills(self, day: date) -> None:
        bills = {
            8: [("5020", "Course bows' strings and finger tabs", "1412.35"), ("5070", "Insurance", "4960.00")],
            10: [("5040", "Target faces and butts", "2688.90"), ("5020", "Training bows", "1890.00")],
            12: [("5030", "Medals for the end of season shoot", "936.20")],
            2: [("5020", "Beginner arrows", "1524.00"), ("5050", "Repair of the target shed roof", "2275.00")],
            4: [("5040", "Straw butts", "2742.60")],
            6: [("5030", "Perpetual trophy engraved", "88.00")],
        }
        accounts = {account.code: account for account in Account.objects.all()}
        for code, narration, text in bills.get(day.month, []):
            lines = [debit(accounts[code], as_amount(text)), credit(Role.BANK, as_amount(text))]
            ledger.record_journal(on=day, narration=narration, lines=lines, by=self.treasurer)

    def bank_interest(self, day: date) -> None:
        interest = as_amount(half_up(ledger_questions.balance(Role.BANK, day) * Decimal("0.0004")))
        if interest > nil():
            lines = [debit(Role.BANK, interest), credit(Role.INTEREST, interest)]
            ledger.record_journal(on=day, narration="Bank interest", lines=lines, by=self.treasurer)

    def lodge_vouchers(self, day: date) -> None:
        if Voucher.objects.filter(state="accepted").exists():
            fees.lodge_vouchers(scheme=self.scheme, on=day, by=self.coordinator)

    def department_answers(self, day: date) -> None:
        """The department refuses one voucher of the batch and pays the others in one sum."""
        lodgement = Lodgement.objects.filter(paid_on=None).first()
        if lodgement:
            voucher = lodgement.vouchers.order_by("pk").first()
            reason = "the voucher was used at another club"
            fees.refuse_voucher(voucher=voucher, on=day, reason=reason, by=self.treasurer)
            fees.record_lodgement_paid(lodgement=lodgement, on=day, by=self.treasurer)

    def remit_affiliation(self, day: date) -> None:
        for association in self.associations:
            if affiliation_owed(association) > nil():
                membership.remit_affiliation(association=association, through=day, on=day, by=self.treasurer)

    def plan_events(self, start: date) -> None:
        for months, name, discipline, fee in (
            (1, "State indoor championship", Discipline.INDOOR, 45),
            (3, "State clout championship", Discipline.CLOUT, 50),
            (6, "State target championship", Discipline.TARGET, 80),
            (9, "State field championship", Discipline.FIELD, 65),
        ):
            held = _next_saturday(membership.months_later(start, months) + timedelta(days=12))
            event = StateEvent.objects.create(
                name=name,
                discipline=discipline,
                held_on=held,
                entries_close=held - timedelta(days=21),
                fee=as_amount(fee),
                oldest_class="Under 18",
            )
            self.at(held + timedelta(days=9), lambda day, event=event: self.claims(event, day))

    def claims(self, event: StateEvent, day: date) -> None:
        """Some who shot claim their fee back; one claim each time is declined, the approver's own child waits."""
        members = [who for who in self.juniors if is_member(who, event.held_on)]
        shot = [*self.chance.sample(members, k=min(7, len(members)))]
        own = self.juniors[0]
        if own in members and own not in shot and event.discipline == Discipline.TARGET:
            shot.append(own)
        for index, who in enumerate(shot):
            claim = entryfund.record_claim(
                person=who,
                event=event,
                amount=event.fee,
                evidence=examine(_receipt_photo(f"{event.name}\n{who}\nEntry fee {event.fee.amount}")),
                on=day,
                by=self.coordinator,
            )
            if who.household_id == own.household_id:
                continue
            later = day + timedelta(days=6 + index % 2)
            self.at(later, lambda then, claim=claim, first=index == 0: self.decide(claim, first, then))

    def decide(self, claim: EntryClaim, first: bool, day: date) -> None:
        if first:
            reason = "the receipt shows another child's name; please send the right one"
            entryfund.decline_claim(claim=claim, reason=reason, by=self.approver, on=day)
            return
        try:
            entryfund.approve_claim(claim=claim, by=self.approver, on=day)
        except Refused:
            return  # stays in the queue with its reasons

    # What goes out of the bank

    def volunteer_spends(self, day: date) -> None:
        """A family buys something for the club; the approver decides a few days later."""
        what, code, amount = self.chance.choice(
            [("Batteries for the timer", "5040", "38.90"), ("Sausages for the come-and-try day", "5040", "112.40"),
             ("Printing of the course leaflets", "5020", "64.00"), ("Hinges for the target shed", "5050", "27.35")]
        )  # fmt: skip
        expense = expenses.record_expense(
            household=self.juniors[3].household,
            what=what,
            amount=as_amount(amount),
            spent_on=day - timedelta(days=2),
            account=Account.objects.get(code=code),
            fund=Fund.objects.get(pk=FundRole.GENERAL),
            evidence=examine(_receipt_photo(f"{what}\n{day:%d %b %Y}\n{amount}")),
            by=self.coordinator,
        )
        self.at(
            day + timedelta(days=5),
            lambda then: expenses.approve_expense(expense=expense, on=then, by=self.approver),
        )

    def make_payments(self, day: date) -> None:
        """The treasurer makes a run of all that is approved, the coordinator releases it, the bank pays next day."""
        run = self.make_run(day)
        if run is None:
            return
        bank.release_run(run=run, on=day, by=self.coordinator)
        bank.make_file(run=run, by=self.treasurer)
        self.at(day + timedelta(days=1), lambda then: self.bank_pays(run, then))

    def make_run(self, day: date) -> PaymentRun | None:
        claims, spent = list(claims_to_pay()), list(expenses_to_pay())
        credits = {home for home in self.to_repay if home.pk in credits_to_repay()}
        self.to_repay.clear()
        homes = {claim.household for claim in claims} | {expense.household for expense in spent} | credits
        for household in sorted(homes, key=lambda home: home.pk):
            self.note_details(household, day, "form signed at the counter")
        if not (claims or spent or credits):
            return None
        return bank.make_run(
            bank_account=BankAccount.objects.get(),
            method=HowPaid.FILE,
            pay_on=day,
            on=day,
            by=self.treasurer,
            claims=claims,
            expenses=spent,
            credits=sorted(credits, key=lambda home: home.pk),
        )

    def note_details(self, household: Household, day: date, reason: str, anew: bool = False) -> None:
        if household.bank_details.exists() and not anew:
            return
        guardian = household.guardians.first()
        bank.set_bank_details(
            household=household,
            title=guardian.name if guardian else household.name,
            bsb=f"900-{self.chance.randint(100, 999)}",
            account_number=str(self.chance.randint(10**6, 10**9 - 1)),
            reason=reason,
            on=day,
            by=self.treasurer,
        )

    def bank_pays(self, run: PaymentRun, day: date) -> None:
        """All of the run; of the second one a payment comes back, and the family sends its new account."""
        bank.record_paid(run=run, items=list(run.items.all()), on=day, by=self.treasurer)
        if run.number == 2:
            item = run.items.filter(claim__isnull=False).first() or run.items.first()
            later = day + timedelta(days=3)
            self.at(later, lambda then: self.bank_returns(item, then))

    def bank_returns(self, item: PaymentItem, day: date) -> None:
        bank.record_returned(item=item, on=day, reason="account closed", by=self.treasurer)
        self.note_details(item.household, day, "new account, rang the family on its old number", anew=True)
        if item.is_credit:
            self.to_repay.append(item.household)

    def leave_payments(self, today: date) -> None:
        """An expense to decide, and a run that waits for its second person."""
        self.make_run(today)
        self.volunteer_spends(today)

    def leave_work(self) -> None:
        """What a visitor finds to do: claims to decide, a refund to pay, an offer open on a full cohort."""
        today = self.today
        held = StateEvent.objects.filter(held_on__lt=today, held_on__gte=self.last_year).first()
        if held:
            claimed = set(held.claims.values_list("person_id", flat=True))
            own = self.juniors[0].household_id
            fresh = [
                who
                for who in self.juniors
                if is_member(who, held.held_on) and who.pk not in claimed and who.household_id != own
            ]
            for index, who in enumerate(fresh[:4]):
                claim = entryfund.record_claim(
                    person=who,
                    event=held,
                    amount=held.fee,
                    evidence=examine(_receipt_photo(f"{held.name}\n{who}\nEntry fee {held.fee.amount}")),
                    on=today,
                    by=self.coordinator,
                )
                if index < 2:
                    entryfund.approve_claim(claim=claim, by=self.approver, on=today)
                if index == 0:
                    self.leave_payments(today)
        full = Cohort.objects.filter(first_session__gt=today, places__state=PlaceState.HELD).order_by("first_session")
        for cohort in full[:1]:
            self.withdraw_one(cohort, today)
        mail.deliver()

    def on_the_statement(self, posting: Posting) -> str:
        """The bank's words: who paid or is paid, else what the entry says."""
        party = Party.objects.filter(postings__entry=posting.entry_id, household__isnull=False).first()
        guardian = party.household.guardians.first() if party else None
        if guardian is None:
            return posting.entry.narration[:60].upper()
        given, _, family = guardian.name.rpartition(" ")
        return f"TFR {family} {given[:1]}".upper()

    def bank_statement(self) -> None:
        """The statement of the current year: its last weeks wait to be explained, one line for good."""
        account = BankAccount.objects.get()
        BankRule.objects.create(
            name="Account fee", contains="ACCOUNT FEE", way="out", most=as_amount(20), fund_id=FundRole.GENERAL,
            account=Account.objects.get(role=Role.BANK_FEES),
        )  # fmt: skip
        self.tell_by_the_bank(self.this_year, self.today, cleared_before=self.today - timedelta(days=21))
        signed = ledger_questions.month_end(self.this_year)
        if self.today > ledger_questions.month_end(signed + timedelta(days=31)):
            self.sign_off(signed, self.today)
        bank.record_statement_line(
            bank_account=account,
            on=max(self.today - timedelta(days=3), self.this_year),
            amount=as_amount("-8.00"),
            text="ACCOUNT FEE NOV",
            by=self.treasurer,
        )
        bank.record_statement_line(
            bank_account=account,
            on=max(self.today - timedelta(days=6), self.this_year),
            amount=as_amount("-37.40"),
            text="DIRECT DEBIT 0098213",
            by=self.treasurer,
        )

    def tell_by_the_bank(self, first: date, last: date, cleared_before: date) -> None:
        """The lines of the bank's statement for these days; those before a day are explained already."""
        account = BankAccount.objects.get()
        postings = Posting.objects.filter(account=account.account, entry__date__range=(first, last))
        paid = {
            (document._meta.label_lower, document.pk): item.run
            for item in PaymentItem.objects.filter(state="paid").select_related("run", "claim", "expense", "repayment")
            if (document := item.document)
        }
        told: dict[object, list[Posting]] = defaultdict(list)
        for posting in postings.select_related("entry").order_by("entry__date", "pk"):
            entry = posting.entry
            run = paid.get((entry.source_type, entry.source_id))
            told[(run.number, entry.date) if run else posting].append(posting)
        for what, group in told.items():
            line = bank.record_statement_line(
                bank_account=account,
                on=group[0].entry.date,
                amount=total(posting.amount for posting in group),
                text=f"DIRECT ENTRY RUN {what[0]}" if isinstance(what, tuple) else self.on_the_statement(group[0]),
                by=self.treasurer,
            )
            if group[0].entry.date < cleared_before:
                bank.clear(lines=[line], postings=group, reasons="seen on the statement", by=self.treasurer)


def planned_by_account(year: FinancialYear) -> list[tuple[Account, Money]]:
    planned = budget_of(year.first_day, year.last_day)
    return [(each, as_amount(planned[each.pk])) for each in Account.objects.filter(pk__in=planned)]


def _next_saturday(day: date) -> date:
    return day + timedelta(days=(5 - day.weekday()) % 7)


def _next_sunday(day: date) -> date:
    return day + timedelta(days=(6 - day.weekday()) % 7)


def _receipt_photo(text: str) -> io.BytesIO:
    image = Image.new("L", (420, 220), 250)
    ImageDraw.Draw(image).multiline_text((24, 40), f"RECEIPT\n\n{text}\n\nPaid with thanks", fill=20, spacing=8)
    file = io.BytesIO()
    image.save(file, "PNG")
    file.seek(0)
    return file


def build(*, today: date, say: Callable[[str], None] = lambda text: None) -> Demo:
    """Put a fresh demo book into the database in place of an earlier demo. Raises Refused for any other book."""
    refuse_a_real_book()
    empty()
    demo = Demo(today=today, say=say)
    with override_settings(EMAIL_BACKEND=NOWHERE, MAIL_GOES_OUT_BY_ITSELF=False):
        demo.build()
        with transaction.atomic(), clock.on(today):
            demo.leave_work()
            demo.bank_statement()
    return demo
