"""Range days read: takings, attendance, the chart, and several ranges at once."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees.models import FeeKind, FeePrice
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import figures, services
from clubdesk.rangeday.models import (
    Gear,
    OwnGearCost,
    Paid,
    SignOn,
)
from clubdesk.roll.models import Person
from tests import factories
from tests.rangeday.days import TODAY

pytestmark = pytest.mark.django_db


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
        assert [(each.attendance, each.takings) for each in days] == [(1, 7), (3, 22)]
        assert days[1].fees == {Gear.HIRE: 7, Gear.VISITOR: 15, Gear.OWN: 0}
        assert (days[1].paid[Paid.CASH], days[1].paid[Paid.CARD]) == (7, 15)
        proofs = figures.proofs(days, date(2026, 8, 1), TODAY)
        assert [(each.by_sign_ons, each.by_ledger) for each in proofs] == [(14, 14), (15, 15)]

    def test_a_cancelled_sign_on_is_in_neither(self, summer, by):
        services.cancel_sign_on(sign_on=SignOn.objects.filter(paid=Paid.CARD).get(), on=TODAY, reason="declined", by=by)
        days = figures.by_day(date(2026, 8, 1), TODAY)
        assert [each.by_ledger for each in figures.proofs(days, date(2026, 8, 1), TODAY)] == [14, 0]
        assert days[1].attendance == 2

    def test_what_rounds_off_in_cash_never_reached_the_tin(self, day, sign, join):
        # Source: the ACCC's guideline on cash rounding; 7.02 is paid with 7.00.
        FeePrice.objects.filter(item__kind=FeeKind.HIRE).update(amount=as_amount("7.02"))
        sign(join(factories.PersonFactory()))
        (cash, _) = figures.proofs(figures.by_day(TODAY, TODAY), TODAY, TODAY)
        assert (cash.by_sign_ons, cash.by_ledger) == (7, 7)

    def test_attendance_by_month_counts_each_person_once(self, summer):
        months = figures.by_month(figures.by_day(date(2026, 8, 1), TODAY))
        assert [(each.first, each.days, each.sign_ons, each.people, each.visitors) for each in months] == [
            (date(2026, 8, 1), 1, 1, 1, 0),
            (date(2026, 9, 1), 1, 3, 3, 1),
        ]

    def test_a_month_tells_of_the_days_asked_for_alone(self, summer, sign):
        sign(on=factories.range_day(date(2026, 9, 5)))
        (month,) = figures.by_month(figures.by_day(TODAY, TODAY))
        assert (month.days, month.sign_ons, month.people, month.visitors) == (1, 3, 3, 1)

    def test_six_hires_that_come_to_four_fifths_of_the_cost_are_a_hint(self, summer, sign, by):
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
        OwnGearCost.objects.update(amount=as_amount("52.50"))
        services.cancel_sign_on(sign_on=keen.sign_ons.latest("pk"), on=TODAY, reason="own bow", by=by)
        assert figures.own_gear_hints(TODAY) == [], "one was cancelled"

    def test_only_the_hires_of_twelve_months_count_and_nobody_who_was_erased_is_named(self, summer, sign):
        keen, _ = summer
        for day in (date(2026, 8, 15), date(2026, 8, 16), date(2026, 8, 22), date(2026, 9, 5)):
            sign(keen, on=factories.RangeDay.objects.create(date=day, place="Hall"))
        OwnGearCost.objects.create(since=date(2026, 9, 11), amount=as_amount(30))
        hinted = {
            on: [hint.hires for hint in figures.own_gear_hints(on)]
            for on in (date(2026, 9, 10), date(2026, 9, 11), TODAY, date(2027, 8, 14), date(2027, 8, 15))
        }
        assert list(hinted.values()) == [[], [], [6], [6], []], "too early, five so far, six, six still, five again"
        Person.objects.filter(pk=keen.pk).update(erased_on=TODAY)
        assert figures.own_gear_hints(TODAY) == []

    def test_the_page_shows_it_all_and_says_when_nothing_is_there(self, summer, client, coordinator, range_helper):
        client.force_login(coordinator)
        page = client.get(reverse("admin:range_figures")).content.decode()
        for words in (
            "Takings by day",
            "Cash from sign-ons in the ledger: $14.00, and by the sign-ons the same.",
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
        assert [(line.amount.amount, line.balance.amount) for line in figures.tin_lines(TODAY)] == [
            (-10, 4),
            (7, 14),
            (7, 7),
        ]
        assert [(line.amount.amount, line.balance.amount) for line in figures.tin_lines(date(2026, 9, 11))] == [(7, 7)]
        client.force_login(coordinator)
        facts = dict(client.get(reverse("admin:range_tin")).context["facts"])
        assert facts["In the cash box now"] == as_amount(4)
        assert facts["Days not counted yet"] == 2


class TestTheChart:
    def test_its_scale_is_round_and_its_columns_are_as_high_as_their_figures(self):
        from clubdesk.screens.charts import Chart

        chart = Chart(
            "Takings", ["Hire", "Visitors"], [("1 Sep", [Decimal(70), Decimal(30)]), ("8 Sep", [Decimal(0)] * 2)]
        )
        assert chart.top == 100
        assert [float(bar["height"]) for bar in chart.bars] == [123.2, 52.8, 0, 0]
        assert [Chart("", [], [("x", [Decimal(n)])]).top for n in (1, 2, 3, 7, 60, 130)] == [1, 2, 3, 8, 60, 160]
        assert Chart("", [], []).bars == []
        assert Chart("", [], []).points == []

    def test_each_column_says_its_figures_and_the_last_and_the_highest_show_them(self):
        from clubdesk.screens.charts import Chart

        figures = (("1 Sep", 70, 30), ("8 Sep", 5, 0), ("15 Sep", 20, 10))
        columns = [(day, [Decimal(hire), Decimal(visitors)]) for day, hire, visitors in figures]
        points = Chart("Takings", ["Hire", "Visitors"], columns).points
        assert points[0]["label"] == "1 Sep: Hire $70.00; Visitors $30.00"
        assert [(point["figure"], point["stays"]) for point in points] == [("100", True), ("5", False), ("30", True)]
        assert float(points[0]["above"]) < float(points[2]["above"]) < float(points[1]["above"])


class TestSeveralRanges:
    def test_home_asks_which_range_where_two_are_open_today(self, client, range_helper, day):
        client.force_login(range_helper)
        assert client.get("/today/").url == reverse("admin:range_sheet", args=[day.pk])
        factories.RangeDay.objects.create(date=TODAY, place="Hall")
        where = client.get("/today/").url
        assert where.startswith(reverse("admin:rangeday_rangeday_changelist"))
        assert client.get(where).context["cl"].result_count == 2
