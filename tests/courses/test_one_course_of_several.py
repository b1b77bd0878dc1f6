"""What is asked of one course or of the cohorts to come is not answered with another's, or with what is over."""

from datetime import date, timedelta

import pytest

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.figures import course_figures
from clubdesk.courses.forecast import CohortAhead, Habits, PartyAhead
from clubdesk.courses.models import Cohort, Course
from clubdesk.desk.services import nightly
from clubdesk.errors import Refused
from clubdesk.fees.models import FeeItem, FeeKind
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account
from tests.courses.families import NOW, OCTOBER, again, family

pytestmark = pytest.mark.django_db


@pytest.fixture
def holiday(course):
    """Another course, of which no cohort is set up."""
    return Course.objects.create(name="Holiday course", fee_item=course.fee_item)


def test_a_queue_counts_the_parties_of_its_own_course_alone(october, holiday, ask, by):
    for name in ("Tarn", "Wren"):
        services.book_party(course=holiday, people=family(12, name=name), by=by, on=NOW)
    ask(12, 12, 12)
    waiting = ask(12)
    assert list(selectors.waitlist(october.course)) == [waiting]
    assert selectors.position(waiting) == 1


def test_the_habits_of_a_course_are_those_of_its_own_last_three_years(october, holiday, ask, by):
    services.book_party(course=holiday, people=family(12, name="Tarn"), by=by, on=NOW)
    ask(12)
    ten_days_on = NOW + timedelta(days=10)
    assert selectors.habits(holiday, ten_days_on) == Habits(place_days=10, asked=(1,), asked_over=10)
    three_years_on = NOW + timedelta(days=3 * 365)
    assert selectors.habits(holiday, three_years_on) == Habits(place_days=3 * 365, asked=(1,), asked_over=3 * 365)
    assert selectors.habits(holiday, three_years_on + timedelta(days=1)) == Habits()


def test_only_a_cohort_to_come_is_said_to_have_no_price(course, february, by):
    unpriced = FeeItem.objects.create(
        code="adult", name="Adults", kind=FeeKind.COURSE, income_account=account(Role.COURSES)
    )
    Course.objects.update(adult_fee_item=unpriced)
    words = "the fee schedule has no price on {}, so no place is offered; add one."
    in_october, in_february = (words.format(day) for day in ("4 Oct 2026", "7 Feb 2027"))
    assert [said.partition(": ")[2] for said in selectors.cohorts_without_price(OCTOBER)] == [in_october, in_february]
    (said,) = selectors.cohorts_without_price(OCTOBER + timedelta(days=1))
    assert said.endswith(in_february)


def test_a_cohort_whose_fees_are_income_keeps_its_first_session(october, ask, by):
    ask(12)
    nightly(on=OCTOBER, by=by)
    october.first_session = date(2026, 10, 11)
    with pytest.raises(Refused, match="has started, or a fee of it is income already; its first session stays 4 Oct"):
        services.save_cohort(cohort=october, on=NOW, by=by)


def test_a_seat_given_up_some_days_ago_is_offered_for_seven_days_from_today(ask, by):
    first = date(2026, 9, 1)
    full, waiting = ask(12, 12, 12, on=first), ask(12, on=first)
    services.withdraw(booking=full, on=date(2026, 9, 5), reason="ill", by=by)
    assert clock.today() == NOW
    assert again(waiting).offer_lapses_on == NOW + timedelta(days=7)


@pytest.fixture
def told(monkeypatch):
    """What the simulation of the wait is told, in place of its answer."""
    kept = []
    monkeypatch.setattr(selectors, "estimates", lambda *each: kept.append(each) or {})
    return kept


def test_the_estimate_is_told_seats_queue_and_habits_as_the_book_has_them(october, february, ask, by, told):
    full = ask(12, 12, 12, cohorts=[october])
    ask(12, 12, cohorts=[february])
    offered, picky, couple = ask(12, cohorts=[october]), ask(12, cohorts=[october]), ask(12, 12)
    young = ask(9, by_the_family=True)  # 10 on 9 March 2027
    services.withdraw(booking=full, places=full.places.all()[:1], on=NOW, reason="ill", by=by)
    assert again(offered).state == "offered"
    selectors.wait_estimates(october.course, NOW)
    ((cohorts, queue, habits, days),) = told
    # 12 September is 22 days before 4 October and 148 before 7 February; where there are few cohorts the next come
    # every 91 days, set up 182 days before.
    assert cohorts == [
        CohortAhead(key=october.pk, days=22, free=0, held=[2], offered=[1]),
        CohortAhead(key=february.pk, days=148, free=1, held=[2], offered=[]),
        CohortAhead(key=-1, days=148 + 91, free=3, opens=148 + 91 - 182),
        CohortAhead(key=-2, days=148 + 182, free=3, opens=148),
    ]
    everywhere = frozenset((october.pk, february.pk, -1, -2))
    assert queue == [
        PartyAhead(picky.pk, 1, everywhere - {february.pk}),
        PartyAhead(couple.pk, 2, everywhere),
        PartyAhead(young.pk, 1, frozenset((-1, -2))),
        PartyAhead(selectors.JOINING_NOW, 1, everywhere),
    ]
    assert (habits, days) == (Habits(given_up=1, asked=(3, 2, 1, 1, 2, 1)), 7)


def test_a_cohort_that_begins_today_is_no_day_away(october, told):
    selectors.wait_estimates(october.course, OCTOBER)
    assert told[0][0][0].days == 0


def test_a_party_cannot_be_kept_from_a_cohort_of_another_course(october, holiday, ask, by):
    booking = ask(12)
    elsewhere = Cohort.objects.create(
        course=holiday, name="Easter", first_session=OCTOBER, last_session=OCTOBER, capacity=3
    )
    with pytest.raises(Refused, match="Choose cohorts of the same course"):
        services.change_cohorts(booking=booking, cannot_make=[elsewhere], on=NOW, by=by)
    assert not again(booking).cannot_make.exists()


def test_a_reach_check_opens_the_earlier_cohorts_to_a_young_child(october, ask, by, told):
    ask(12, 12, 12)
    young = ask(9, by_the_family=True)
    services.record_reach_check(person=young.places.get().person, checked_by="Coach Wirrin", on=NOW, by=by)
    selectors.wait_estimates(october.course, NOW)
    assert told[0][1][0] == PartyAhead(young.pk, 1, frozenset((october.pk, -1, -2)))


def test_the_estimate_looks_as_far_down_the_queue_as_three_turns_of_every_seat(october, ask, told, monkeypatch):
    monkeypatch.setattr(selectors, "FIRST_IN_QUEUE", 0)
    Cohort.objects.update(capacity=1)
    ask(12)
    first, second, third, _ = (ask(12) for _ in range(4))
    selectors.wait_estimates(october.course, NOW)
    assert [party.key for party in told[0][1]] == [first.pk, second.pk, third.pk, selectors.JOINING_NOW]


def test_without_a_cohort_of_the_last_two_years_none_is_foreseen(october, ask, told):
    ask(12, 12, 12)
    two_years_on = OCTOBER + timedelta(days=730)
    selectors.wait_estimates(october.course, two_years_on)
    assert [each.days for each in told[0][0]] == [91, 182]
    selectors.wait_estimates(october.course, two_years_on + timedelta(days=1))
    assert told[1][0] == []


def test_the_figures_of_a_course_are_of_its_own_cohorts_of_two_years(october, february, holiday, ask):
    Cohort.objects.create(
        course=holiday, name="January", first_session=date(2027, 1, 4), last_session=date(2027, 1, 8), capacity=8
    )
    last_day = october.last_session + timedelta(days=730)
    assert [each.cohort for each in course_figures(october.course, last_day)] == [february, october]
    assert [each.cohort for each in course_figures(october.course, last_day + timedelta(days=1))] == [february]
