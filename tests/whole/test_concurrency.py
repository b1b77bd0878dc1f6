"""Two people and a bad connection at once: what several threads do against the real database."""

import threading
import uuid
from datetime import date

import pytest
from django.db import connection, connections

from clubdesk.bank import services as bank
from clubdesk.bank.models import PaymentRun
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Course, Place
from clubdesk.desk.services import nightly
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.fees.models import Lodgement, Method, Receipt
from clubdesk.ledger import selectors, services
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Journal, JournalEntry, Party, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll.models import Person
from clubdesk.verbs import shell_user
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
NOW = date(2026, 9, 12)
LINES = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]


def at_once(count, act):
    """Let `count` threads do `act(number)` at the same moment; returns what each returned or raised."""
    barrier, results = threading.Barrier(count), [None] * count

    def run(number):
        try:
            barrier.wait()
            results[number] = act(number)
        except Exception as error:
            results[number] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def faults():
    return [result for result in check_all() if result.faults]


def test_twenty_posts_of_one_document_make_one_entry(book):
    by = shell_user()
    document = Journal.objects.create(date=NOW, narration="once", recorded_by=by)
    results = at_once(
        20,
        lambda number: services.post(
            source=document, purpose="journal", on=NOW, narration=f"by {number}", lines=LINES, by=by
        ),
    )
    assert {entry.pk for entry in results} == {JournalEntry.objects.get().pk}
    assert faults() == []


def test_entry_numbers_have_no_gap_when_many_post_and_some_fail(book):
    by = shell_user()

    def act(number):
        lines = LINES if number % 3 else [*LINES, debit(Role.BANK, as_amount(1))]
        return services.record_journal(on=NOW, narration=f"by {number}", lines=lines, by=by)

    results = at_once(18, act)
    assert sum(isinstance(result, Refused) for result in results) == 6
    assert sorted(JournalEntry.objects.values_list("number", flat=True)) == list(range(1, 13))
    assert faults() == []


def test_two_people_booking_the_last_place_get_one_place_and_one_wait(book):
    by = shell_user()
    cohort = factories.cohort(capacity=1)
    children = [factories.PersonFactory() for _ in range(2)]
    results = at_once(2, lambda n: courses.book_place(person=children[n], cohort=cohort, by=by, on=NOW))
    assert sorted(place.state for place in results) == ["held", "waiting"]
    assert faults() == []


def test_many_booking_at_once_fill_the_seats_and_wait_in_order(book):
    by = shell_user()
    cohort = factories.cohort(capacity=4)
    children = [factories.PersonFactory() for _ in range(12)]
    at_once(12, lambda n: courses.book_place(person=children[n], cohort=cohort, by=by, on=NOW))
    places = Place.objects.order_by("pk")
    assert [place.state for place in places].count("held") == 4
    waiting = [place.booking for place in places if place.state == "waiting"]
    assert [booking.number for booking in sorted(waiting, key=lambda each: each.rank)] == list(range(5, 13))
    assert faults() == []


def test_a_button_pressed_again_and_again_records_one_receipt(book):
    by, household, key = shell_user(), factories.HouseholdFactory(), uuid.uuid4()
    results = at_once(
        8,
        lambda number: fees.record_receipt(
            household=household, amount=as_amount(10), method=Method.CASH, on=NOW, by=by, key=key
        ),
    )
    assert len({receipt.pk for receipt in results}) == Receipt.objects.count() == 1
    assert faults() == []


def test_a_fee_is_credited_and_recognised_at_the_same_moment_only_one_way(book):
    by, price = shell_user(), factories.price()
    start = date(2026, 10, 4)
    charges = [
        fees.charge(household=factories.HouseholdFactory(), price=price, on=NOW, starts_on=start, by=by)
        for _ in range(6)
    ]

    def act(number):
        if number < 6:
            return fees.credit_charge(charge=charges[number], on=start, reason="withdrawn", by=by)
        return fees.recognise_due(on=start, by=by)

    results = at_once(8, act)
    assert [result for result in results if isinstance(result, Exception)] == []
    assert selectors.balance(Role.FEES_IN_ADVANCE, start) == 0
    assert selectors.balance(Role.COURSES, start) == 0
    assert faults() == []


def test_a_visitor_signed_on_by_a_nervous_thumb_signs_on_once(book):
    by, key = shell_user(), uuid.uuid4()
    factories.hire()
    day = factories.range_day()
    results = at_once(
        6,
        lambda number: rangeday.sign_on(
            range_day=day, visitor_name="Uncle", gear=Gear.HIRE, paid=Paid.CASH, by=by, key=key
        ),
    )
    assert len({sign_on.pk for sign_on in results}) == 1
    assert selectors.balance(Role.TILL, NOW) == 15
    assert faults() == []


def test_people_doing_different_things_at_once_never_lock_each_other_out(season, by):
    """A receipt, a refund paid, a remittance, a membership, the night, sign-ons and the department, all at once."""
    children = list(Person.objects.order_by("pk"))
    claim = season.event.claims.filter(state="approved").get()
    lodgement = Lodgement.objects.earliest("pk")
    voucher = lodgement.vouchers.filter(state="lodged").last()
    association = Party.objects.get(kind="association")
    day = factories.range_day(date(2026, 9, 13))
    late = [factories.PersonFactory() for _ in range(2)]
    for child in late:
        start = date(2026, 10, 4)
        fees.charge(household=child.household, price=factories.FeePrice.objects.first(), on=NOW, starts_on=start, by=by)
    on = date(2026, 10, 4)
    acts = [
        lambda: fees.record_receipt(household=claim.household, amount=as_amount(20), method=Method.CARD, on=NOW, by=by),
        lambda: entryfund.pay_claim(claim=claim, on=NOW, by=by),
        lambda: membership.remit_affiliation(association=association, through=NOW, on=NOW, by=by),
        lambda: membership.take_out_membership(person=late[0], plan=season.plan, starts_on=NOW, on=NOW, by=by),
        lambda: nightly(on=on, by=by),
        lambda: rangeday.sign_on(range_day=day, person=children[0], gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by),
        lambda: rangeday.sign_on(range_day=day, person=children[1], gear=Gear.HIRE, paid=Paid.CASH, by=by),
        lambda: fees.record_lodgement_paid(lodgement=lodgement, on=NOW, by=by),
        lambda: fees.refuse_voucher(voucher=voucher, on=NOW, reason="used elsewhere", by=by),
        lambda: fees.credit_charge(charge=late[1].household.charges.get(), on=on, reason="withdrawn", by=by),
    ]
    results = at_once(len(acts), lambda number: acts[number]())
    assert [result for result in results if isinstance(result, Exception) and not isinstance(result, Refused)] == []
    assert faults() == []


def test_courses_and_accounts_at_once_never_lock_each_other_out(book):
    """The night, a cancelled cohort, withdrawals, receipts and bookings in two courses, all at once."""
    by = shell_user()
    first = factories.cohort(capacity=6)
    other = Course.objects.create(name="Second course", fee_item=first.course.fee_item)
    Course.objects.update(pay_days=1, reminder_days=0)
    days = {"first_session": date(2026, 11, 1), "last_session": date(2026, 11, 22)}
    second = Cohort.objects.create(course=other, name="November", capacity=6, **days)
    parties = []
    for cohort in (first, second):
        for _ in range(3):
            home = factories.HouseholdFactory()
            people = [factories.PersonFactory(household=home) for _ in range(2)]
            parties.append(courses.book_party(course=cohort.course, people=people, cohorts=[cohort], by=by, on=NOW))
    for party in parties:
        courses.remind_by_phone(booking=party, on=NOW, by=by)
    on = date(2026, 9, 20)
    newcomers = [factories.PersonFactory() for _ in range(3)]
    acts = [
        lambda: nightly(on=on, by=by),
        lambda: nightly(on=on, by=by),
        lambda: courses.cancel_cohort(cohort=second, on=NOW, reason="flood", by=by),
        lambda: courses.withdraw(booking=parties[0], on=NOW, reason="ill", by=by),
        lambda: courses.withdraw(booking=parties[3], on=NOW, reason="ill", by=by),
        *(lambda party=party: fees.record_receipt(
            household=party.household, amount=as_amount(252), method=Method.CARD, on=NOW, by=by)
            for party in parties),
        *(lambda child=child: courses.book_party(course=first.course, people=[child], by=by, on=NOW)
            for child in newcomers),
    ]  # fmt: skip
    results = at_once(len(acts), lambda number: acts[number]())
    assert [result for result in results if isinstance(result, Exception) and not isinstance(result, Refused)] == []
    assert faults() == []


def test_money_moved_by_many_at_once_keeps_its_total(book):
    # After the bank workload of the Jepsen library: under concurrent transfers every read of all balances
    # shows the same total.
    by = shell_user()
    services.record_journal(
        on=NOW,
        narration="start",
        lines=[debit(Role.BANK, as_amount(100)), credit(Role.DONATIONS, as_amount(100))],
        by=by,
    )
    totals = []

    def act(number):
        if number % 2:
            there, back = (Role.TILL, Role.BANK) if number % 4 == 1 else (Role.BANK, Role.TILL)
            lines = [debit(there, as_amount(number)), credit(back, as_amount(number))]
            return services.record_journal(on=NOW, narration="moved", lines=lines, by=by)
        trial = selectors.balances(NOW, ["account_id"], account__is_money=True).after_closing
        totals.append(sum(trial.values()))
        return None

    at_once(16, act)
    assert set(totals) == {100}
    assert faults() == []


def approved_at_once(by, approver, count, covers):
    """Let so many claims of 60 be approved at the same moment against a fund that covers fewer, and a little."""
    fund = 60 * covers + 30
    entryfund.cash_in(containers=10 * fund, amount=as_amount(fund), paid_into=PaidInto.BANK, on=NOW, by=by)
    plan, event, claims = factories.plan(), factories.event(), []
    for number in range(count):
        child = factories.PersonFactory()
        membership.take_out_membership(person=child, plan=plan, starts_on=event.held_on, on=event.held_on, by=by)
        evidence = Evidence(f"claim {number}".encode(), "application/pdf")
        claims.append(
            entryfund.record_claim(person=child, event=event, amount=event.fee, evidence=evidence, on=NOW, by=by)
        )
    results = at_once(count, lambda n: entryfund.approve_claim(claim=claims[n], by=approver, on=NOW))
    assert sum(isinstance(result, Refused) for result in results) == count - covers
    assert [claim for claim in results[:covers] if claim.state != "approved"] == []
    assert selectors.fund_balance("entry") == 30
    assert faults() == []


@pytest.mark.only_on("postgresql")
def test_of_fifty_approvals_at_once_the_first_ten_that_the_fund_covers_are_approved(by, approver):
    approved_at_once(by, approver, count=50, covers=10)


def test_approvals_at_once_never_overdraw_the_fund(by, approver):
    approved_at_once(by, approver, count=12, covers=4)


def test_a_run_paid_by_several_at_once_is_paid_once(by, treasurer, approver):
    homes = [factories.HouseholdFactory() for _ in range(4)]
    for home in homes:
        fees.record_receipt(household=home, amount=as_amount(40), method=Method.TRANSFER, on=NOW, by=by)
    spent = [factories.expense(by, home) for home in homes]
    for expense in spent:
        expenses.approve_expense(expense=expense, on=NOW, by=approver)
    made = at_once(
        4,
        lambda n: bank.make_run(
            bank_account=factories.direct_entry(), method="single", pay_on=NOW, on=NOW, by=treasurer,
            expenses=spent, credits=homes,
        ),
    )  # fmt: skip
    assert sum(isinstance(each, Refused) for each in made) == 3
    run = PaymentRun.objects.get()
    bank.release_run(run=run, on=NOW, by=approver)
    items = list(run.items.all())

    def act(number):
        if number == 5:
            return fees.repay_credit(household=homes[0], amount=as_amount(40), on=NOW, by=by)
        return bank.record_paid(run=run, items=items[number:] + items[:number], on=NOW, by=treasurer)

    results = at_once(6, act)
    assert [each for each in results if isinstance(each, Exception) and not isinstance(each, Refused)] == []
    (state,) = {item.state for item in run.items.all()}  # the whole run was first, or the one credit
    assert balance_of_bank() == {"paid": 160 - 4 * 65.5, "waiting": 160 - 40}[state]
    assert faults() == []


def balance_of_bank():
    return float(selectors.balance(Role.BANK, NOW))


def test_sqlite_is_set_up_for_many_people():
    if connection.vendor != "sqlite":
        pytest.skip("a rule of sqlite")
    with connection.cursor() as cursor:
        found = [cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "foreign_keys")]
        timeout = cursor.execute("PRAGMA busy_timeout").fetchone()[0]
    assert found == ["wal", 1]
    assert timeout >= 20_000
