"""A range day from its kit to the counted tin: counted by coin, reopened, called off, read."""

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeKind, FeePrice, Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.membership import services as membership
from clubdesk.money import as_amount, in_pieces, nil
from clubdesk.rangeday import figures, selectors, services
from clubdesk.rangeday.models import (
    CountedPiece,
    Gear,
    Kit,
    KitLoan,
    KitState,
    OwnGearCost,
    Paid,
    SafetyText,
    SignOn,
    TillCount,
)
from clubdesk.rangeday.services.taps import Tapped
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = date(2026, 9, 12)
NINE = datetime(2026, 9, 12, 9, 0, tzinfo=UTC)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def day(book):
    factories.hire()
    return factories.range_day()


@pytest.fixture
def plan(book):
    return factories.plan()


@pytest.fixture
def join(plan, by):
    def joined(person):
        membership.take_out_membership(person=person, plan=plan, starts_on=TODAY, on=TODAY, by=by)
        return person

    return joined


@pytest.fixture
def member(day, join):
    return join(factories.PersonFactory())


@pytest.fixture
def sign(day, by):
    def signed(person=None, paid=Paid.CASH, gear=Gear.HIRE, on=day, **more):
        who = {"person": person} if person else {"visitor_name": "Noor Solano"}
        return services.sign_on(range_day=on, gear=gear, paid=paid, by=by, **who, **more)

    return signed


@pytest.fixture
def count(day, by, approver):
    def counted(amount, on=day, **more):
        known = {"pieces": in_pieces(as_amount(amount)), "second_counter": approver, "by": by, "on": on.date}
        return services.close_day(range_day=on, **known | more)

    return counted


def put_in_the_till(amount, by, on=TODAY):
    lines = [debit(Role.TILL, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
    ledger.record_journal(on=on, narration="Float", lines=lines, by=by)


class TestCounting:
    def test_notes_and_coins_come_to_what_was_counted_and_are_kept(self, sign, count, member):
        sign(member)
        counted = count(7)
        assert [(row.cents, row.number) for row in counted.pieces.all()] == [(500, 1), (200, 1)]
        assert counted.entries_called_for == set()
        assert sound()

    def test_the_float_is_what_the_ledger_knows_besides_the_days_fees(self, day, sign, count, member, by):
        put_in_the_till(100, by)
        charging.record_receipt(household=member.household, amount=as_amount(50), method=Method.CASH, on=TODAY, by=by)
        sign(member)
        assert selectors.tin(day).opening == as_amount(150)
        assert count(157).difference == nil()
        assert sound()

    def test_a_float_that_the_ledger_knows_nothing_of_is_refused(self, sign, count, by):
        put_in_the_till(100, by)
        sign()
        with pytest.raises(Refused, match="knows of 100.00 in cash"):
            count(135, opening=as_amount(120))

    def test_money_that_left_the_tin_by_a_journal_is_not_missed(self, sign, count, by):
        sign()
        lines = [debit(Role.BANK, as_amount(10)), credit(Role.TILL, as_amount(10))]
        ledger.record_journal(on=TODAY, narration="Milk", lines=lines, by=by)
        assert count(5).difference == nil()
        assert sound()

    def test_two_ranges_whose_takings_were_banked_the_same_day_close(self, day, sign, count, by):
        other = factories.RangeDay.objects.create(date=TODAY, place="Hall")
        sign()
        sign(on=other)
        services.bank_takings(amount=as_amount(30), on=TODAY, by=by)
        assert [count(0).difference, count(0, on=other).difference] == [nil(), nil()]
        assert balance(Role.TILL, TODAY) == 0
        assert sound()

    def test_a_banking_cancelled_later_is_in_the_tin_of_its_own_day_again(self, sign, count, by):
        put_in_the_till(100, by)
        sign()
        wrong = services.bank_takings(amount=as_amount(60), on=TODAY, by=by)
        with clock.on(TODAY + timedelta(days=2)):
            services.cancel_banking(banking=wrong, reason="never brought", on=TODAY + timedelta(days=2), by=by)
            assert count(115).difference == nil()
        assert sound()

    def test_a_late_second_press_after_a_reopening_is_answered_with_the_first_count(self, day, count, by):
        key = uuid.uuid4()
        first = count(0, key=key)
        services.reopen_day(range_day=day, reason="late visitor", on=TODAY, by=by)
        assert count(0, key=key) == first

    def test_takings_banked_before_the_count_are_not_missed(self, day, sign, count, by):
        put_in_the_till(100, by)
        sign()
        services.bank_takings(amount=as_amount(60), on=TODAY, by=by)
        assert count(55).difference == nil()
        assert balance(Role.TILL, TODAY) == 55
        assert sound()

    def test_two_ranges_on_one_day_count_their_own_tins(self, day, sign, count, join, by):
        other = factories.RangeDay.objects.create(date=TODAY, place="Hall")
        put_in_the_till(80, by)
        sign()
        sign(on=other)
        # Fifty of the float lay at the river, thirty in the hall.
        assert count(65, opening=as_amount(50)).difference == nil()
        assert selectors.tin(other).opening == as_amount(30)
        with pytest.raises(Refused, match="The tin should hold 45.00 and is short by 1.00"):
            count(44, on=other, opening=as_amount(30))
        count(44, on=other, opening=as_amount(30), reason="a dollar coin")
        assert balance(Role.TILL, TODAY) == 80 + 30 - 1
        assert sound()

    def test_the_card_slip_is_compared_and_its_difference_posted(self, sign, count, member, by):
        sign(paid=Paid.CARD)
        with pytest.raises(Refused, match=r"15.00 was paid by card; write the total of the slip"):
            count(0)
        with pytest.raises(Refused, match="The card slip should hold 15.00 and is short by 8.00"):
            count(0, card_slip=as_amount(7))
        counted = count(0, card_slip=as_amount(7), reason="one tap was declined")
        assert counted.card_difference == as_amount(-8)
        assert balance(Role.CARD_TAKINGS, TODAY) == 7
        assert balance(Role.CASH_OVER_SHORT, TODAY) == 8
        assert sound()

    def test_cash_tapped_as_card_costs_nobody_anything(self, sign, count):
        """The tin is over by what the slip is short: takings move from the reader to the tin."""
        sign(paid=Paid.CARD)
        count(15, card_slip=nil(), reason="paid in cash, tapped as card")
        assert (balance(Role.TILL, TODAY), balance(Role.CARD_TAKINGS, TODAY)) == (15, 0)
        assert balance(Role.CASH_OVER_SHORT, TODAY) == 0
        assert sound()

    def test_households_fees_by_card_are_on_one_ranges_slip_only(self, day, count, member, by):
        other = factories.RangeDay.objects.create(date=TODAY, place="Hall")
        charging.record_receipt(household=member.household, amount=as_amount(228), method=Method.CARD, on=TODAY, by=by)
        assert selectors.tin(day).card_receipts == as_amount(228)
        count(0, card_slip=as_amount(228))
        assert selectors.tin(other).card_receipts == nil()
        assert count(0, on=other).card_expected == nil()
        assert sound()

    def test_a_coin_that_there_is_not_is_refused(self, count):
        with pytest.raises(Refused, match="no note or coin of 0.03"):
            count(0, pieces={3: 1})
        with pytest.raises(Refused, match="fewer than no coins"):
            count(0, pieces={100: -1})

    def test_the_database_refuses_a_count_whose_coins_do_not_come_to_it(self, day, by, approver):
        with pytest.raises(IntegrityError, match="closed by a count"), transaction.atomic():
            type(day).objects.filter(pk=day.pk).update(closed_on=TODAY)
        row = TillCount.objects.create(
            range_day=day, expected=nil(), counted=as_amount(5), reason="x", second_counter=approver, recorded_by=by
        )
        CountedPiece.objects.create(till_count=row, cents=200, number=2)
        with pytest.raises(IntegrityError, match="closed by a count"), transaction.atomic():
            type(day).objects.filter(pk=day.pk).update(closed_on=TODAY)
        CountedPiece.objects.create(till_count=row, cents=100, number=1)
        type(day).objects.filter(pk=day.pk).update(closed_on=TODAY)
        with pytest.raises(IntegrityError, match="This count is finished"), transaction.atomic():
            CountedPiece.objects.create(till_count=row, cents=50, number=1)


class TestReopening:
    def test_a_day_reopened_leaves_a_trace_and_is_counted_again(self, day, sign, count, member, by, coordinator):
        sign(member)
        first = count(5, reason="two dollars less")
        with pytest.raises(Refused, match="Say why"):
            services.reopen_day(range_day=day, reason=" ", on=TODAY, by=by)
        services.reopen_day(range_day=day, reason="a coin under the table", on=TODAY, by=coordinator)
        assert balance(Role.TILL, TODAY) == 7
        sign()
        count(22)
        rows = list(TillCount.objects.filter(range_day=day).order_by("pk"))
        assert [row.reopen_reason for row in rows] == ["a coin under the table", ""]
        assert rows[0].reopened_by == coordinator
        assert JournalEntry.objects.filter(reverses__source_id=first.pk).count() == 1
        assert sound()

    def test_the_database_keeps_a_counted_day_closed_and_the_trace(self, day, count, by):
        count(0)
        with pytest.raises(IntegrityError, match="reopen it with a reason"), transaction.atomic():
            type(day).objects.filter(pk=day.pk).update(closed_on=None)
        services.reopen_day(range_day=day, reason="late visitor", on=TODAY, by=by)
        with pytest.raises(IntegrityError), transaction.atomic():
            TillCount.objects.update(reopened_on=None)

    def test_not_in_a_locked_month(self, day, count, by):
        count(0)
        ledger.lock_month(month_end=date(2026, 9, 30), by=by)
        with pytest.raises(Refused, match="locked month"):
            services.reopen_day(range_day=day, reason="late visitor", on=date(2026, 10, 1), by=by)

    def test_a_day_that_was_not_counted_is_not_reopened(self, day, by):
        with pytest.raises(Refused, match="was not counted yet"):
            services.reopen_day(range_day=day, reason="late visitor", on=TODAY, by=by)


class TestBanking:
    def test_wholly_or_in_part_and_a_mistake_is_cancelled(self, sign, by):
        sign()
        part = services.bank_takings(amount=as_amount(10), on=TODAY, by=by)
        assert balance(Role.TILL, TODAY) == 5
        with pytest.raises(Refused, match="Say why"):
            services.cancel_banking(banking=part, reason="", on=TODAY, by=by)
        for _ in range(2):
            services.cancel_banking(banking=part, reason="it was 15", on=TODAY, by=by)
        services.bank_takings(amount=as_amount(15), on=TODAY, by=by)
        assert balance(Role.TILL, TODAY) == 0
        assert sound()


class TestCalledOff:
    @pytest.fixture
    def next_week(self, day):
        return factories.RangeDay.objects.create(date=TODAY + timedelta(days=7), place="River range")

    def test_nobody_is_charged_and_own_gear_is_simply_taken_off(self, day, sign, member, by):
        sign(member, gear=Gear.OWN, paid=Paid.NOTHING)
        off = services.call_off_day(range_day=day, reason="lightning", on=TODAY, by=by)
        assert (off.day.called_off_reason, off.moved, off.to_hand_back) == ("lightning", (), ())
        assert not day.sign_ons.filter(cancelled_on=None).exists()
        assert sound()

    def test_what_was_paid_moves_to_the_next_day_at_the_price_that_was_paid(self, day, sign, member, next_week, by):
        before = fees.balance(member.household)
        sign(member)
        FeePrice.objects.filter(item__kind=FeeKind.HIRE).update(valid_until=TODAY)
        item = FeePrice.objects.get(item__kind=FeeKind.HIRE).item
        FeePrice.objects.create(item=item, valid_from=TODAY + timedelta(days=1), amount=as_amount(9))
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by, move_to=next_week)
        moved = next_week.sign_ons.get()
        assert (moved.person, moved.amount, moved.paid) == (member, as_amount(7), Paid.ACCOUNT)
        assert balance(Role.TILL, TODAY) == 7
        assert balance(Role.HIRE, TODAY) == 0
        # The seven dollars pay the fee that waits for next week (or the oldest that is open): nothing more is owed.
        assert fees.balance(member.household) == before
        assert balance(Role.FEES_IN_ADVANCE, TODAY) == -7
        assert sound()
        with clock.on(next_week.date):
            charging.recognise_due(on=next_week.date, by=by)
        assert balance(Role.HIRE, next_week.date) == -7
        assert sound()

    def test_without_another_day_it_stays_the_households_credit(self, day, sign, by):
        visitor = factories.PersonFactory()
        sign(visitor, gear=Gear.HIRE, paid=Paid.CARD)
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert fees.unused_credit(visitor.household) == as_amount(15)
        assert balance(Role.CARD_TAKINGS, TODAY) == 15
        assert sound()

    def test_what_was_put_on_account_is_taken_back(self, day, sign, member, by):
        before = fees.balance(member.household)
        sign(member, paid=Paid.ACCOUNT)
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert fees.balance(member.household) == before
        assert sound()

    def test_a_family_that_paid_together_keeps_to_the_cent_what_it_handed_over(self, day, join, by):
        home = factories.HouseholdFactory()
        children = [join(factories.PersonFactory(household=home)) for _ in range(3)]
        FeePrice.objects.filter(item__kind=FeeKind.HIRE).update(amount=as_amount("7.02"))
        tapped = Tapped(
            key=uuid.uuid4(), at=NINE, people=tuple(child.pk for child in children), gear=Gear.HIRE, paid=Paid.CASH
        )
        services.receive_tap(range_day=day, tapped=tapped, by=by)
        # Source: ACCC guideline on the withdrawal of one and two cent coins: 21.06 in all is handed over as 21.05.
        assert balance(Role.TILL, TODAY) == Decimal("21.05")
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert balance(Role.TILL, TODAY) == Decimal("21.05")
        assert home.receipts.get().amount == as_amount("21.06")
        assert sound()

    def test_visitors_get_their_money_back_by_hand_and_the_day_says_who(self, day, sign, by, client, coordinator):
        sign()
        off = services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert [row.who for row in off.to_hand_back] == ["Noor Solano"]
        assert balance(Role.TILL, TODAY) == 0
        client.force_login(coordinator)
        page = client.get(reverse("admin:rangeday_rangeday_change", args=[day.pk])).content.decode()
        assert "Called off: hail" in page
        assert "Noor Solano" in page
        assert sound()

    def test_it_is_called_off_once_and_for_good(self, day, sign, member, by):
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert services.call_off_day(range_day=day, reason="sun", on=TODAY, by=by).day.called_off_reason == "hail"
        with pytest.raises(Refused, match="was called off: hail"):
            sign(member)
        with pytest.raises(IntegrityError), transaction.atomic():
            type(day).objects.filter(pk=day.pk).update(called_off_on=None)

    def test_what_cannot_be_is_refused_in_words(self, day, sign, count, by):
        with pytest.raises(Refused, match="Say why"):
            services.call_off_day(range_day=day, reason=" ", on=TODAY, by=by)
        with pytest.raises(Refused, match="later day that is open"):
            services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by, move_to=day)
        count(0)
        with pytest.raises(Refused, match="reopen it first"):
            services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)

    def test_the_database_calls_no_day_off_with_somebody_on_it(self, day, sign, member):
        sign(member)
        with pytest.raises(IntegrityError, match="still signed on"), transaction.atomic():
            type(day).objects.filter(pk=day.pk).update(called_off_on=TODAY, called_off_reason="hail")

    def test_a_day_called_off_is_not_counted(self, day, count, by):
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        with pytest.raises(Refused, match="counts with the next day"):
            count(0)

    def test_no_more_is_handed_back_than_the_tin_holds(self, day, sign, by):
        sign()
        services.bank_takings(amount=as_amount(15), on=TODAY, by=by)
        with pytest.raises(Refused, match="too little to hand back"):
            services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        assert sound()

    def test_an_undo_that_arrives_after_it_is_a_question(self, day, member, by):
        key = uuid.uuid4()
        done = Tapped(key=key, at=NINE, people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        services.receive_tap(range_day=day, tapped=done, by=by)
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        undo = Tapped(key=key, at=NINE + timedelta(minutes=5), undo=True)
        assert "Was money given back?" in services.receive_tap(range_day=day, tapped=undo, by=by).question

    def test_a_day_to_come_is_called_off_today(self, member, sign, by):
        later = factories.RangeDay.objects.create(date=TODAY + timedelta(days=7), place="River range")
        row = sign(member, on=later, paid=Paid.ACCOUNT)
        services.call_off_day(range_day=later, reason="floods", on=TODAY, by=by)
        row.refresh_from_db()
        assert row.cancelled_on == TODAY
        assert balance(Role.FEES_IN_ADVANCE, TODAY) == 0
        assert sound()

    def test_a_tap_that_comes_later_is_a_question(self, day, member, by):
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        tapped = Tapped(key=uuid.uuid4(), at=NINE, people=(member.pk,))
        assert "was called off: hail" in services.receive_tap(range_day=day, tapped=tapped, by=by).question


class TestAhead:
    def test_before_its_day_a_fee_waits_and_cash_is_a_receipt(self, member, sign, by):
        later = factories.RangeDay.objects.create(date=TODAY + timedelta(days=7), place="River range")
        with pytest.raises(Refused, match="still to come: put it on account"):
            sign(member, on=later)
        ahead = sign(member, on=later, paid=Paid.ACCOUNT)
        assert (ahead.charge.charged_on, ahead.charge.starts_on) == (TODAY, later.date)
        assert balance(Role.FEES_IN_ADVANCE, TODAY) == -7
        services.cancel_sign_on(sign_on=ahead, on=TODAY, reason="away", by=by)
        assert balance(Role.FEES_IN_ADVANCE, TODAY) == 0
        assert sound()


class TestCorrecting:
    def test_cash_becomes_card_with_the_reason_kept(self, sign, member, by):
        wrong = sign(member)
        known = {"wrong": wrong, "gear": Gear.HIRE, "paid": Paid.CARD, "on": TODAY, "by": by}
        with pytest.raises(Refused, match="Say why"):
            services.correct_sign_on(reason="", **known)
        right = services.correct_sign_on(reason="the reader was used", **known)
        assert services.correct_sign_on(reason="the reader was used", **known) == right
        wrong.refresh_from_db()
        assert (right.corrects, wrong.cancel_reason) == (wrong, "the reader was used")
        assert (balance(Role.TILL, TODAY), balance(Role.CARD_TAKINGS, TODAY)) == (0, 7)
        assert sound()

    def test_kit_that_is_out_stays_with_them(self, sign, member, by):
        wrong = sign(member)
        bow = Kit.objects.create(number="B01", kind="bow")
        services.give_out(kit=bow, sign_on=wrong, at=NINE, by=by)
        right = services.correct_sign_on(
            wrong=wrong, gear=Gear.HIRE, paid=Paid.ACCOUNT, reason="no change", on=TODAY, by=by
        )
        assert bow.loans.get().sign_on == right

    def test_a_visitors_rules_need_not_be_read_twice(self, day, sign, by):
        wrong = sign()
        SafetyText.objects.create(in_force_from=TODAY, text="Stay behind the line.")
        services.correct_sign_on(wrong=wrong, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)
        assert balance(Role.CARD_TAKINGS, TODAY) == 15

    def test_one_cancelled_meanwhile_is_not_brought_back(self, sign, member, by):
        wrong = sign(member)
        stale = SignOn.objects.get(pk=wrong.pk)
        services.cancel_sign_on(sign_on=wrong, on=TODAY, reason="went home", by=by)
        with pytest.raises(Refused, match="was cancelled"):
            services.correct_sign_on(wrong=stale, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)

    def test_a_moved_sign_on_keeps_its_price(self, day, sign, member, by):
        later = factories.RangeDay.objects.create(date=TODAY + timedelta(days=7), place="River range")
        sign(member)
        item = FeePrice.objects.get(item__kind=FeeKind.HIRE).item
        FeePrice.objects.filter(item=item).update(valid_until=TODAY)
        FeePrice.objects.create(item=item, valid_from=TODAY + timedelta(days=1), amount=as_amount(9))
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by, move_to=later)
        with clock.on(later.date):
            right = services.correct_sign_on(
                wrong=later.sign_ons.get(), gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=later.date, by=by
            )
        assert right.amount == as_amount(7)
        assert sound()

    @pytest.fixture
    def three(self, day, join, by):
        home = factories.HouseholdFactory()
        children = [join(factories.PersonFactory(household=home)) for _ in range(3)]
        FeePrice.objects.filter(item__kind=FeeKind.HIRE).update(amount=as_amount("7.02"))
        tapped = Tapped(
            key=uuid.uuid4(), at=NINE, people=tuple(each.pk for each in children), gear=Gear.HIRE, paid=Paid.CASH
        )
        return services.receive_tap(range_day=day, tapped=tapped, by=by)

    # Source: ACCC guideline on the withdrawal of one and two cent coins: the total is rounded, 14.04 to 14.05.
    @pytest.mark.parametrize("which", [0, 1, 2])
    def test_a_familys_cash_is_rounded_anew_when_one_of_them_pays_otherwise(self, three, which, by):
        wrong = three.sign_ons.order_by("pk")[which]
        services.correct_sign_on(wrong=wrong, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)
        assert balance(Role.TILL, TODAY) == Decimal("14.05")
        assert balance(Role.CARD_TAKINGS, TODAY) == Decimal("7.02")
        assert sound()

    @pytest.mark.parametrize("which", [0, 1, 2])
    def test_and_when_one_of_them_is_cancelled(self, three, which, by):
        services.cancel_sign_on(sign_on=three.sign_ons.order_by("pk")[which], on=TODAY, reason="went home", by=by)
        assert balance(Role.TILL, TODAY) == Decimal("14.05")
        assert sound()

    def test_an_undo_after_a_correction_takes_the_right_one_off(self, day, three, by):
        wrong = three.sign_ons.order_by("pk")[0]
        services.correct_sign_on(wrong=wrong, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)
        undo = Tapped(key=three.key, at=NINE + timedelta(minutes=5), undo=True)
        assert services.receive_tap(range_day=day, tapped=undo, by=by).state == "undone"
        assert (balance(Role.TILL, TODAY), balance(Role.CARD_TAKINGS, TODAY)) == (0, 0)
        assert sound()

    def test_a_visitors_payment_that_is_right_already(self, sign, by):
        with pytest.raises(Refused, match="stands there already"):
            services.correct_sign_on(wrong=sign(), gear=Gear.HIRE, paid=Paid.CASH, reason="?", on=TODAY, by=by)

    def test_nothing_to_correct(self, sign, member, by):
        with pytest.raises(Refused, match="stands there already"):
            services.correct_sign_on(wrong=sign(member), gear=Gear.HIRE, paid=Paid.CASH, reason="?", on=TODAY, by=by)


class TestSafetyRules:
    @pytest.fixture
    def rules(self, day):
        return SafetyText.objects.create(in_force_from=TODAY, text="Stay behind the line.")

    def test_a_visitor_agrees_to_the_clubs_own_rules(self, sign, rules):
        with pytest.raises(Refused, match="Read the safety rules"):
            sign()
        assert sign(safety=rules).safety == rules

    def test_rules_that_somebody_agreed_to_are_never_changed(self, sign, rules):
        sign(safety=rules)
        with pytest.raises(IntegrityError, match="stay as families read them"), transaction.atomic():
            SafetyText.objects.update(text="Do as you like.")

    def test_the_newest_in_force_counts(self, day, rules):
        SafetyText.objects.create(in_force_from=TODAY + timedelta(days=1), text="New rules.")
        assert selectors.safety_text(TODAY) == rules
        again = SafetyText.objects.create(in_force_from=TODAY, text="Stay behind the white line.")
        assert selectors.safety_text(TODAY) == again
        assert selectors.safety_text(TODAY - timedelta(days=1)) is None

    def test_what_was_asked_about_visitors_is_forgotten_too(self, day, sign, member, by):
        bow = Kit.objects.create(number="B01", kind="bow")
        services.give_out(kit=bow, sign_on=sign(), at=NINE, by=by)
        tapped = Tapped(key=uuid.uuid4(), at=NINE, act="give", kit=bow.pk, holder=sign(member).key)
        asked = services.receive_tap(range_day=day, tapped=tapped, by=by)
        assert "Noor" in asked.question
        services.forget_visitors(before=TODAY + timedelta(days=1))
        asked.refresh_from_db()
        assert "Noor" not in asked.question

    def test_visitors_are_forgotten_when_their_years_are_over_and_the_figures_stay(self, sign):
        row = sign(visitor_guardian="Uma", visitor_phone="08 7010")
        assert services.forget_visitors(before=TODAY) == 0
        assert services.forget_visitors(before=TODAY + timedelta(days=1)) == 1
        row.refresh_from_db()
        assert (row.visitor_name, row.visitor_guardian, row.visitor_phone) == ("a visitor", "", "")
        assert row.amount == as_amount(15)


class TestParentBesideTheChild:
    """Common practice, no source: a parent who has done the course may shoot beside the child."""

    @pytest.fixture
    def home(self, day):
        return factories.HouseholdFactory()

    @pytest.fixture
    def parent(self, home, by):
        from clubdesk.courses import services as courses

        cohort = factories.cohort(first=date(2026, 8, 4), minimum_age=10)
        person = factories.PersonFactory(household=home, birth_date=date(1985, 3, 9))
        place = courses.book_place(person=person, cohort=cohort, by=by, on=date(2026, 7, 6))
        for session in cohort.sessions[:3]:
            courses.record_attendance(cohort=cohort, session=session, present=[place], by=by)
        courses.issue_certificates(cohort=cohort, by=by)
        return person

    def due(self, day, person, gear=Gear.HIRE):
        return selectors.tariff(person=person, gear=gear, range_day=day)

    def test_at_the_price_that_the_schedule_has_for_it(self, day, home, parent, join):
        join(factories.PersonFactory(household=home))
        assert self.due(day, parent).amount == as_amount(15)
        factories.price(FeeKind.BESIDE, "8.00", Role.HIRE)
        assert self.due(day, parent).amount == as_amount(8)
        assert self.due(day, parent, Gear.OWN).amount == nil()
        lines = selectors.sheet(day, with_money=True, with_parents=True)
        line = next(line for line in lines if line.person == parent.pk)
        assert (line.tariff, "may shoot beside their child" in line.notes) == ("beside", True)

    def test_not_without_a_member_child_nor_without_the_course(self, day, home, parent, join):
        factories.price(FeeKind.BESIDE, "8.00", Role.HIRE)
        assert self.due(day, parent).amount == as_amount(15)
        join(factories.PersonFactory(household=home))
        aunt = factories.PersonFactory(household=home, birth_date=date(1988, 1, 1))
        assert self.due(day, aunt).amount == as_amount(15)
        assert self.due(day, parent).amount == as_amount(8)


class TestKit:
    @pytest.fixture
    def bow(self, book):
        return Kit.objects.create(number="B01", kind="bow", check_after=2)

    def test_given_out_once_and_back(self, sign, member, join, bow, by):
        first, second = sign(member), sign(join(factories.PersonFactory()))
        services.give_out(kit=bow, sign_on=first, at=NINE, by=by)
        services.give_out(kit=bow, sign_on=first, at=NINE, by=by)
        with pytest.raises(Refused, match=f"still out with {member}"):
            services.give_out(kit=bow, sign_on=second, at=NINE, by=by)
        assert [loan.kit for loan in selectors.kit_out(first.range_day)] == [bow]
        services.take_back_kit(kit=bow, at=NINE, by=by)
        assert services.take_back_kit(kit=bow, at=NINE, by=by) is None
        services.give_out(kit=bow, sign_on=second, at=NINE, by=by)
        assert figures.kit_in_use().get().uses == 2

    def test_what_is_set_aside_as_unsafe_is_not_given_out_by_anybody(self, sign, member, bow, by):
        with pytest.raises(Refused, match="Say what is wrong"):
            services.set_kit_aside(kit=bow, on=TODAY, note=" ", by=by)
        services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=by)
        signed = sign(member)
        with pytest.raises(Refused, match="unsafe. Have it checked by someone qualified"):
            services.give_out(kit=bow, sign_on=signed, at=NINE, by=by)
        with pytest.raises(IntegrityError, match="set aside or retired"), transaction.atomic():
            KitLoan.objects.create(kit=bow, sign_on=signed, given_at=NINE, recorded_by=by)

    def test_only_a_check_by_somebody_named_puts_it_back_into_use(self, bow, by):
        services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=by)
        with pytest.raises(IntegrityError, match="only by a check"), transaction.atomic():
            Kit.objects.update(state=KitState.USABLE)
        with pytest.raises(Refused, match="Say who checked it"):
            services.find_kit_fit(kit=bow, on=TODAY, checked_by="", by=by)
        services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida the bow maker", by=by)
        bow.refresh_from_db()
        assert bow.state == KitState.USABLE

    def test_a_range_helper_sets_it_aside_and_leaves_it_to_others_to_find_it_fit(self, bow, range_helper):
        services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=range_helper)
        with pytest.raises(Refused, match="your sign-in may not do that"):
            services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida the bow maker", by=range_helper)

    def test_uses_are_counted_for_maintenance_anew_from_each_check(self, sign, join, bow, by):
        for use in range(2):
            assert list(figures.kit_to_check()) == []
            signed = sign(join(factories.PersonFactory()))
            services.give_out(kit=bow, sign_on=signed, at=NINE + timedelta(minutes=use), by=by)
            services.take_back_kit(kit=bow, at=NINE, by=by)
        assert [kit.uses_since_check for kit in figures.kit_to_check()] == [2]
        services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida", by=by)
        assert list(figures.kit_to_check()) == []
        assert [(kit.uses, kit.uses_since_check) for kit in figures.kit_in_use()] == [(2, 0)]

    @pytest.fixture
    def tap(self, day, by):
        def tapped(key=None, at=NINE, **more):
            made = Tapped(key=key or uuid.uuid4(), at=at, **more)
            return services.receive_tap(range_day=day, tapped=made, by=by)

        return tapped

    def test_a_phone_gives_it_out_with_the_tap_that_signed_on_and_takes_it_back(self, tap, member, bow):
        signed = tap(people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        key = uuid.uuid4()
        for _ in range(2):
            given = tap(key=key, act="give", kit=bow.pk, holder=signed.key, people=(member.pk,))
            assert given.state == "done"
        assert bow.loans.get().sign_on.person == member
        for _ in range(2):
            assert tap(act="back", kit=bow.pk, at=NINE + timedelta(hours=2)).state == "done"
        assert bow.loans.get().back_at == NINE + timedelta(hours=2)

    def test_a_late_back_does_not_end_a_younger_loan(self, day, sign, member, join, bow, tap):
        ann, ben = sign(member), sign(join(factories.PersonFactory()))
        tap(act="give", kit=bow.pk, holder=ann.key)
        tap(act="back", kit=bow.pk, at=NINE + timedelta(minutes=61))
        tap(act="give", kit=bow.pk, holder=ben.key, at=NINE + timedelta(minutes=62))
        tap(act="back", kit=bow.pk, at=NINE + timedelta(minutes=60))
        assert [loan.sign_on for loan in selectors.kit_out(day)] == [ben]

    def test_unsafe_kit_that_is_out_stays_on_the_sheet_until_it_is_back(self, day, sign, member, bow, by):
        services.give_out(kit=bow, sign_on=sign(member), at=NINE, by=by)
        services.set_kit_aside(kit=bow, on=TODAY, note="cracked limb", by=by)
        (line,) = selectors.kit_on_hand(TODAY)
        assert "unsafe: take it back now" in line.who
        services.take_back_kit(kit=bow, at=NINE, by=by)
        assert selectors.kit_on_hand(TODAY) == []

    def test_kit_that_reached_the_book_before_its_sign_on_goes_out_with_it(self, day, member, bow, tap):
        key = uuid.uuid4()
        given = tap(act="give", kit=bow.pk, holder=key)
        assert given.state == "question"
        tap(key=key, people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        given.refresh_from_db()
        assert given.state == "done"
        assert selectors.kit_out(day).get().sign_on.person == member

    def test_kit_of_a_corrected_sign_on_is_found_by_the_wrong_ones_key(self, day, sign, member, bow, tap, by):
        wrong = sign(member)
        services.correct_sign_on(wrong=wrong, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)
        assert tap(act="give", kit=bow.pk, holder=wrong.key).state == "done"

    def test_a_number_is_carried_once_however_it_is_written(self, bow):
        with pytest.raises(IntegrityError), transaction.atomic():
            Kit.objects.create(number="b01", kind="bow")

    def test_setting_aside_does_not_start_its_uses_anew(self, sign, member, bow, by):
        services.give_out(kit=bow, sign_on=sign(member), at=NINE, by=by)
        services.set_kit_aside(kit=bow, on=TODAY, note="cracked limb", by=by)
        assert figures.kit_in_use().get().uses_since_check == 1

    def test_back_on_one_phone_before_the_other_says_that_it_went_out(self, tap, member, bow):
        signed = tap(people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        tap(act="back", kit=bow.pk, at=NINE + timedelta(hours=2))
        assert tap(act="give", kit=bow.pk, holder=signed.key).state == "done"
        assert bow.loans.get().back_at == NINE + timedelta(hours=2)
        assert list(selectors.kit_out()) == []

    def test_what_cannot_be_is_a_question(self, tap, member, bow, day):
        assert "not in the list" in tap(act="give", kit=999_999, holder=uuid.uuid4()).question
        assert "not signed on" in tap(act="give", kit=bow.pk, holder=uuid.uuid4()).question
        assert day.taps.filter(state="question").count() == 2

    def test_what_is_still_out_stands_on_the_days_page(self, client, coordinator, sign, member, bow, by, day):
        services.give_out(kit=bow, sign_on=sign(member), at=NINE, by=by)
        client.force_login(coordinator)
        for page in ("change", "close"):
            said = client.get(reverse(f"admin:rangeday_rangeday_{page}", args=[day.pk])).content.decode()
            assert "Kit still out" in said


class TestReading:
    @pytest.fixture
    def summer(self, day, sign, join, by):
        """Two days: a member hires on both, another comes with own gear, a visitor once on account of nobody."""
        earlier = factories.range_day(date(2026, 8, 29))
        keen, calm = (factories.PersonFactory() for _ in range(2))
        for person in (keen, calm):
            membership.take_out_membership(
                person=person, plan=factories.Plan.objects.get(), starts_on=date(2026, 8, 1), on=TODAY, by=by
            )
        for on in (earlier, day):
            sign(keen, on=on)
        sign(calm, gear=Gear.OWN, paid=Paid.NOTHING)
        sign(paid=Paid.CARD)
        return keen, calm

    @pytest.fixture(autouse=True)
    def plan_first(self, plan):
        return plan

    def test_takings_by_day_method_and_kind_agree_with_the_ledger(self, summer):
        days = figures.by_day(date(2026, 8, 1), TODAY)
        assert [(each.attendance, each.takings.amount) for each in days] == [(1, 7), (3, 22)]
        assert days[1].fees == {Gear.HIRE: as_amount(7), Gear.VISITOR: as_amount(15), Gear.OWN: nil()}
        assert (days[1].paid[Paid.CASH], days[1].paid[Paid.CARD]) == (as_amount(7), as_amount(15))
        proofs = figures.proofs(days, date(2026, 8, 1), TODAY)
        assert [(each.by_sign_ons, each.by_ledger) for each in proofs] == [
            (as_amount(14), as_amount(14)),
            (as_amount(15), as_amount(15)),
        ]

    def test_a_cancelled_sign_on_is_in_neither(self, summer, by):
        services.cancel_sign_on(sign_on=SignOn.objects.filter(paid=Paid.CARD).get(), on=TODAY, reason="declined", by=by)
        days = figures.by_day(date(2026, 8, 1), TODAY)
        assert [each.by_ledger for each in figures.proofs(days, date(2026, 8, 1), TODAY)] == [as_amount(14), nil()]
        assert days[1].attendance == 2

    def test_attendance_by_month_counts_each_person_once(self, summer):
        months = figures.by_month(figures.by_day(date(2026, 8, 1), TODAY))
        assert [(each.first, each.days, each.sign_ons, each.people, each.visitors) for each in months] == [
            (date(2026, 8, 1), 1, 1, 1, 0),
            (date(2026, 9, 1), 1, 3, 3, 1),
        ]

    def test_six_hires_that_come_to_four_fifths_of_the_cost_are_a_hint(self, summer, sign, join):
        keen, _ = summer
        for week in range(1, 5):
            on = factories.RangeDay.objects.create(date=TODAY - timedelta(days=week), place="Hall")
            sign(keen, on=on)
        OwnGearCost.objects.create(since=TODAY, amount=as_amount("52.50"))
        assert [(hint.person, hint.hires, hint.paid) for hint in figures.own_gear_hints(TODAY)] == [
            (keen, 6, as_amount(42))
        ]
        OwnGearCost.objects.update(amount=as_amount("52.51"))
        assert figures.own_gear_hints(TODAY) == []

    def test_the_page_shows_it_all_and_says_when_nothing_is_there(self, summer, client, coordinator, range_helper):
        client.force_login(coordinator)
        page = client.get(reverse("admin:range_figures")).content.decode()
        for words in (
            "Takings by day",
            "Cash from sign-ons in the ledger: 14.00, and by the sign-ons the same.",
            "September 2026",
            "<svg",
        ):
            assert words in page
        assert (
            "No range day"
            in client.get(
                reverse("admin:range_figures"), {"since": "2026-07-01", "until": "2026-07-02"}
            ).content.decode()
        )
        wrong = client.get(reverse("admin:range_figures"), {"since": "2026-09-01", "until": "2026-08-01"})
        assert "before the first" in wrong.content.decode()
        client.force_login(range_helper)
        assert client.get(reverse("admin:range_figures")).status_code == 403

    def test_a_year_that_is_not_open_yet_is_no_error(self, summer, client, coordinator):
        client.force_login(coordinator)
        with clock.on(date(2027, 8, 1)):
            assert client.get(reverse("admin:range_figures")).status_code == 200

    def test_the_same_date_of_two_years_is_two_columns(self, summer):
        from clubdesk.rangeday.views import season_chart

        days = figures.by_day(date(2026, 8, 1), TODAY)
        earlier = figures.DayFigures(factories.range_day(date(2025, 9, 12)))
        assert len(season_chart([earlier, *days]).columns) == 3

    def test_what_is_in_the_tin_is_always_known(self, summer, client, coordinator, by):
        services.bank_takings(amount=as_amount(10), on=TODAY, by=by)
        assert [(line.amount.amount, line.held.amount) for line in figures.tin_lines(TODAY)] == [
            (-10, 4),
            (7, 14),
            (7, 7),
        ]
        client.force_login(coordinator)
        facts = dict(client.get(reverse("admin:range_tin")).context["facts"])
        assert facts["In the tin now"] == as_amount(4)
        assert facts["Days not counted yet"] == 2


class TestTheChart:
    def test_its_scale_is_round_and_its_columns_are_as_high_as_their_figures(self):
        from clubdesk.screens.charts import Chart

        chart = Chart(
            "Takings", ["Hire", "Visitors"], [("1 Sep", [Decimal(70), Decimal(30)]), ("8 Sep", [Decimal(0)] * 2)]
        )
        assert chart.top == 100
        assert [float(bar["height"]) for bar in chart.bars] == [123.2, 52.8, 0, 0]
        assert [Chart("", [], [("x", [Decimal(n)])]).top for n in (1, 2, 3, 7, 60, 130)] == [1, 2, 5, 10, 100, 200]
        assert Chart("", [], []).bars == []


class TestSeveralRanges:
    def test_home_asks_which_range_where_two_are_open_today(self, client, range_helper, day):
        client.force_login(range_helper)
        assert client.get("/today/").url == reverse("admin:range_sheet", args=[day.pk])
        factories.RangeDay.objects.create(date=TODAY, place="Hall")
        where = client.get("/today/").url
        assert where.startswith(reverse("admin:rangeday_rangeday_changelist"))
        assert client.get(where).context["cl"].result_count == 2


@pytest.mark.parametrize("change", [{"gear": "own"}, {"person": None}, {"cancelled_on": TODAY}])
def test_a_sign_on_of_a_counted_day_stays_as_it_was(day, sign, member, count, change):
    sign(member)
    count(7)
    with pytest.raises(IntegrityError), transaction.atomic():
        SignOn.objects.update(**change)


@pytest.mark.only_on("sqlite")
def test_coins_are_compared_in_whole_cents(day, count, sign):
    """0.1 + 0.2 is not 0.3 in binary: the guard compares rounded cents. Source: IEEE 754."""
    assert connection.vendor == "sqlite"
    counted = count("0.30", reason="found", pieces={10: 1, 20: 1})
    assert counted.counted == as_amount("0.30")
