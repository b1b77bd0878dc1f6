"""The roster: planned for a season, swapped between two, told some days before; no lapsed check on it."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from clubdesk.errors import Refused
from clubdesk.mail.models import Message
from clubdesk.rangeday import services as rangeday
from clubdesk.roll import services as roll
from clubdesk.safety import services
from clubdesk.safety.models import CheckKind, Duty, Turn
from tests import factories
from tests.safety.conftest import GOOD, LAPSED, NOW, volunteer

pytestmark = pytest.mark.django_db


@pytest.fixture
def saturdays(club):
    planned = rangeday.plan_days(
        first_day=NOW, last_day=NOW + timedelta(weeks=5), every=7, place="River range", by=club.by
    )
    return planned.days


def plan(club, days, people, duty=Duty.HELPER, each_day=1):
    return services.plan_turns(
        first_day=days[0].date, last_day=days[-1].date, duty=duty, people=people, each_day=each_day, by=club.by
    )


def names(rows):
    return [turn.person.given_name for turn in rows]


class TestPlanning:
    def test_they_take_turns_by_their_order(self, club, saturdays):
        people = [volunteer(name) for name in ("Ida", "Odo", "Pia")]
        made = plan(club, saturdays, people, each_day=2)
        by_day = [names(Turn.objects.filter(range_day=day).order_by("pk")) for day in saturdays]
        assert by_day == [["Ida", "Odo"], ["Pia", "Ida"], ["Odo", "Pia"]] * 2
        assert len(made.turns) == 12

    def test_the_same_again_changes_nothing(self, club, saturdays):
        people = [volunteer("Ida")]
        plan(club, saturdays, people)
        again = plan(club, saturdays, people)
        assert (again.turns, len(again.stood), Turn.objects.count()) == ((), 6, 6)

    def test_whose_check_lapses_meanwhile_is_passed_over_from_then_on_and_named(self, club, saturdays):
        ida, odo = volunteer("Ida"), volunteer("Odo")
        club.checked(ida, through=NOW + timedelta(days=8))
        club.checked(odo)
        made = plan(club, saturdays, [ida, odo])
        assert names(made.turns) == ["Ida", "Odo", "Odo", "Odo", "Odo", "Odo"]
        assert "The working with children check of Ida Quoll lapsed on 20 Sep 2026." in made.refused[0]

    def test_nobody_and_no_day_are_refused(self, club, saturdays):
        with pytest.raises(Refused, match="Choose who takes turns"):
            plan(club, saturdays, [])
        with pytest.raises(Refused, match="no open range day"):
            services.plan_turns(
                first_day=date(2027, 5, 1), last_day=date(2027, 5, 2), duty=Duty.HELPER, people=[volunteer()],
                each_day=1, by=club.by,
            )  # fmt: skip


class TestLapsedChecks:
    """Source: as one state's example, Child Safety (Prohibited Persons) Act 2016 (SA) ss 16–18; local law first."""

    def put(self, club, day, person, duty=Duty.HELPER):
        return services.put_on_duty(range_day=day, person=person, duty=duty, by=club.by)

    def test_whose_check_has_lapsed_is_not_put_on_duty(self, club, day):
        person = volunteer()
        club.lapsed(person)
        with pytest.raises(Refused) as refusal:
            self.put(club, day, person)
        assert refusal.value.sentence == (
            "The working with children check of Ida Quoll lapsed on 11 Sep 2026. See the new one first, then put them"
            " on duty."
        )

    def test_once_the_new_one_was_seen_they_are(self, club, day):
        person = volunteer()
        club.lapsed(person)
        club.checked(person)
        assert self.put(club, day, person).person == person

    def test_one_that_was_revoked_counts_as_lapsed(self, club, day):
        person = volunteer()
        services.end_check(check=club.checked(person), reason="revoked", on=NOW, by=club.by)
        with pytest.raises(Refused, match="no longer good since 12 Sep 2026"):
            self.put(club, day, person)

    def test_who_has_none_may_be_on_duty_and_does_not_count(self, club, day):
        assert self.put(club, day, volunteer()).duty == Duty.HELPER

    def test_a_lapsed_accreditation_keeps_from_its_own_duty_alone(self, club, day):
        person = volunteer()
        club.checked(person)
        club.lapsed(person, CheckKind.FIRST_AID)
        with pytest.raises(Refused, match="first-aid accreditation of Ida Quoll lapsed"):
            self.put(club, day, person, Duty.FIRST_AID)
        assert self.put(club, day, person, Duty.LINE).duty == Duty.LINE

    def test_the_database_refuses_it_too(self, club, day):
        person = volunteer()
        club.lapsed(person)
        with pytest.raises(IntegrityError, match="has lapsed; see the new one first"), transaction.atomic():
            Turn.objects.create(range_day=day, person=person, duty=Duty.COACH, recorded_by=club.by)


class TestChecks:
    def test_nobody_sees_the_check_of_their_own_family(self, club, coordinator):
        person = volunteer()
        roll.add_to_family(household=person.household, user=coordinator, by=club.by)
        with pytest.raises(Refused, match="of your own family"):
            services.write_check(
                person=person, kind=CheckKind.CHILDREN, number="1", expires_on=GOOD, on=NOW, by=coordinator
            )

    def test_one_that_has_lapsed_already_is_not_written_down(self, club):
        with pytest.raises(Refused, match="It lapsed on 11 Sep 2026; ask for the new one"):
            club.checked(volunteer(), through=LAPSED)

    def test_the_same_one_stands_once(self, club):
        person = volunteer()
        assert club.checked(person) == club.checked(person)

    def test_a_letter_goes_two_months_before_it_lapses_and_once_more_two_weeks_before(self, club):
        person = volunteer(guardian="Ida Quoll")
        club.checked(person, through=NOW + timedelta(days=61))
        sent = [services.tell_lapsing(on=NOW + timedelta(days=days)) for days in (0, 1, 2, 40, 47, 48, 61, 62)]
        assert sent == [0, 1, 0, 0, 1, 0, 0, 0]
        letter = Message.objects.latest("pk")
        assert (letter.to, letter.subject) == (
            "ida@example.org", "Working with children check of Ida Quoll: good through 12 November 2026"
        )  # fmt: skip

    def test_none_goes_where_the_new_one_was_seen(self, club):
        person = volunteer()
        club.checked(person, through=NOW + timedelta(days=30))
        club.checked(person)
        assert services.tell_lapsing(on=NOW) == 0


class TestSwapping:
    @pytest.fixture
    def turn(self, club, day):
        return services.put_on_duty(range_day=day, person=volunteer("Ida"), duty=Duty.LINE, by=club.by)

    def test_one_asks_another_takes_over_and_both_have_a_letter(self, club, turn):
        services.ask_for_swap(turn=turn, on=NOW, by=club.by)
        odo = volunteer("Odo")
        taken = services.take_over(turn=turn, person=odo, on=NOW, by=club.by)
        turn.refresh_from_db()
        assert (taken.duty, taken.takes_over, turn.end_reason) == (Duty.LINE, turn, "taken over by Odo Quoll")
        letters = Message.objects.order_by("pk")
        assert [each.to for each in letters] == ["ida@example.org", "odo@example.org"]
        assert {each.subject for each in letters} == {
            "Duty on Saturday, 12 September 2026: Odo Quoll in place of Ida Quoll"
        }

    def test_pressed_twice_it_is_taken_over_once(self, club, turn):
        odo = volunteer("Odo")
        first, second = (services.take_over(turn=turn, person=odo, on=NOW, by=club.by) for _ in range(2))
        assert first == second
        assert Message.objects.count() == 2

    def test_a_lapsed_check_takes_nothing_over_and_the_turn_stands(self, club, turn):
        odo = volunteer("Odo")
        club.lapsed(odo)
        with pytest.raises(Refused, match="check of Odo Quoll lapsed"):
            services.take_over(turn=turn, person=odo, on=NOW, by=club.by)
        turn.refresh_from_db()
        assert turn.ended_on is None

    def test_nobody_takes_over_from_themselves_or_what_they_do_already(self, club, day, turn):
        with pytest.raises(Refused, match="turn of Ida Quoll already"):
            services.take_over(turn=turn, person=turn.person, on=NOW, by=club.by)
        odo = volunteer("Odo")
        services.put_on_duty(range_day=day, person=odo, duty=Duty.LINE, by=club.by)
        with pytest.raises(Refused, match="on duty for this on that day already"):
            services.take_over(turn=turn, person=odo, on=NOW, by=club.by)

    def test_who_is_taken_off_stays_off_with_the_reason(self, club, turn):
        off = services.take_off_duty(turn=turn, reason="did not come", on=NOW, by=club.by)
        assert (off.ended_on, off.end_reason) == (NOW, "did not come")
        with pytest.raises(Refused, match="This turn has ended: did not come"):
            services.ask_for_swap(turn=turn, on=NOW, by=club.by)

    def test_a_day_that_was_called_off_takes_nobody(self, club, day):
        rangeday.call_off_day(range_day=day, reason="hail", on=NOW, by=club.by)
        with pytest.raises(Refused, match="is called off; who was on duty stays as it is"):
            services.put_on_duty(range_day=day, person=volunteer(), duty=Duty.COACH, by=club.by)


class TestWhoIsOnNext:
    def test_they_have_a_letter_five_days_before_once(self, club, day):
        services.put_on_duty(range_day=day, person=volunteer("Ida"), duty=Duty.COACH, by=club.by)
        sent = [services.tell_turns(on=NOW - timedelta(days=days)) for days in (6, 5, 4, 0)]
        assert sent == [0, 1, 0, 0]
        letter = Message.objects.get()
        assert letter.subject == "On duty on Saturday, 12 September 2026: Ida Quoll"
        assert "Where: River range. What: coach." in letter.body

    def test_whose_turn_was_taken_over_has_none(self, club, day):
        turn = services.put_on_duty(range_day=day, person=volunteer("Ida"), duty=Duty.COACH, by=club.by)
        services.take_over(turn=turn, person=volunteer("Odo"), on=NOW, by=club.by)
        services.tell_turns(on=NOW)
        assert [each.to for each in Message.objects.filter(subject__startswith="On duty")] == ["odo@example.org"]

    def test_where_the_family_has_another_guardian_the_volunteers_own_address_comes_first(self, club, day):
        home = factories.HouseholdFactory(guardian="Abel Quoll", email="abel@example.org")
        home.guardians.create(name="Ida Quoll", email="ida@example.org")
        ida = factories.PersonFactory(
            household=home, given_name="Ida", family_name="Quoll", birth_date=date(1980, 1, 1)
        )
        services.put_on_duty(range_day=day, person=ida, duty=Duty.COACH, by=club.by)
        services.tell_turns(on=NOW)
        assert Message.objects.get().to == "ida@example.org"
