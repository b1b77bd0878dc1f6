"""Courses, memberships and range days: one true way through each room, and orders that are odd."""

import io
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.bank.selectors import possible_explanations
from clubdesk.courses import checks
from clubdesk.courses import selectors as course_questions
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking, Place, PlaceState
from clubdesk.desk.services import nightly
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Method
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.membership import services as membership
from clubdesk.membership.owed import affiliation_owed
from clubdesk.membership.selectors import is_member
from clubdesk.money import as_amount, in_pieces
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from tests import factories
from tests.fees.test_fees import lines, sound

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


class TestCourses:
    @pytest.fixture
    def cohort(self, book):
        return factories.cohort(capacity=2)

    def book(self, by, cohort, count=1, on=NOW):
        return [courses.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=on) for _ in range(count)]

    def test_booking_charges_the_fee_which_is_income_from_the_first_session(self, cohort, by):
        (place,) = self.book(by, cohort)
        assert place.state == PlaceState.HELD
        assert balance(Role.FEES_IN_ADVANCE, NOW) == Decimal("-126.00")
        nightly(on=cohort.first_session, by=by)
        assert balance(Role.COURSES, cohort.first_session) == Decimal("-126.00")
        assert balance(Role.FEES_IN_ADVANCE, cohort.first_session) == 0
        assert sound()

    def test_a_full_cohort_puts_people_on_the_waitlist_in_order(self, cohort, by):
        places = self.book(by, cohort, 5)
        assert [place.state for place in places] == ["held", "held", "waiting", "waiting", "waiting"]
        assert [place.booking.number for place in places] == [1, 2, 3, 4, 5]
        assert [course_questions.position(place.booking) for place in places[2:]] == [1, 2, 3]
        assert places[2].charge is None
        assert sound()

    def test_a_seat_that_comes_free_is_offered_to_the_next_and_lapses_to_the_one_after(self, cohort, by):
        places = self.book(by, cohort, 4)
        courses.withdraw_place(place=places[0], on=NOW, reason="ill", by=by)
        states = lambda: list(Place.objects.order_by("pk").values_list("state", flat=True))  # noqa: E731
        assert states() == ["withdrawn", "held", "offered", "waiting"]
        nightly(on=date(2026, 9, 19), by=by)
        assert states() == ["withdrawn", "held", "offered", "waiting"]
        nightly(on=date(2026, 9, 20), by=by)
        nightly(on=date(2026, 9, 20), by=by)
        assert states() == ["withdrawn", "held", "lapsed", "offered"]
        courses.accept_offer(booking=places[3].booking, on=date(2026, 9, 21), by=by)
        assert states() == ["withdrawn", "held", "lapsed", "held"]
        assert sound()

    def test_whoever_waits_is_not_overtaken_by_a_later_booking(self, cohort, by):
        places = self.book(by, cohort, 3)
        courses.withdraw_place(place=places[0], on=NOW, reason="ill", by=by)
        (late,) = self.book(by, cohort)
        assert late.state == PlaceState.WAITING

    def test_a_withdrawn_place_credits_its_fee(self, cohort, by):
        (place,) = self.book(by, cohort)
        charging.record_receipt(
            household=place.person.household, amount=as_amount("126"), method=Method.CARD, on=NOW, by=by
        )
        courses.withdraw_place(place=place, on=NOW, reason="moved", by=by)
        courses.withdraw_place(place=place, on=NOW, reason="moved", by=by)
        assert fees.unused_credit(place.person.household) == as_amount("126.00")
        assert sound()

    # Common practice, no source: sign-up age nine, or younger after a draw check.
    @pytest.mark.parametrize(("born", "age"), [(date(2017, 10, 5), 8), (date(2017, 10, 4), 9)])
    def test_the_minimum_age_counts_on_the_first_session(self, book, by, born, age):
        child = factories.PersonFactory(birth_date=born)
        cohort = factories.cohort(minimum_age=9)
        waits_or_has = PlaceState.WAITING if age < 9 else PlaceState.HELD
        assert courses.book_place(person=child, cohort=cohort, by=by, on=NOW).state == waits_or_has

    def test_a_cohort_may_have_a_minimum_age_of_its_own(self, book, by):
        cohort = factories.cohort(minimum_age=10)
        cohort.minimum_age = 13
        cohort.save()
        place = courses.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=NOW)
        assert place.state == PlaceState.WAITING
        assert checks.too_young(place.person, cohort).endswith("takes people from 13")

    def test_nobody_holds_two_places_in_one_cohort(self, cohort, by):
        (place,) = self.book(by, cohort)
        with pytest.raises(Refused, match="has a place"):
            courses.book_place(person=place.person, cohort=cohort, by=by, on=NOW)

    def test_the_database_holds_the_capacity_and_the_order(self, cohort, by):
        self.book(by, cohort, 4)
        for sql, message in (
            (f"UPDATE courses_place SET state = 'offered', cohort_id = {cohort.pk} WHERE state = 'waiting'", "full"),
            ("UPDATE courses_booking SET rank = 9 WHERE number = 4", "never changes silently"),
            ("UPDATE courses_cohort SET capacity = 1", "withdraw some first"),
        ):
            with pytest.raises(IntegrityError, match=message), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(sql)

    def test_a_year_of_four_cohorts_of_16_of_whom_12_stay(self, book, by):
        # Common practice, no source: a three-week course of 16 places once a term, of which about 12 stay on.
        plan = factories.plan()
        clock.set_today(date(2026, 7, 2))
        for month in (8, 10, 2, 5):
            year = 2026 if month > 6 else 2027
            cohort = factories.cohort(capacity=16, first=date(year, month, 4))
            self.book(by, cohort, 18, on=date(2026, 7, 2))
            for booking in Booking.objects.filter(state="offered"):  # who waited for the cohort before comes first
                courses.accept_offer(booking=booking, on=date(2026, 7, 3), by=by)
            held = cohort.places.filter(state="held")
            assert held.count() == 16
            nightly(on=cohort.first_session, by=by)
            for place in held[:12]:
                membership.take_out_membership(
                    person=place.person, plan=plan, starts_on=cohort.last_session, on=cohort.last_session, by=by
                )
        assert balance(Role.COURSES, date(2027, 6, 30)) == -Decimal("126.00") * 64
        assert balance(Role.MEMBERSHIPS, date(2027, 6, 30)) == -Decimal("228.00") * 48
        assert sound()


class TestMemberships:
    def test_a_membership_covers_its_twelve_months_and_no_day_more(self, book, by):
        child = factories.PersonFactory()
        taken = membership.take_out_membership(person=child, plan=factories.plan(), starts_on=NOW, on=NOW, by=by)
        assert taken.ends_on == date(2027, 9, 11)
        assert [is_member(child, day) for day in (date(2026, 9, 11), NOW, taken.ends_on, date(2027, 9, 12))] == [
            False, True, True, False,
        ]  # fmt: skip

    def test_nobody_is_a_member_twice(self, book, by):
        child, plan = factories.PersonFactory(), factories.plan()
        membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)
        with pytest.raises(Refused, match="is a member already"):
            membership.take_out_membership(person=child, plan=plan, starts_on=date(2027, 1, 1), on=NOW, by=by)

    def test_a_membership_from_29_february_ends_on_28_february(self):
        assert clock.months_later(date(2028, 2, 29), 12) == date(2029, 2, 28)

    def test_what_is_owed_to_an_association_is_remitted_once(self, book, by):
        state = factories.association()
        plan = factories.plan(shares=[(state, "71.00")])
        membership.take_out_membership(person=factories.PersonFactory(), plan=plan, starts_on=NOW, on=NOW, by=by)
        assert affiliation_owed(state) == as_amount("71.00")
        membership.remit_affiliation(association=state, through=NOW, on=NOW, by=by)
        with pytest.raises(Refused, match="Nothing is owed to State archery association"):
            membership.remit_affiliation(association=state, through=NOW, on=NOW, by=by)
        assert lines("remitted") == [
            ("Affiliation payable", "State archery association", Decimal("71.00")),
            ("Bank", "", Decimal("-71.00")),
        ]
        assert sound()


class TestRangeDays:
    # Common practice, no source: gear hire of 8 for a member, 16 for a visitor with the visitor's fee included.
    @pytest.fixture
    def day(self, book):
        factories.hire("8.00", "16.00")
        return factories.range_day()

    @pytest.fixture
    def member(self, book, by):
        child = factories.PersonFactory(given_name="Ada")
        membership.take_out_membership(person=child, plan=factories.plan(), starts_on=NOW, on=NOW, by=by)
        return child

    def sign_on(self, by, day, **more):
        return rangeday.sign_on(range_day=day, by=by, **{"gear": Gear.HIRE, "paid": Paid.CASH, **more})

    def test_a_member_pays_the_hire_a_visitor_the_visitors_fee_own_gear_nothing(self, day, member, by):
        other = factories.PersonFactory()
        membership.take_out_membership(person=other, plan=member.memberships.get().plan, starts_on=NOW, on=NOW, by=by)
        assert self.sign_on(by, day, person=member).amount == as_amount("8.00")
        assert self.sign_on(by, day, visitor_name="Uncle").amount == as_amount("16.00")
        assert self.sign_on(by, day, person=other, gear=Gear.OWN, paid=Paid.NOTHING).amount == as_amount(0)
        assert balance(Role.TILL, NOW) == Decimal("24.00")
        assert balance(Role.HIRE, NOW) == Decimal("-8.00")
        assert balance(Role.VISITORS, NOW) == Decimal("-16.00")
        assert sound()

    def test_somebody_whose_membership_does_not_cover_the_day_is_a_visitor(self, day, by):
        assert self.sign_on(by, day, person=factories.PersonFactory()).gear == Gear.VISITOR

    def test_cards_go_to_card_takings_and_on_account_to_fees_owed(self, day, member, by):
        self.sign_on(by, day, person=member, paid=Paid.ACCOUNT)
        self.sign_on(by, day, visitor_name="Aunt", paid=Paid.CARD)
        assert fees.balance(member.household) == as_amount("236.00")
        assert balance(Role.CARD_TAKINGS, NOW) == Decimal("16.00")
        assert sound()

    @pytest.mark.parametrize(
        ("more", "sentence"),
        [
            ({"visitor_name": "Uncle", "paid": Paid.NOTHING}, "16.00 is due"),
            ({"visitor_name": "Uncle", "paid": Paid.ACCOUNT}, "without a family"),
            ({}, "Pick somebody"),
        ],
    )
    def test_what_cannot_be_is_refused_in_words(self, day, by, more, sentence):
        with pytest.raises(Refused, match=sentence):
            self.sign_on(by, day, **more)

    def test_nobody_signs_on_twice_and_a_mistake_is_cancelled(self, day, member, by):
        first = self.sign_on(by, day, person=member)
        with pytest.raises(Refused, match="signed on already"):
            self.sign_on(by, day, person=member)
        rangeday.cancel_sign_on(sign_on=first, on=NOW, reason="went home", by=by)
        assert balance(Role.TILL, NOW) == 0
        self.sign_on(by, day, person=member, paid=Paid.ACCOUNT)
        assert sound()

    def test_a_short_till_needs_a_reason_and_two_people_and_closes_the_day(self, day, coordinator, treasurer, by):
        self.sign_on(by, day, visitor_name="Uncle")
        count = {"range_day": day, "pieces": in_pieces(as_amount(11)), "by": coordinator, "on": NOW}
        with pytest.raises(Refused, match="Two people"):
            rangeday.close_day(second_counter=coordinator, **count)
        with pytest.raises(Refused, match=r"short by \$5.00"):
            rangeday.close_day(second_counter=treasurer, **count)
        rangeday.close_day(second_counter=treasurer, reason="a note is missing", **count)
        assert lines("difference") == [
            ("Cash box", "", Decimal("-5.00")),
            ("Cash over and short", "", Decimal("5.00")),
        ]
        with pytest.raises(Refused, match="closed and counted"):
            self.sign_on(by, day, visitor_name="Late")
        assert sound()

    def test_no_more_is_banked_than_the_till_holds(self, day, by):
        self.sign_on(by, day, visitor_name="Uncle")
        with pytest.raises(Refused, match=r"holds \$16.00"):
            rangeday.bank_takings(amount=as_amount("20"), on=NOW, by=by)
        rangeday.bank_takings(amount=as_amount("16"), on=NOW, by=by)
        assert balance(Role.BANK, NOW) == Decimal("16.00")
        assert sound()

    def test_card_takings_settle_less_the_fee(self, day, by):
        self.sign_on(by, day, visitor_name="Aunt", paid=Paid.CARD)
        bank.settle_cards(takings=as_amount("16.00"), fee=as_amount("0.26"), on=NOW, by=by)
        assert lines("settled") == [
            ("Bank", "", Decimal("15.74")),
            ("Bank and card fees", "", Decimal("0.26")),
            ("Card takings", "", Decimal("-16.00")),
        ]
        with pytest.raises(Refused, match=r"Card takings of \$0.00"):
            bank.settle_cards(takings=as_amount("1.00"), fee=as_amount(0), on=NOW, by=by)
        assert sound()

    def test_a_statement_line_is_explained_by_an_entry_of_its_amount(self, day, by):
        self.sign_on(by, day, visitor_name="Aunt", paid=Paid.CARD)
        bank.settle_cards(takings=as_amount("16.00"), fee=as_amount("0.26"), on=NOW, by=by)
        account = BankAccount.objects.get()
        line, strange = (
            bank.record_statement_line(bank_account=account, on=NOW, amount=as_amount(text), text="CARDS", by=by)
            for text in ("15.74", "-37.40")
        )
        posting = possible_explanations(line).get()
        bank.explain_line(line=line, posting=posting, by=by)
        assert not possible_explanations(strange).exists()
        with pytest.raises(Refused, match="matched with another line"):
            bank.explain_line(line=strange, posting=posting, by=by)
        assert sound()


class TestOddOrders:
    """What happens when things come in an order that nobody planned."""

    @pytest.fixture
    def place(self, book, by):
        return courses.book_place(person=factories.PersonFactory(), cohort=factories.cohort(), by=by, on=NOW)

    def test_a_voucher_refused_after_its_place_was_withdrawn_leaves_nothing_owed(self, place, by):
        scheme = factories.scheme()
        voucher = charging.accept_voucher(scheme=scheme, charge=place.charge, code="SV1", on=NOW, by=by)
        charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
        courses.withdraw_place(place=place, on=NOW, reason="ill", by=by)
        charging.refuse_voucher(voucher=voucher, on=NOW, reason="used elsewhere", by=by)
        assert fees.balance(place.person.household) == as_amount(0)
        assert sound()

    def test_a_cohort_that_moves_takes_the_waiting_income_with_it(self, place, by):
        cohort = place.cohort
        cohort.first_session, cohort.last_session = date(2026, 11, 1), date(2026, 11, 22)
        courses.save_cohort(cohort=cohort, on=NOW, by=by)
        nightly(on=date(2026, 10, 4), by=by)
        assert balance(Role.COURSES, date(2026, 10, 31)) == 0
        nightly(on=date(2026, 11, 1), by=by)
        assert balance(Role.COURSES, date(2026, 11, 1)) == Decimal("-126.00")
        cohort.first_session = date(2026, 11, 8)
        with pytest.raises(Refused, match="has started"):
            courses.save_cohort(cohort=cohort, on=date(2026, 11, 2), by=by)

    def test_many_small_credits_come_to_what_one_large_one_would(self, book, by):
        state = factories.association()
        plan = factories.plan(shares=[(state, "71.00")])
        taken = membership.take_out_membership(
            person=factories.PersonFactory(), plan=plan, starts_on=NOW, on=NOW, by=by
        )
        for _ in range(3):
            charging.credit_charge(charge=taken.charge, amount=as_amount("76.00"), on=NOW, reason="part", by=by)
        assert affiliation_owed(state) == as_amount(0)
        assert balance(Role.MEMBERSHIPS, NOW) == 0
        assert sound()

    def test_a_sign_on_whose_charge_was_credited_can_still_be_cancelled(self, book, by):
        factories.hire()
        child = factories.PersonFactory()
        signed = rangeday.sign_on(
            range_day=factories.range_day(), person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by
        )
        charging.credit_charge(charge=signed.charge, on=NOW, reason="goodwill", by=by)
        assert rangeday.cancel_sign_on(sign_on=signed, on=NOW, reason="went home", by=by).cancelled_on == NOW
        assert sound()

    def test_a_banking_dated_back_takes_no_more_than_is_there_now(self, book, by):
        entryfund.cash_in(containers=1000, amount=as_amount(100), paid_into=PaidInto.TILL, on=date(2026, 9, 1), by=by)
        rangeday.bank_takings(amount=as_amount(100), on=NOW, by=by)
        with pytest.raises(Refused, match=r"holds \$0\.00"):
            rangeday.bank_takings(amount=as_amount(100), on=date(2026, 9, 6), by=by)

    def test_nothing_is_credited_or_decided_before_it_was_charged_or_claimed(self, place, by, coordinator, approver):
        with pytest.raises(Refused, match="cannot be credited before"):
            charging.credit_charge(charge=place.charge, on=date(2026, 9, 11), reason="early", by=by)
        claim = entryfund.record_claim(
            person=place.person,
            event=factories.event(),
            amount=as_amount(60),
            evidence=examine(io.BytesIO(factories.photo())),
            on=NOW,
            by=coordinator,
        )
        with pytest.raises(Refused, match="cannot be decided before"):
            entryfund.approve_claim(claim=claim, by=approver, on=date(2026, 9, 11))

    def test_one_fee_that_cannot_be_recognised_holds_no_other_back(self, place, by):
        late = membership.take_out_membership(
            person=factories.PersonFactory(), plan=factories.plan(), starts_on=date(2027, 8, 1), on=NOW, by=by
        )
        night = nightly(on=date(2027, 8, 1), by=by)
        assert night.counts["fees became income"] == 1
        assert night.not_yet == (
            f"{late.charge}: No financial year covers 1 Aug 2027; open that year first or correct the date.",
        )
