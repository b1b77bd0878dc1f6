"""Whoever takes rows takes them in one order, so that two never wait for each other: asked of every verb that runs."""

import re
import uuid
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from unittest import mock

import pytest
from django.contrib.auth.models import User
from django.db import transaction

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.care import services as care
from clubdesk.care.selectors import Contact
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking
from clubdesk.courses.services.parents import Named, PartyForm
from clubdesk.desk.erasing import erase_person
from clubdesk.desk.services import nightly
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import selectors
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Holds, Method, Voucher
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, Fund, Party, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import account, entries_of
from clubdesk.ledger.services import days
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Kit, Paid, RangeDay
from clubdesk.roll import services as roll
from clubdesk.safety import services as safety
from clubdesk.safety.models import DayRules
from clubdesk.verbs import VERBS
from clubdesk.yearend import services as yearend
from tests import factories
from tests.house.moving import MOVES, member
from tests.locks import ORDER, in_order
from tests.membership.test_bringing_in import FAMILIES
from tests.worlds import one_of_each, season
from tests.yearend.books import NEXT, bought, expense, ready

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
START, NOW = date(2026, 7, 6), date(2026, 9, 12)
TEN = as_amount(10)
DEVELOPERS = Path(__file__).parent.parent.parent / "DEVELOPERS.md"


def a_season(by, other):
    season.grow(4)
    one_of_each.grow()


def families(by, other):
    """What moves a family's account, also of a child for whom two families pay."""
    scheme = factories.scheme()
    price, another = factories.price(), factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)
    first, second = factories.HouseholdFactory(), factories.HouseholdFactory()
    day = {"on": NOW, "by": by}

    def owed(home, child, of=price, starts_on=NOW):
        return fees.charge(household=home, person=child, price=of, starts_on=starts_on, **day)

    def accepted(charge, code):
        return fees.accept_voucher(scheme=scheme, charge=charge, code=code, **day)

    children = [factories.PersonFactory(household=home) for home in (second, first, second, first)]
    charges = [owed(home, child) for home, child in zip((first, second, second, first), children, strict=True)]
    vouchers = [accepted(charge, f"SV{number}") for number, charge in enumerate(charges)]
    fees.take_back(charge=charges[3], reason="ill", keep=TEN, **day)
    batch = fees.lodge_vouchers(scheme=scheme, **day)
    fees.note_reference(lodgement=batch, reference="DS 4471", by=day["by"])
    fees.refuse_voucher(voucher=vouchers[0], reason="used", **day)
    paid = {vouchers[1].pk: as_amount(90)}
    refused = dict.fromkeys(batch.vouchers.filter(state="lodged").values_list("pk", flat=True), "used")
    refused.pop(vouchers[1].pk)
    fees.answer_lodgement(lodgement=batch, paid=paid, refused=refused, **day)
    receipt = fees.record_receipt(household=second, amount=as_amount(300), method=Method.CASH, **day)
    fees.pay_with(receipt=receipt, charges=[owed(second, children[0], another)], **day)
    debt = fees.write_off(charge=owed(first, children[1], another), amount=TEN, reason="moved", **day)
    fees.take_up_again(write_off=debt, reason="paid", **day)
    again = fees.repay_credit(household=second, amount=TEN, **day)
    fees.take_repayment_back(repayment=again, reason="account closed", **day)
    fees.charge_again(charge=owed(first, children[3]), starts_on=NEXT, description="later", reason="flood", **day)
    fees.credit_charge(charge=charges[2], amount=TEN, reason="goodwill", **day)
    wrong = fees.record_receipt(household=first, amount=TEN, method=Method.CARD, **day)
    fees.cancel_receipt(receipt=wrong, reason="mistyped", **day)
    erase_person(person=factories.PersonFactory(), **day)
    accepted(owed(first, children[0]), "SV9")
    fees.record_lodgement_paid(lodgement=fees.lodge_vouchers(scheme=scheme, **day), **day)
    by_template(scheme, price, second, day)
    parts = [(NOW, selectors.balance(first))]
    fees.end_arrangement(arrangement=fees.agree_parts(household=first, parts=parts, **day), **day)
    fees.send_statements(**day)


def by_template(scheme, price, home, day):
    """A claim's file is made, its answer read from a file, and the voucher given back to the department."""
    for place, (heading, holds) in enumerate((("Code", Holds.KEY), ("Paid", Holds.PAID)), 1):
        scheme.claim_columns.create(place=place, heading=heading, holds=holds)
    child = factories.PersonFactory(household=home)
    charge = fees.charge(household=home, person=child, price=price, starts_on=NOW, **day)
    voucher = fees.accept_voucher(scheme=scheme, charge=charge, code="T1", **day)
    claim = fees.lodge_vouchers(scheme=scheme, **day)
    fees.make_claim_file(lodgement=claim, **day)
    fees.take_answer(lodgement=claim, content=b"Code,Paid\nT1,100.00\n", **day)
    fees.take_back(charge=charge, reason="left", **day)
    back = fees.give_back(voucher=voucher, invoice="INV 7", pay_to="012-003 4500123", reason="left", **day)
    fees.pay_give_back(back=back, **day)
    fees.take_give_back_back(back=back, **day)
    bank.undo_give_back(back=back, reason="their mistake", **day)


def parties(by, other):
    """Several families in one cohort that is moved, left, transferred and cancelled, and the nights between."""
    first, second = (factories.cohort(capacity=6, first=day) for day in (date(2026, 10, 4), date(2026, 11, 1)))
    course, scheme, day = first.course, factories.scheme(), {"on": NOW, "by": by}
    course.pay_days = 60
    course.save()
    homes = [factories.HouseholdFactory() for _ in range(3)]
    booked = []
    for home in (homes[2], homes[0], homes[1]):
        people = [factories.PersonFactory(household=home) for _ in range(2)]
        booked.append(courses.book_party(course=course, people=people, cohorts=[first], **day))
    courses.remind_by_phone(booking=booked[0], **day)
    courses.give_more_time(booking=booked[0], pay_by=NOW + timedelta(days=60), reason="asked", **day)
    for booking in booked:
        for place in booking.places.select_related("charge"):
            fees.accept_voucher(scheme=scheme, charge=place.charge, code=f"SV{place.pk}", **day)
    first.first_session += timedelta(days=1)
    courses.save_cohort(cohort=first, **day)
    nightly(on=first.first_session, by=by)
    courses.transfer(booking=booked[1], cohort=second, on=first.first_session, reason="ill", by=by)
    courses.withdraw(booking=booked[0], on=first.first_session, reason="ill", by=by)
    courses.book_by_phone(
        cohorts=[second], guardian="Ida", people=[courses.Named("Ada", "Quoll", date(2014, 1, 1))], **day
    )
    on_the_page(second, by)
    third = factories.Cohort.objects.create(
        course=course, name="Third", capacity=6, first_session=NEXT, last_session=NEXT
    )
    fees.lodge_vouchers(scheme=scheme, **day)
    courses.cancel_cohort(cohort=second, on=first.first_session, reason="flood", by=by)
    courses.accept_offer(booking=booked[1], on=first.first_session, by=by)
    courses.cancel_cohort(cohort=third, on=first.first_session, reason="flood", by=by)
    nightly(on=NEXT, by=by)
    assert Booking.objects.count() == 13


def on_the_page(cohort, by):
    """A family books twice, accepts what it is offered and withdraws; two that wait change places."""
    course, day = cohort.course, {"on": NOW, "by": by}
    for child in (Named("Ada", "Mirabar", date(2014, 3, 9)), Named("Bo", "Mirabar", date(2013, 3, 9))):
        form = PartyForm("Mira Mirabar", "mira@example.org", "", [child], [cohort], "I agree.")
        booked = courses.book_from_page(course=course, form=form, on=NOW, key=uuid.uuid4())
    courses.accept_by_family(booking=booked, on=NOW)
    courses.withdraw_by_family(booking=booked, on=NOW)
    full = factories.Cohort.objects.create(
        course=course, name="Full", capacity=1, first_session=NEXT, last_session=NEXT
    )
    waiting = [courses.book_place(person=factories.PersonFactory(), cohort=full, **day).booking for _ in range(3)]
    courses.move_in_queue(booking=waiting[2], before=waiting[1], reason="a sibling", **day)
    courses.change_cohorts(booking=waiting[2], cannot_make=[full], **day)
    courses.change_dates_by_family(booking=waiting[1], can_make=[full], on=NOW)
    for name in ("Odo", "Pia"):
        form = PartyForm(
            name,
            f"{name}@example.org",
            "",
            [Named(f"{name}{n}", name, date(2013, 3, 9)) for n in (1, 2)],
            [full],
            "Yes.",
        )
        booked = courses.book_from_page(course=course, form=form, on=NOW, key=uuid.uuid4())
        courses.book_apart_by_family(booking=booked, on=NOW)
    sibling = factories.PersonFactory(household=waiting[1].household, birth_date=date(2013, 3, 9))
    courses.add_to_group(booking=waiting[1], person=sibling, **day)
    courses.withdraw_place(place=waiting[0].places.get(), reason="ill", **day)
    courses.undo_withdrawal(place=waiting[0].places.get(), **day)


def came_back(by, other):
    """A child whose voucher waits since a cohort was cancelled comes in the place of a sibling."""
    day, scheme, home = {"on": NOW, "by": by}, factories.scheme(), factories.HouseholdFactory()
    first, second = (factories.cohort(first=month) for month in (date(2026, 10, 4), date(2026, 11, 1)))
    one, two = (factories.PersonFactory(household=home) for _ in range(2))
    place = courses.book_place(person=one, cohort=second, **day)
    gone = courses.book_place(person=two, cohort=first, **day)
    fees.accept_voucher(scheme=scheme, charge=gone.charge, code="SV1", **day)
    fees.lodge_vouchers(scheme=scheme, **day)
    courses.withdraw_place(place=gone, reason="ill", **day)
    courses.cancel_cohort(cohort=first, reason="flood", **day)
    courses.swap_person(place=place, person=two, reason="back", **day)
    assert Voucher.objects.get().charge.place.cohort == second


def at_the_range(by, other):
    """A day counted, reopened and called off, with families who paid in every way."""
    factories.hire()
    plan, later = factories.plan(), RangeDay.objects.create(date=NOW + timedelta(days=7), place="River range")
    [day] = rangeday.plan_days(first_day=NOW, last_day=NOW, every=7, place="River range", by=by).days
    rangeday.sign_on_as_visitor(range_day=day, name="Noor", key=uuid.uuid4(), safety=None, by=by)
    rangeday.set_hours(range_day=day, begins_at=None, ends_at=None, by=by)
    signed = []
    for paid in (Paid.ACCOUNT, Paid.CASH, Paid.CARD, Paid.ACCOUNT):
        child = member(plan, by).person
        signed.append(rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=paid, by=by))
    rangeday.correct_sign_on(wrong=signed[0], gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=NOW, by=by)
    rangeday.correct_sign_on(wrong=signed[1], gear=Gear.HIRE, paid=Paid.ACCOUNT, reason="later", on=NOW, by=by)
    rangeday.cancel_sign_on(sign_on=signed[3], on=NOW, reason="went home", by=by)
    mara = User.objects.create_superuser("mara")
    rangeday.hand_in_count(range_day=day, pieces={}, second_counter=by, on=NOW, by=mara)
    rangeday.confirm_count(range_day=day, by=by)
    rangeday.hear_of(range_day=day, key=uuid.uuid4(), unsent=0, by=by)
    rangeday.close_day(range_day=day, pieces={}, card_slip=as_amount(14), second_counter=other, by=by, on=NOW)
    rangeday.reopen_day(range_day=day, reason="a late visitor", on=NOW, by=by)
    bow = Kit.objects.create(number="B01", kind="bow")
    rangeday.give_out(kit=bow, sign_on=signed[2], at=clock.now(), by=by)
    rangeday.take_back_kit(kit=bow, at=clock.now(), by=by)
    rangeday.give_out(kit=bow, sign_on=signed[2], at=clock.now(), by=by)
    rangeday.call_off_day(range_day=day, reason="hail", on=NOW, by=by, move_to=later)
    rangeday.move_day(range_day=later, to=later.date + timedelta(days=1), reason="the hall is let", on=NOW, by=by)


def what_is_known(by, other):
    """Whom to ring, a health note and an agreement of a child who is looked up at the range and at a desk."""
    factories.hire()
    child, day = member(factories.plan(), by).person, factories.range_day()
    about = {"person": child, "by": by}
    care.name_contacts(ring=[Contact("Odo Quoll", "08 7010 0102")], collect=[], **about)
    care.note_health(allergy="bees", medication="", needs="", said_by="Ida", **about)
    care.agree(kind="photos", given=False, said_by="Ida", on=NOW, **about)
    rangeday.sign_on(range_day=day, person=child, gear=Gear.OWN, paid=Paid.NOTHING, by=by)
    rangeday.look_at_the_range(range_day=day, **about)
    care.look_at_family(household=child.household, by=by)
    care.forget_health(**about)
    with clock.on(date(2027, 9, 12)):
        nightly(on=date(2027, 9, 12), by=by)


def a_safe_day(by, other):
    """A roster, a swap, a day opened with a reason and one by who is on duty, a child who came alone, an incident."""
    factories.hire()
    DayRules.objects.create(since=NOW, people=1, children=2, arrivals=True)
    day, later = factories.range_day(), factories.range_day(NOW + timedelta(days=7))
    first, second = (factories.PersonFactory(birth_date=date(1980, 1, 1)) for _ in range(2))
    check = {"kind": "children", "number": "WW 1", "expires_on": NOW + timedelta(days=40), "on": NOW, "by": by}
    ended = safety.write_check(person=second, **check)
    safety.end_check(check=ended, reason="mistyped", on=NOW, by=by)
    safety.open_day(range_day=day, reason="parents watch the line", on=NOW, by=by)
    safety.write_check(person=first, **check)
    span = {"first_day": NOW, "last_day": later.date}
    turns = safety.plan_turns(**span, duty="helper", people=[first], each_day=1, by=by).turns
    safety.ask_for_swap(turn=turns[0], on=NOW, by=by)
    third = factories.PersonFactory(birth_date=date(1980, 1, 1))
    taken = safety.take_over(turn=turns[0], person=third, on=NOW, by=by)
    safety.take_off_duty(turn=taken, reason="ill", on=NOW, by=by)
    safety.put_on_duty(range_day=day, person=first, duty="line", by=by)
    child = member(factories.plan(), by).person
    with clock.on(later.date):
        rangeday.sign_on(range_day=later, person=child, gear=Gear.HIRE, paid=Paid.CASH, by=by)
        stay = safety.note_arrival(range_day=later, person=child, at=clock.now(), by=by)
        safety.note_leaving(stay=stay, collected_by="Odo", agreed_by="Ida", at=clock.now(), by=by)
        safety.note_weather(range_day=later, kind="wind", words="gusts", by=by)
        said = {"kind": "near_miss", "on": NOW, "place": "line", "what": "An arrow flew low"}
        hurt = safety.record_incident(child=child, helper=first, **said, by=by)
        safety.add_to_incident(incident=hurt, piece=Kit.objects.create(number="B01", kind="bow"), by=by)
        safety.note_incident(incident=hurt, words="The rest was bent", on=later.date, by=by)
        safety.note_guardian_told(incident=hurt, told_whom="Ida", on=later.date, by=by)
        nightly(on=later.date, by=by)
    assert later.openings.count() == 1


def merged(by, other):
    """Two families with a child each, who are one and then two again."""
    day, homes = {"on": NOW, "by": by}, [factories.HouseholdFactory() for _ in range(2)]
    one, two = (factories.PersonFactory(household=home) for home in homes)
    price = factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)
    owed = fees.charge(household=homes[1], person=two, price=price, starts_on=NOW, **day)
    fees.accept_voucher(scheme=factories.scheme(), charge=owed, code="SV1", **day)
    for home in homes:
        fees.record_receipt(household=home, amount=as_amount(40), method=Method.CARD, **day)
    moves = {"household": homes[0], "takes_over": True, **day}
    late = factories.cohort(first=date(2026, 11, 1))
    courses.move_person(person=courses.book_place(person=two, cohort=late, **day).person, **moves)
    roll.undo_merge(merge=roll.merge_people(person=one, other=two, **day), **day)
    roll.undo_merge(merge=roll.merge_families(household=homes[0], other=homes[1], **day), **day)


def memberships(by, other):
    ledger.open_year(first_day=NEXT, by=by)
    taken = member(factories.plan(shares=[(factories.association(), "71.00")]), by)
    dearer = factories.Plan.objects.create(name="Adult", fee_item=taken.plan.fee_item, months=12)
    changed = membership.change_plan(membership=taken, plan=dearer, on=NEXT, reason="older", by=by)
    membership.cancel_membership(membership=changed, on=NEXT, reason="not yet", by=by)
    membership.remit_affiliation(association=Party.objects.get(kind="association"), through=NOW, on=NOW, by=by)
    membership.end_membership(membership=member(dearer, by), on=NOW + timedelta(days=40), reason="left", by=by)
    membership.import_roll(content=FAMILIES.encode(), by=by)
    leaves = membership.ask_to_leave(household=taken.person.household, people=[taken.person], reason="", on=NOW, by=by)
    membership.answer_leaving(request=leaves[0], answer="Next year.", on=NOW, by=by)
    membership.renew_household(household=taken.person.household, on=date(2027, 8, 20), by=by)


def at_the_bank(by, other):
    """A line that is a receipt, a run with a credit, and whatever else comes by the statement."""
    asked = {
        "bank_account": BankAccount.objects.get(),
        "holder": "Reedbank",
        "bsb": "012-003",
        "reason": "new",
        "on": NOW,
    }
    for number, decide in (("45", bank.agree_to_account), ("46", bank.decline_account)):
        change = bank.ask_for_account(account_number=number, by=by, **asked)
        decide(change=change, on=NOW, by=other, **({"reason": "no"} if decide is bank.decline_account else {}))
    account, home = factories.direct_entry(), factories.HouseholdFactory()
    child = factories.PersonFactory(household=home)
    owed = fees.charge(household=home, person=child, price=factories.price(), on=NOW, starts_on=NOW, by=by)
    line = bank.record_statement_line(bank_account=account, on=NOW, amount=as_amount(166), text="QUOLL", by=by)
    cleared = bank.accept(lines=[line], answer=[f"charge {owed.pk}"], reasons="seen", how_sure="by_hand", by=by)
    bank.undo_clearing(clearing=cleared, on=NOW, reason="another", by=by)
    spent = factories.expense(by)
    expenses.approve_expense(expense=spent, on=NOW, by=other)
    run = bank.make_run(
        bank_account=account, method="single", pay_on=NOW, on=NOW, by=by, credits=[home], expenses=[spent]
    )
    bank.release_run(run=run, on=NOW, by=other)
    bank.record_paid(run=run, items=list(run.items.all()), on=NOW, by=by)
    for item in run.items.all():
        bank.record_returned(item=item, on=NOW, reason="account closed", by=by)
    found = entryfund.cash_in(containers=100, amount=TEN, paid_into=PaidInto.TILL, on=NOW, by=by)
    banked = rangeday.bank_takings(amount=TEN, on=NOW, by=by)
    rangeday.cancel_banking(banking=banked, reason="not yet", on=NOW, by=by)
    entryfund.cancel_return(container_return=found, on=NOW, reason="typed twice", by=by)
    what_somebody_says_of_lines(account, home, by)


def what_somebody_says_of_lines(account, home, by):
    """Each way that leads from a line, a payment that bounces, and what cancels itself."""

    def line(cents, words, at=account):
        return bank.record_statement_line(bank_account=at, on=NOW, amount=as_amount(cents), text=words, by=by)

    savings = Account.objects.create(code="1015", name="Savings", kind="asset", is_money=True)
    other = BankAccount.objects.create(name="Savings", account=savings)
    supplier = Party.objects.create(name="Acme", kind="supplier")
    bank.receive_line(line=line(30, "QUOLL"), household=home, by=by)
    general = Fund.objects.get(code="general")
    bank.pay_supplier(
        line=line(-40, "ACME"), party=supplier, account=expense("5050"), fund=general, narration="Hinges", by=by
    )
    sides = [debit(Role.BANK_FEES, as_amount(8)), credit(Role.BANK, as_amount(8))]
    bank.book_line(line=line(-8, "FEE"), narration="Fee", lines=sides, by=by)
    bank.transfer_line(line=line(-50, "TO SAVINGS"), account=savings, by=by)
    there, here = line(-5, "BACK", at=other), line(5, "FROM SAVINGS")
    bank.accept(lines=[here], answer=[f"transfer {there.pk}"], reasons="seen", how_sure="likely", by=by)
    bounced = home.receipts.latest("pk")
    bank.accept(
        lines=[line(-30, "RETURNED")], answer=[f"bounce {bounced.pk}"], reasons="seen", how_sure="likely", by=by
    )
    bank.match_correction(lines=[line(9, "WRONG"), line(-9, "REVERSAL")], by=by)
    pair = []
    for way in (1, -1):
        twice = [debit(Role.BANK, as_amount(way)), credit(Role.DONATIONS, as_amount(way))]
        journal = ledger.record_journal(on=NOW, narration="Raffle", lines=twice, by=by)
        pair.append(entries_of(journal).get().postings.get(account__role=Role.BANK))
    bank.match_entries(posting=pair[0], other=pair[1], reason="once only", by=by)


def the_year(by, other):
    general, prepaid = Fund.objects.get(code="general"), account(Role.PREPAYMENTS)
    lines = [debit(prepaid, TEN), credit(Role.ACCUMULATED, TEN)]
    ledger.record_opening(narration="Paper books", lines=lines, by=by)
    bought(by, 100)
    thing = {"name": "Bows", "bought_on": date(2026, 7, 1), "cost": as_amount(100), "years": 2, "fund": general}
    wrong = yearend.add_equipment(**thing, by=by)
    yearend.withdraw_equipment(equipment=wrong, on=NOW, reason="typed twice", by=by)
    bows = yearend.add_equipment(**thing, by=by)
    yearend.dispose(equipment=bows, on=NOW, reason="broken", by=by)
    journals_and_plans(by, general)
    ready(by)
    with clock.on(NEXT):
        yearend.close_books(year=FinancialYear.objects.earliest("first_day"), on=NEXT, by=by)
        ledger.open_year(first_day=NEXT, by=by)
        ledger.correct_earlier_year(
            year=FinancialYear.objects.earliest("first_day"), narration="Used up before", account=prepaid, amount=TEN,
            is_debit=False, fund=general, evidence=Evidence(b"bill", "application/pdf"), on=NEXT, by=by,
        )  # fmt: skip
    ledger.mend_books(by=by)
    signed = BankAccount.objects.get().reconciliations.latest("pk")
    bank.reopen_month(reconciliation=signed, on=NEXT, reason="a late line", by=by)


def journals_and_plans(by, general):
    """Journals that are undone, by hand and on their day, and a budget of last year's figures."""
    year, materials, day = FinancialYear.objects.get(), expense("5020"), {"on": date(2026, 8, 31), "by": by}
    bill = {"expense": materials, "fund": general, "amount": TEN, "reverse_on": NOW, "narration": "A bill", **day}
    yearend.accrue(**bill)
    yearend.prepay(**bill)
    yearend.count_stock(counted=TEN, materials=materials, fund=general, narration="Counted", **day)
    home = factories.HouseholdFactory()
    fees.charge(household=home, price=factories.price(), starts_on=date(2026, 8, 31), **day)
    allowed = yearend.provide(wanted=TEN, narration="Doubtful", **day)
    ledger.reverse_journal(journal=allowed, reason="paid after all", **day)
    fees.record_receipt(household=home, amount=as_amount(126), method=Method.TRANSFER, **day)
    lines = [debit(Role.DONATIONS, as_amount(126)), credit(Role.BANK, as_amount(126))]
    ledger.record_journal(narration="Given on", lines=lines, **day)
    yearend.set_budget(year=year, account=materials, months={date(2026, 7, 1): TEN}, by=by)


WALK = (
    a_season,
    families,
    parties,
    came_back,
    at_the_range,
    what_is_known,
    a_safe_day,
    merged,
    memberships,
    at_the_bank,
    the_year,
    *dict.fromkeys(MOVES.values()),
)
NOT_WALKED = {
    "courses.remind_by_letter", "desk.end_sessions", "desk.forget_second_step", "desk.invite", "desk.invite_again",
    "desk.let_in_again", "desk.start_books", "desk.start_books_with_administrator", "fees.begin_fees",
    "fees.send_new_link", "fees.send_statement", "ledger.import_chart", "ledger.import_journal", "ledger.start_book",
    "mail.put_back", "mail.send_again", "mail.send_test_letter", "membership.begin_plans", "membership.keep_columns",
    "news.send_sample", "roll.end_links", "roll.end_news", "roll.take_off_family",
    "yearend.copy_budget", "yearend.recognise_started",
}  # fmt: skip
"""Verbs that take no row or one, or that another verb stands for."""


@contextmanager
def undone():
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@contextmanager
def asking_with_the_book(holds):
    """Whether a month is locked or a year closed is only asked by who holds the book."""

    def checked(plain):
        def asked(*args, **named):
            if ("Book", 1) not in holds.held:
                holds.asked_without.add(holds.running[-1])
            return plain(*args, **named)

        return asked

    names = ("refuse_shut", "is_shut", "first_open_day")
    patches = [mock.patch.object(each, name, checked(getattr(days, name))) for each in (ledger,) for name in names]
    for patch in patches:
        patch.start()
    try:
        yield
    finally:
        for patch in patches:
            patch.stop()


def test_every_verb_takes_its_rows_in_the_one_order(by, approver):
    faults, verbs, asked_without = set(), set(), set()
    for act in WALK:
        with undone(), in_order() as holds, asking_with_the_book(holds):
            act(by, approver)
        faults |= holds.faults
        verbs |= holds.verbs
        asked_without |= holds.asked_without
    assert sorted(faults) == [], "\n".join(sorted(faults))
    assert asked_without == set()
    walked = {name for name, verb in VERBS.items() if f"{verb.function.__module__}.{verb.function.__name__}" in verbs}
    unwalked = {name for name, verb in VERBS.items() if verb.whole} - walked
    assert unwalked == NOT_WALKED, " ".join(sorted(unwalked))


def test_the_order_is_the_one_that_is_written_down():
    told = re.search(r"\*\*The order of locks\*\*: (.*?)\.", DEVELOPERS.read_text(), re.DOTALL)
    assert told, "DEVELOPERS.md does not say the order of locks"
    assert tuple(re.findall(r"\w+", told.group(1))) == ORDER
