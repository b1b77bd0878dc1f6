"""Random runs of a course's waitlist: whatever is done, in any order, it stays fair and sound."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.models import Booking, Cohort, PlaceState, RefundStep
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.verbs import shell_user
from tests import factories

pytestmark = pytest.mark.django_db


class RandomWaitlist(RuleBasedStateMachine):
    """Parties of one to three, three cohorts of three seats; time only goes forward."""

    @initialize()
    def start(self):
        self.run = transaction.atomic()
        self.run.__enter__()
        self.by = shell_user()
        ledger.open_year(first_day=date(2027, 7, 1), by=self.by)
        self.it_is(date(2026, 7, 6))
        cohorts = [factories.cohort(capacity=3, first=first, fee="126.03") for first in (
            date(2026, 8, 2), date(2026, 10, 4), date(2027, 2, 7))]  # fmt: skip
        self.course = cohorts[0].course
        self.course.pay_days, self.course.reminder_days = 20, 5
        self.course.save()
        for days, percent in ((21, 100), (7, 33)):
            RefundStep.objects.create(course=self.course, days_before=days, percent=percent)
        for size in (2, 3, 1, 2, 2, 1, 3, 1):
            self.ask(size, 12, None)

    def it_is(self, day):
        self.today = day
        clock.set_today(day)

    def try_to(self, verb, **given):
        """Do it, or see it refused with a sentence; nothing in between."""
        try:
            return verb(by=self.by, on=self.today, **given)
        except Refused as refusal:
            assert refusal.sentence
            return None

    def pick(self, data, rows):
        found = list(rows.order_by("pk"))
        return data.draw(st.sampled_from(found)) if found else None

    def some(self, data, rows):
        found = list(rows.order_by("pk"))
        return data.draw(st.lists(st.sampled_from(found), unique=True, min_size=1)) if found else []

    @rule(days=st.integers(1, 15))
    def time_goes_on(self, days):
        self.it_is(min(self.today + timedelta(days=days), date(2028, 5, 1)))
        nightly(on=self.today, by=self.by)

    @rule(size=st.integers(1, 3), age=st.sampled_from([8, 9, 12]), young=st.booleans(), data=st.data())
    def a_family_asks(self, size, age, young, data):
        cohorts = data.draw(st.sampled_from([None, self.some(data, selectors.cohorts_not_over(self.today)) or None]))
        self.ask(size, age, cohorts, by_the_family=young)

    def ask(self, size, age, cohorts, **more):
        household = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
        born = date(self.today.year - age, 3, 9)
        people = [factories.PersonFactory(household=household, birth_date=born) for _ in range(size)]
        self.try_to(services.book_party, course=self.course, people=people, cohorts=cohorts, **more)

    @rule(data=st.data())
    def a_family_accepts(self, data):
        if booking := self.pick(data, Booking.objects.filter(state=PlaceState.OFFERED)):
            self.try_to(services.accept_offer, booking=booking)

    @rule(data=st.data())
    def some_withdraw(self, data):
        if booking := self.pick(data, Booking.objects.all()):
            places = self.some(data, booking.places.all())
            self.try_to(services.withdraw, booking=booking, places=places, reason="ill")

    @rule(data=st.data())
    def some_are_transferred(self, data):
        if booking := self.pick(data, Booking.objects.filter(state=PlaceState.HELD)):
            cohort, places = self.pick(data, Cohort.objects.all()), self.some(data, booking.places.all())
            self.try_to(services.transfer, booking=booking, cohort=cohort, places=places, reason="camp")

    @rule(data=st.data())
    def one_is_moved_in_the_queue(self, data):
        if booking := self.pick(data, Booking.objects.all()):
            before = data.draw(st.sampled_from([None, self.pick(data, Booking.objects.all())]))
            self.try_to(services.move_in_queue, booking=booking, before=before, reason="promised")

    @rule(data=st.data())
    def one_cannot_make_some_cohorts(self, data):
        if booking := self.pick(data, Booking.objects.filter(state=PlaceState.WAITING)):
            self.try_to(services.change_cohorts, booking=booking, cannot_make=self.some(data, Cohort.objects.all()))

    @rule(data=st.data())
    def a_child_is_checked(self, data):
        if booking := self.pick(data, Booking.objects.all()):
            person = booking.places.first().person
            self.try_to(services.record_reach_check, person=person, checked_by="Coach")

    @rule(data=st.data(), seats=st.integers(1, 5), later=st.integers(0, 20))
    def a_cohort_changes(self, data, seats, later):
        if cohort := self.pick(data, Cohort.objects.filter(cancelled_on=None)):
            moved = timedelta(days=later)
            cohort.first_session, cohort.last_session = cohort.first_session + moved, cohort.last_session + moved
            taken = cohort.capacity - selectors.seats_left(cohort)
            cohort.capacity = max(seats, taken)
            self.try_to(services.save_cohort, cohort=cohort)

    @rule(data=st.data())
    def a_cohort_is_cancelled(self, data):
        if cohort := self.pick(data, Cohort.objects.filter(cancelled_on=None)):
            self.try_to(services.cancel_cohort, cohort=cohort, reason="flood")

    @rule(data=st.data(), cents=st.integers(1, 40000))
    def a_family_pays(self, data, cents):
        if booking := self.pick(data, Booking.objects.all()):
            amount = as_amount(cents) / 100
            self.try_to(fees.record_receipt, household=booking.household, amount=amount, method=Method.CARD)

    @rule()
    def the_mail_goes_out(self):
        Message.objects.filter(state="waiting").update(state="sent", sent_at="2026-09-20T00:00Z")

    def no_seat_is_free_for_who_waits(self):
        """Right after a night nobody waits whom a free seat of a coming cohort would fit."""
        nightly(on=self.today, by=self.by)
        for cohort in selectors.cohorts_to_come(self.course, self.today):
            assert not selectors.fitting(cohort, cohort.capacity - cohort.taken).exists()

    def teardown(self):
        if not hasattr(self, "run"):
            return
        try:
            faults = [(result.name, result.faults) for result in check_all() if result.faults]
            self.no_seat_is_free_for_who_waits()
            faults += [(result.name, result.faults) for result in check_all() if result.faults]
            assert faults == []
        finally:
            transaction.set_rollback(True)
            self.run.__exit__(None, None, None)


@pytest.mark.slow
def test_a_waitlist_stays_fair_and_sound_whatever_happens():
    run_state_machine_as_test(
        RandomWaitlist,
        settings=settings(
            max_examples=12,
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
