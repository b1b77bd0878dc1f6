"""Who signs on: ahead of the day, corrected, by which rules, and beside a child."""

import uuid
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees.models import FeeKind, FeePrice
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, nil
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import (
    Gear,
    Kit,
    Paid,
    SafetyText,
    SignOn,
)
from clubdesk.rangeday.services.taps import Tapped
from tests import factories
from tests.rangeday.days import NINE, TODAY, sound

pytestmark = pytest.mark.django_db


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

    def test_nobody_is_recorded_again_where_the_rounding_stays(self, day, join, by):
        """7.00 is a whole number of coins; and where nobody is left there is nothing to round."""
        home = factories.HouseholdFactory()
        pair = [join(factories.PersonFactory(household=home)) for _ in range(2)]
        tapped = Tapped(
            key=uuid.uuid4(), at=NINE, people=tuple(each.pk for each in pair), gear=Gear.HIRE, paid=Paid.CASH
        )
        first, second = services.receive_tap(range_day=day, tapped=tapped, by=by).sign_ons.order_by("pk")
        for row, left in ((first, [second]), (second, [])):
            services.cancel_sign_on(sign_on=row, on=TODAY, reason="went home", by=by)
            assert list(SignOn.objects.filter(cancelled_on=None)) == left
        assert balance(Role.TILL, TODAY) == 0

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

    def test_what_a_phone_sent_of_a_visitor_is_forgotten_too(self, day, by):
        tapped = Tapped(
            key=uuid.uuid4(), at=NINE, gear=Gear.VISITOR, paid=Paid.CASH, visitor_name="Noor",
            visitor_guardian="Uma", visitor_phone="08 7010",
        )  # fmt: skip
        tap = services.receive_tap(range_day=day, tapped=tapped, by=by)
        for before, left in ((TODAY, ("Noor", "Uma", "08 7010")), (TODAY + timedelta(days=1), ("a visitor", "", ""))):
            services.forget_visitors(before=before)
            tap.refresh_from_db()
            assert (tap.visitor_name, tap.visitor_guardian, tap.visitor_phone) == left


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
        assert (line.tariff, selectors.BESIDE in line.marks) == ("beside", True)
        assert line.beside == tuple(home.people.exclude(pk=parent.pk).values_list("pk", flat=True))

    def test_not_without_a_member_child_nor_without_the_course(self, day, home, parent, join):
        factories.price(FeeKind.BESIDE, "8.00", Role.HIRE)
        assert self.due(day, parent).amount == as_amount(15)
        join(factories.PersonFactory(household=home))
        aunt = factories.PersonFactory(household=home, birth_date=date(1988, 1, 1))
        assert self.due(day, aunt).amount == as_amount(15)
        assert self.due(day, parent).amount == as_amount(8)
