"""How documents are moved along their tables of states, by the verbs and as families and the club would do it."""

import uuid
from datetime import UTC, date, datetime, timedelta

from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Course
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeItem
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Act, Gear, Kit, KitState, Paid
from clubdesk.rangeday.services.taps import Tapped
from tests import factories

NOW = date(2026, 9, 12)
NINE = datetime(2026, 9, 12, 9, 0, tzinfo=UTC)
NOT_ON_THE_ROLL = 999_999


def member(plan, by):
    child = factories.PersonFactory()
    return membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)


def vouchers(by, other):
    scheme, plan = factories.scheme(), factories.plan()

    def accepted():
        taken = member(plan, by)
        code = f"SV{taken.person_id}"
        return fees.accept_voucher(scheme=scheme, charge=taken.charge, code=code, on=NOW, by=by)

    fees.refuse_voucher(voucher=accepted(), on=NOW, reason="not of this state", by=by)
    fees.release_voucher(voucher=accepted(), on=NOW, reason="the wrong child", by=by)
    used, good = accepted(), accepted()
    fees.unlodge_voucher(voucher=fees.lodge_vouchers(scheme=scheme, on=NOW, by=by).vouchers.first(), by=by)
    batch = fees.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    fees.refuse_voucher(voucher=used, on=NOW, reason="used elsewhere", by=by)
    fees.answer_lodgement(lodgement=batch, paid={good.pk: good.amount}, refused={}, on=NOW, by=by)
    back = given_back(good, by)
    fees.pay_give_back(back=back, on=NOW, by=by)
    fees.take_give_back_back(back=back, on=NOW, by=by)
    bank.undo_give_back(back=back, on=NOW, reason="their mistake", by=by)


def given_back(voucher, by):
    """A paid voucher whose child leaves, so that it is owed to the department."""
    fees.take_back(charge=voucher.charge, on=NOW, reason="left", by=by)
    return fees.give_back(
        voucher=voucher, invoice="INV 7", pay_to="012-003 4500123", reason="the child left", on=NOW, by=by
    )


def both_lapse_but_one(by):
    """Of two groups one withdraws and the other lapses; then the one is back, with a place and waiting."""
    for held in (True, False):
        course = Course.objects.create(name=f"Course {held}", fee_item=FeeItem.objects.get(kind="course"), pay_days=14)
        first = date(2026, 11, 3)
        cohort = Cohort.objects.create(course=course, name="One", first_session=first, last_session=first, capacity=2)
        home = factories.HouseholdFactory()
        group = courses.book_party(
            course=course, people=[factories.PersonFactory(household=home) for _ in range(2)], cohorts=[cohort],
            hold_only=not held, by=by, on=NOW,
        )  # fmt: skip
        one = group.places.order_by("pk").first()
        courses.withdraw(booking=group, places=[one], on=NOW, reason="camp", by=by)
        later = NOW + timedelta(days=(course.pay_days if held else course.offer_days) + 1)
        if held:
            courses.lapse_unpaid_booking(booking=group, on=later, by=by)
        else:
            courses.lapse_offers_of(course=course, on=later, by=by)
        courses.undo_withdrawal(place=one, on=NOW, by=by)


def bookings(by, other):
    one_seat, another = (factories.cohort(capacity=1, first=date(2026, 11, day)) for day in (1, 2))
    course = one_seat.course
    course.pay_days = 14
    course.save()

    def booked(cohort):
        child = factories.PersonFactory()
        return courses.book_party(course=course, people=[child], cohorts=[cohort], by=by, on=NOW)

    seated, tired, unpaid, _silent, unsure, last = (booked(one_seat) for _ in range(6))
    for_another = booked(another)
    for booking, why in ((tired, "waited too long"), (seated, "moved away")):
        courses.withdraw(booking=booking, on=NOW, reason=why, by=by)
        courses.undo_withdrawal(place=booking.places.get(), on=NOW, by=by)
        courses.withdraw(booking=booking, on=NOW, reason=why, by=by)
    both_lapse_but_one(by)
    courses.accept_offer(booking=unpaid, on=NOW, by=by)
    too_late = NOW + timedelta(days=course.pay_days + 1)
    courses.lapse_unpaid_booking(booking=unpaid, on=too_late, by=by)
    too_late += timedelta(days=course.offer_days + 1)
    courses.lapse_offers_of(course=course, on=too_late, by=by)
    courses.withdraw(booking=unsure, on=too_late, reason="another hobby", by=by)
    for cohort in (for_another.places.get().cohort, last.places.get().cohort):
        courses.cancel_cohort(cohort=cohort, on=too_late, reason="no coach", by=by)


def taps(by, other):
    factories.hire()
    day, plan = factories.range_day(), factories.plan()

    def sent(*people, minutes=0, key=None, **more):
        at = NINE + timedelta(minutes=minutes)
        tapped = Tapped(key=key or uuid.uuid4(), at=at, people=people, gear=Gear.HIRE, paid=Paid.CASH, **more)
        return rangeday.receive_tap(range_day=day, tapped=tapped, by=by)

    def undone(tap, minutes):
        return sent(key=tap.key, undo=True, minutes=minutes)

    def answered(tap):
        return rangeday.answer_tap(tap=tap, record=False, answer="asked at the range", on=NOW, by=by)

    quickly, late, half, to_come = (member(plan, by).person_id for _ in range(4))
    undone(sent(quickly), minutes=9)
    undone(sent(late), minutes=11)
    undone(sent(NOT_ON_THE_ROLL), minutes=1)
    undone(answered(sent(half, NOT_ON_THE_ROLL)), minutes=11)
    undone(answered(sent(NOT_ON_THE_ROLL)), minutes=11)
    key, bow = uuid.uuid4(), Kit.objects.create(number="B1", kind="bow")
    sent(act=Act.GIVE, kit=bow.pk, holder=key)
    sent(to_come, key=key)


def kit(by, other):
    bow = Kit.objects.create(number="B1", kind="bow")

    def aside(state=KitState.SET_ASIDE):
        rangeday.set_kit_aside(kit=bow, note="a cracked limb", state=state, on=NOW, by=by)

    def fit():
        rangeday.find_kit_fit(kit=bow, checked_by="Jo", on=NOW, by=by)

    aside()
    fit()
    aside(KitState.RETIRED)
    fit()
    aside()
    aside(KitState.RETIRED)
    aside()


def claims(by, other):
    plan, event = factories.plan(), factories.event(held=NOW)
    entryfund.cash_in(containers=5000, amount=as_amount(500), paid_into=PaidInto.BANK, on=NOW, by=by)

    def claimed():
        child = member(plan, by).person
        receipt = Evidence(f"receipt {child.pk}".encode(), "application/pdf")
        return entryfund.record_claim(person=child, event=event, amount=as_amount(60), evidence=receipt, on=NOW, by=by)

    def asked(claim):
        return entryfund.ask_for_more(claim=claim, question="Which class was it?", by=other, on=NOW)

    paid = claimed()
    entryfund.answer_claim(claim=asked(paid), answer="Juniors", by=by)
    entryfund.approve_claim(claim=paid, by=other, on=NOW)
    entryfund.pay_claim(claim=paid, on=NOW, by=by)
    entryfund.take_claim_back(claim=paid, on=NOW, by=by)
    for claim in (claimed(), asked(claimed())):
        entryfund.decline_claim(claim=claim, reason="not a state event", by=other, on=NOW)


def spendings(by, other):
    bought, twice = factories.expense(by), factories.expense(by, what="nocks")
    expenses.approve_expense(expense=bought, on=NOW, by=other)
    expenses.pay_expense(expense=bought, on=NOW, by=by)
    expenses.take_expense_back(expense=bought, on=NOW, by=by)
    expenses.decline_expense(expense=twice, reason="bought twice", on=NOW, by=other)
    several = [factories.expense(by, what=what) for what in ("tape", "bolts")]
    expenses.approve_expenses(expenses=reversed(several), on=NOW, by=other)


def runs(by, other):
    account = factories.direct_entry()

    def made(*things):
        bought = [factories.expense(by, what=what) for what in things]
        for each in bought:
            factories.bank_details(each.household, by)
            expenses.approve_expense(expense=each, on=NOW, by=other)
        return bank.make_run(bank_account=account, method="file", pay_on=NOW, on=NOW, by=by, expenses=bought)

    def released(*things):
        return bank.release_run(run=made(*things), on=NOW, by=other)

    for run in (made("tape"), released("nocks")):
        bank.withdraw_run(run=run, on=NOW, reason="made twice", by=by)
    out, *_ = made("bolts", "rests").items.all()
    bank.leave_out(item=out, on=NOW, reason="not now", by=by)
    run = released("string", "wax")
    bank.make_file(run=run, by=by)
    refused, returned = run.items.all()
    bank.leave_out(item=refused, on=NOW, reason="the bank made no payment", by=by)
    bank.record_paid(run=run, items=[returned], on=NOW, by=by)
    bank.record_returned(item=returned, on=NOW, reason="account closed", by=by)


def unlocks(by, other):
    year, july = FinancialYear.objects.get(), date(2026, 7, 31)
    ledger.lock_month(month_end=july, by=by)

    def asked():
        return ledger.ask_to_unlock(year=year, month_end=july, reason="a bill", on=NOW, by=by)

    ledger.decline_unlock(unlock=asked(), reason="post it in August", on=NOW, by=other)
    ledger.agree_to_unlock(unlock=asked(), on=NOW, by=other)


def accounts(by, other):
    own, numbers = (
        BankAccount.objects.get(),
        {"holder": "Reedbank Archers", "bsb": "012-003", "account_number": "4500123"},
    )

    def asked():
        return bank.ask_for_account(bank_account=own, reason="the bank’s letter", on=NOW, by=by, **numbers)

    bank.decline_account(change=asked(), reason="the letter is not the bank’s", on=NOW, by=other)
    bank.agree_to_account(change=asked(), on=NOW, by=other)


def leaving(by, other):
    child = factories.PersonFactory()
    (asked,) = membership.ask_to_leave(household=child.household, people=[child], reason="", on=NOW, by=by)
    membership.answer_leaving(request=asked, answer="Her membership ends today.", on=NOW, by=by)


MOVES = {
    "voucher": vouchers,
    "place in a course": bookings,
    "booking": bookings,
    "phone entry": taps,
    "piece of kit": kit,
    "claim": claims,
    "voucher given back": vouchers,
    "volunteer’s expense": spendings,
    "payment run": runs,
    "payment": runs,
    "month to be unlocked": unlocks,
    "change of the club’s account": accounts,
    "request to leave": leaving,
}
"""By the noun of a table of states what moves documents along all of it."""
