"""A range day begins with enough people on duty by the club's own rules, or for a typed reason.

Source of what is asked of a day: National Principles for Child Safe Organisations, principles 5 and 8; the number is
the club's own.
"""

import uuid
from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Act, Gear, Kit, KitLoan, Paid, SignOn, TapState
from clubdesk.rangeday.services.taps import Tapped
from clubdesk.rooms import RANGE_HELPER
from clubdesk.safety import selectors, services
from clubdesk.safety.models import Duty, Opening
from tests import factories
from tests.safety.conftest import NOW, volunteer
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
SHORT = (
    "River range, Sat 12 Sep 2026: 1 is on duty with a current working with children check, and the club asks for 2 for"
    " 1 child. Put somebody else on duty, or a coordinator opens the day with a reason."
)


def test_without_rules_of_the_club_nobody_is_asked_for(club, day):
    club.sign(day)
    assert not Opening.objects.exists()


def test_the_first_who_signs_on_is_refused_in_one_sentence_where_too_few_are_on_duty(club, day):
    club.asks(people=2, children=3)
    club.on_duty(day, "Ida")
    with pytest.raises(Refused) as refusal:
        club.sign(day)
    assert refusal.value.sentence == SHORT
    assert not SignOn.objects.exists()


def test_with_enough_on_duty_the_first_who_signs_on_opens_the_day(club, day):
    club.asks(people=2, children=3)
    club.on_duty(day, "Ida", "Odo")
    for _ in range(3):
        club.sign(day)
    opening = Opening.objects.get()
    assert (opening.children, opening.needed, opening.on_duty, opening.reason) == (1, 2, 2, "")


def test_one_child_too_many_is_refused_until_there_are_more_on_duty(club, day):
    club.asks(people=2, children=3)
    club.on_duty(day, "Ida", "Odo")
    for _ in range(3):
        club.sign(day)
    with pytest.raises(Refused, match=r"2 are on duty .* asks for 4 for 4 children"):
        club.sign(day)
    club.on_duty(day, "Pia", "Ugo")
    club.sign(day)
    assert [row.children for row in Opening.objects.order_by("pk")] == [1, 4]


def test_an_adult_more_asks_for_nobody_more(club, day):
    club.asks(people=1, children=1)
    club.on_duty(day, "Ida")
    club.sign(day)
    club.sign(day, person=volunteer("Otto"))
    assert SignOn.objects.count() == 2


def test_a_typed_reason_opens_the_day_whoever_comes(club, day):
    club.asks(people=2, children=1)
    services.open_day(range_day=day, reason="Two parents stand beside the line", on=NOW, by=club.by)
    for _ in range(3):
        club.sign(day)
    opening = Opening.objects.get()
    assert (opening.on_duty, opening.needed, opening.reason) == (0, 2, "Two parents stand beside the line")


def test_the_same_reason_again_opens_nothing_more(club, day):
    club.asks()
    first, second = (
        services.open_day(range_day=day, reason=reason, on=NOW, by=club.by) for reason in ("rain", "other")
    )
    assert (first, first.reason) == (second, "rain")


def test_no_reason_is_no_opening(club, day):
    club.asks()
    with pytest.raises(Refused, match="Say why the day begins all the same"):
        services.open_day(range_day=day, reason="  ", on=NOW, by=club.by)


def test_a_helper_may_give_no_reason(club, day, range_helper):
    club.asks()
    with pytest.raises(Refused, match="your sign-in may not do that"):
        services.open_day(range_day=day, reason="all is well", on=NOW, by=range_helper)


def test_who_has_two_duties_counts_once(club, day):
    club.asks(people=2)
    (ida,) = club.on_duty(day, "Ida")
    services.put_on_duty(range_day=day, person=ida, duty=Duty.LINE, by=club.by)
    assert selectors.standing(day).on_duty == 1


def test_whose_check_lapses_before_the_day_does_not_count(club, by):
    club.asks(people=1)
    later = factories.range_day(NOW + timedelta(days=30))
    person = volunteer("Ida")
    club.checked(person, through=NOW + timedelta(days=40))
    services.put_on_duty(range_day=later, person=person, duty=Duty.HELPER, by=by)
    assert selectors.standing(later).on_duty == 1
    services.end_check(check=person.volunteer_checks.get(), reason="revoked", on=NOW, by=by)
    assert selectors.standing(later).on_duty == 0


def test_days_to_come_are_not_asked(club, by):
    club.asks()
    later = factories.range_day(NOW + timedelta(days=7))
    club.sign(later, paid=Paid.ACCOUNT)
    assert later.sign_ons.count() == 1


def test_who_usually_comes_is_reckoned_with_before_the_day_opens(club, by):
    club.asks(people=1, children=2)
    children = [factories.PersonFactory() for _ in range(5)]
    for weeks in (3, 2):
        before = factories.range_day(NOW - timedelta(weeks=weeks))
        services.open_day(range_day=before, reason="before the roster", on=NOW, by=by)
        for child in children:
            club.sign(before, child)
    now = selectors.standing(factories.range_day())
    assert (now.children, now.needed) == (5, 3)


class TestTheDatabase:
    """The rule stands under the verbs."""

    def test_takes_no_money_on_a_day_that_has_not_begun(self, club, day):
        club.asks()
        day_before = factories.range_day(date(2026, 7, 25))
        signed = club.sign(day_before)
        with pytest.raises(IntegrityError, match="Nobody signs on before the day has begun"), transaction.atomic():
            SignOn.objects.create(
                range_day=day, visitor_name="Noor", gear=Gear.VISITOR, price=signed.price, amount=signed.amount,
                paid=Paid.CASH, recorded_by=club.by,
            )  # fmt: skip

    @pytest.mark.parametrize(
        ("wrong", "sentence"),
        [
            ({"on_duty": 5}, "Who is on duty has changed meanwhile"),
            ({"needed": 0}, "How many people a day asks for is what the club’s rules say"),
            ({"reason": ""}, "safety_opened_with_enough_or_a_reason"),
        ],
    )
    def test_keeps_an_opening_to_roster_and_rules(self, club, day, wrong, sentence):
        club.asks()
        said = {"children": 4, "needed": 4, "on_duty": 0, "reason": "rain", **wrong}
        with pytest.raises(IntegrityError, match=sentence), transaction.atomic():
            Opening.objects.create(range_day=day, recorded_by=club.by, **said)


class TestOnPhones:
    """What a phone without reception had taken before the day was opened is lost nowhere."""

    def tap(self, day, by, **more):
        child = factories.PersonFactory()
        key = uuid.uuid4()
        tapped = Tapped(key=key, at=clock.now(), people=(child.pk,), gear=Gear.HIRE, paid=Paid.CASH, **more)
        return rangeday.receive_tap(range_day=day, tapped=tapped, by=by)

    def test_it_waits_as_a_question_and_is_recorded_once_the_reason_is_given(
        self, club, day, by, django_capture_on_commit_callbacks
    ):
        club.asks()
        taps = [self.tap(day, by) for _ in range(2)]
        bow = Kit.objects.create(number="B01", kind="bow")
        lent = Tapped(key=uuid.uuid4(), at=clock.now(), act=Act.GIVE, kit=bow.pk, holder=taps[0].key)
        given = rangeday.receive_tap(range_day=day, tapped=lent, by=by)
        assert [each.state for each in (*taps, given)] == [TapState.QUESTION] * 3
        with django_capture_on_commit_callbacks(execute=True):
            services.open_day(range_day=day, reason="two parents watch the line", on=NOW, by=by)
        for each in (*taps, given):
            each.refresh_from_db()
        assert [each.state for each in (*taps, given)] == [TapState.ANSWERED] * 3
        assert SignOn.objects.filter(range_day=day).count() == 2
        assert KitLoan.objects.get().kit == bow

    def test_another_question_stays_one(self, club, day, by, django_capture_on_commit_callbacks):
        club.asks()
        unknown = Tapped(key=uuid.uuid4(), at=clock.now(), people=(999_999,), gear=Gear.HIRE, paid=Paid.CASH)
        asked = rangeday.receive_tap(range_day=day, tapped=unknown, by=by)
        with django_capture_on_commit_callbacks(execute=True):
            services.open_day(range_day=day, reason="rain", on=NOW, by=by)
        asked.refresh_from_db()
        assert (asked.state, asked.question) == (TapState.QUESTION, "person 999999 is not on the roll")


class TestThePages:
    def test_the_sheet_does_not_open_before_the_day_has_and_says_why(self, client, club, day):
        club.asks()
        club.on_duty(day, "Ida")
        client.force_login(User.objects.get(username=username(RANGE_HELPER)))
        answer = client.get(reverse("admin:range_sheet", args=[day.pk]), follow=True)
        assert answer.redirect_chain == [(reverse("admin:rangeday_rangeday_change", args=[day.pk]), 302)]
        assert SHORT in answer.content.decode()
        assert "Ida Quoll" in answer.content.decode()

    def test_once_it_was_opened_so_does_the_sheet(self, client, club, day, keeper):
        club.asks()
        client.force_login(keeper)
        page = reverse("admin:rangeday_rangeday_open", args=[day.pk])
        assert "nobody is on duty" in client.get(page).content.decode()
        said = client.post(page, {"reason": "parents watch", "key": str(uuid.uuid4())}, follow=True)
        assert "The day is open: parents watch." in said.content.decode()
        assert client.get(reverse("admin:range_sheet", args=[day.pk])).status_code == 200

    def test_the_roster_says_of_each_day_whether_there_are_enough(self, client, club, day, keeper):
        club.asks()
        club.on_duty(day, "Ida")
        client.force_login(keeper)
        page = client.get(reverse("admin:safety_roster")).content.decode()
        assert "too few: 1 of 2" in page
        assert "Ida Quoll" in page

    def test_home_names_the_days_of_the_week_with_too_few(self, client, club, day, keeper):
        club.asks()
        client.force_login(keeper)
        page = client.get(reverse("admin:index")).content.decode()
        assert "Range day with too few on duty" in page
