"""A range day's tin: counted by coin, reopened, banked; and a day called off."""

import uuid
from datetime import date, timedelta
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
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, in_pieces, nil
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import (
    CountedPiece,
    Gear,
    Paid,
    RangeDay,
    SignOn,
    TillCount,
)
from clubdesk.rangeday.services.taps import Tapped
from tests import factories
from tests.rangeday.days import NINE, TODAY, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def count(day, by, approver):
    def counted(amount, on=day, **more):
        known = {"pieces": in_pieces(as_amount(amount)), "second_counter": approver, "by": by, "on": on.date}
        return services.close_day(range_day=on, **known | more)

    return counted


def put_in_the_till(amount, by, on=TODAY):
    lines = [debit(Role.TILL, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
    ledger.record_journal(on=on, narration="Float", lines=lines, by=by)


class TestDays:
    def test_one_that_was_called_off_is_neither_open_nor_counted(self):
        days = [RangeDay(), RangeDay(closed_on=TODAY), RangeDay(called_off_on=TODAY)]
        assert [(day.standing, day.is_open) for day in days] == [
            ("open", True), ("counted", False), ("called off", False),
        ]  # fmt: skip

    def test_what_was_paid_moves_to_a_later_day_that_is_open_the_nearest_first(self, day, count, by):
        far, near, shut, off, *_before_or_beside = (
            RangeDay.objects.create(date=TODAY + timedelta(days=ahead), place="Hall") for ahead in (14, 7, 8, 9, 0, -7)
        )
        river = RangeDay.objects.create(date=near.date, place="River range")
        count(0, on=shut)
        services.call_off_day(range_day=off, reason="hail", on=TODAY, by=by)
        assert list(selectors.open_days_after(day)) == [near, river, far]
        assert list(selectors.open_days_after(far)) == list(selectors.open_days_after(None)) == []

    def test_a_day_waits_for_its_count_from_the_day_itself(self, day, count, by):
        later = RangeDay.objects.create(date=TODAY + timedelta(days=1), place="Hall")
        assert [list(selectors.uncounted(on)) for on in (TODAY - timedelta(days=1), TODAY, later.date)] == [
            [], [day], [later, day],
        ]  # fmt: skip
        count(0)
        services.call_off_day(range_day=later, reason="hail", on=TODAY, by=by)
        assert list(selectors.uncounted(later.date)) == []


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
        with pytest.raises(Refused, match=r"knows of \$100.00 in cash"):
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

    def test_what_was_banked_later_is_not_banked_before_that_too(self, sign, by):
        sign()
        later = TODAY + timedelta(days=7)
        with clock.on(later):
            services.bank_takings(amount=as_amount(15), on=later, by=by)
            with pytest.raises(Refused, match=r"0\.00 on 12 Sep 2026"):
                services.bank_takings(amount=as_amount(15), on=TODAY, by=by)

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

    def test_a_second_count_of_a_closed_day_is_refused_with_who_closed_it_and_the_sum(self, sign, count, by):
        sign()
        key = uuid.uuid4()
        first = count(15, key=key)
        said = rf"closed already by {by.username} and approver, with \$15.00 in the cash box"
        with pytest.raises(Refused, match=said):
            count(20, key=uuid.uuid4())
        with pytest.raises(Refused, match=said):
            count(15)
        assert count(20, key=key) == first
        assert first.counted == as_amount(15)

    def test_the_page_of_a_day_that_somebody_else_closed_meanwhile_says_so(
        self, client, coordinator, treasurer, day, sign, count
    ):
        sign()
        client.force_login(coordinator)
        url = reverse("admin:rangeday_rangeday_close", args=[day.pk])
        page = client.get(url).context
        form = {"key": str(uuid.uuid4()), "opened": page["opened"], "opening": "0", "second_counter": treasurer.pk,
                "on": TODAY.isoformat(), "pieces_1000": "1", "pieces_500": "1"}  # fmt: skip
        count(15)
        for sent in (form, {**form, "opened": ""}):
            answer = client.post(url, sent, follow=True)
            content = answer.content.decode()
            assert "The day was counted and closed already by" in content
            assert "$15.00 in the cash box" in content
            assert "is closed." not in content
        assert "The day was counted and closed already by" in client.get(url, follow=True).content.decode()

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
        with pytest.raises(Refused, match=r"The cash box should hold \$45.00 and is short by \$1.00"):
            count(44, on=other, opening=as_amount(30))
        count(44, on=other, opening=as_amount(30), reason="a dollar coin")
        assert balance(Role.TILL, TODAY) == 80 + 30 - 1
        assert sound()

    def test_the_card_slip_is_compared_and_its_difference_posted(self, sign, count, member, by):
        sign(paid=Paid.CARD)
        with pytest.raises(Refused, match=r"15.00 was paid by card; write the total of the slip"):
            count(0)
        with pytest.raises(Refused, match=r"The card slip should hold \$15.00 and is short by \$8.00"):
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
        with pytest.raises(Refused, match=r"no note or coin of \$0.03"):
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
        with pytest.raises(IntegrityError, match="Who reopened a day"), transaction.atomic():
            TillCount.objects.update(reopened_on=None)

    def test_not_in_a_locked_month(self, day, count, by):
        count(0)
        ledger.lock_month(month_end=date(2026, 9, 30), reason="a test", by=by)
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
        with pytest.raises(IntegrityError, match="called off stays so"), transaction.atomic():
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


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"gear": "own"}, "sign-on keeps what the ledger says"),
        ({"person": None}, "sign-on keeps what the ledger says"),
        ({"cancelled_on": TODAY}, "sign-ons stay as they are until it is reopened"),
    ],
)
def test_a_sign_on_of_a_counted_day_stays_as_it_was(day, sign, member, count, change, sentence):
    sign(member)
    count(7)
    with pytest.raises(IntegrityError, match=sentence), transaction.atomic():
        SignOn.objects.update(**change)


@pytest.mark.only_on("sqlite")
def test_coins_are_compared_in_whole_cents(day, count, sign):
    """0.1 + 0.2 is not 0.3 in binary: the guard compares rounded cents. Source: IEEE 754."""
    assert connection.vendor == "sqlite"
    counted = count("0.30", reason="found", pieces={10: 1, 20: 1})
    assert counted.counted == as_amount("0.30")
