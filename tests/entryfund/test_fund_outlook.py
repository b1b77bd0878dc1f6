"""What the forecast of the entry fund is told of the book, and what the chart of containers shows."""

import uuid
from datetime import date, timedelta

import pytest
from django.urls import reverse

from clubdesk.entryfund import selectors, services
from clubdesk.entryfund.forecast import EventAhead
from clubdesk.entryfund.models import EventFee, PaidInto
from clubdesk.evidence import Evidence
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
JULY, NOW, YEAR_END = date(2026, 7, 6), date(2026, 9, 12), date(2027, 6, 30)
SEPTEMBER = 12 * 2026 + 9


@pytest.fixture
def told(monkeypatch):
    """What `outlook` tells the forecast, in place of its answer."""
    monkeypatch.setattr(selectors, "forecast", lambda known: known)
    return lambda today=NOW, until=YEAR_END: selectors.outlook(today, until)


@pytest.fixture
def cash_in(by):
    def cashed(amount, on):
        return services.cash_in(containers=10 * amount, amount=as_amount(amount), paid_into=PaidInto.BANK, on=on, by=by)

    return cashed


def event(name, held, **more):
    made = factories.event(held=held, **more)
    made.name = name
    made.save()
    return made


def test_months_without_containers_count_and_the_running_month_does_not(told, cash_in, by):
    cash_in(100, JULY)
    cash_in(20, date(2026, 7, 31))
    cash_in(30, NOW)
    wrong = cash_in(40, date(2026, 8, 3))
    services.cancel_return(container_return=wrong, on=date(2026, 8, 4), reason="typed twice", by=by)
    known = told()
    assert known.containers == {SEPTEMBER - 2: 12_000, SEPTEMBER - 1: 0}
    assert (known.fund, known.now, known.months) == (15_000, SEPTEMBER, 9)
    assert known.month_left == pytest.approx(18 / 30)


def test_two_years_of_containers_are_looked_at(told, cash_in):
    cash_in(100, JULY)
    cash_in(30, NOW)
    known = told(date(2028, 9, 30), date(2028, 9, 30))
    assert known.containers == {SEPTEMBER: 3000} | dict.fromkeys(range(SEPTEMBER + 1, SEPTEMBER + 24), 0)
    assert (known.months, known.month_left) == (0, 0)


def test_without_containers_nothing_is_told_of_them(told, book):
    event("Autumn clout", date(2026, 10, 3))
    assert told().containers == {}


def test_a_fund_that_has_neither_past_nor_plans_says_no_chance(client, treasurer, book):
    assert selectors.outlook(NOW, YEAR_END) is None
    client.force_login(treasurer)
    assert "nothing to go by yet" in client.get(reverse("admin:fund_statement")).content.decode()


def test_claims_are_told_by_what_became_of_them(told, cash_in, by, approver):
    cash_in(500, JULY)
    plan, clout = factories.plan(), factories.event(fee="60.00", held=date(2026, 9, 5))

    def claim(amount):
        child = factories.PersonFactory()
        membership.take_out_membership(person=child, plan=plan, starts_on=JULY, on=JULY, by=by)
        receipt = Evidence(f"receipt {uuid.uuid4()}".encode(), "application/pdf")
        return services.record_claim(
            person=child, event=clout, amount=as_amount(amount), evidence=receipt, on=NOW, by=by
        )

    approved, *paid, declined, asked, _ = [claim(amount) for amount in (10, 20, 21, 30, 40, 50)]
    for each in (approved, *paid):
        services.approve_claim(claim=each, by=approver, on=NOW)
    for each in paid:
        services.pay_claim(claim=each, on=NOW, by=by)
    services.decline_claim(claim=declined, reason="not shown", by=approver, on=NOW)
    services.ask_for_more(claim=asked, question="Which class?", by=approver, on=NOW)
    known = told()
    assert (known.approved, known.declined) == (3, 1)
    assert known.waiting == [5000, 4000]
    assert known.children == {}
    event("Not refunded", date(2026, 9, 4), refunded=False)
    later = told(date(2026, 11, 5), YEAR_END)
    assert later.children == {"clout": [6]}
    assert told(date(2026, 11, 4), YEAR_END).children == {}


def test_events_ahead_and_those_of_which_claims_may_come_cost_the_mean_of_their_classes(told, book):
    sixty = timedelta(days=60)
    event("Over for good", NOW - sixty - timedelta(days=1))
    event("Just over", NOW - sixty, fee="80.00", refund_up_to=as_amount("45.50"))
    event("Not refunded", NOW, refunded=False)
    young = event("For the young", NOW, fee="80.00", oldest_class="Under 16")
    EventFee.objects.create(event=young, age_class="Under 14", amount=as_amount("50.00"))
    event("On the last day", YEAR_END, fee="33.00")
    event("Beyond the year", YEAR_END + timedelta(days=1))
    known = told()
    # Two classes are young enough: Under 14 for 50.00 and Under 16 for 80.00, 65.00 in the mean.
    assert known.ahead == [
        EventAhead("clout", 4550, -60),
        EventAhead("clout", 6500, 0),
        EventAhead("clout", 3300, (YEAR_END - NOW).days),
    ]
    assert known.children == {"clout": [0]}


def test_the_chart_shows_what_each_month_brought_also_once_the_year_is_closed(cash_in, by):
    for amount, day in ((100, JULY), (20, date(2026, 7, 31)), (30, NOW), (7, YEAR_END)):
        cash_in(amount, day)
    for _ in range(2):
        chart = selectors.pool_chart(JULY, YEAR_END)
        assert chart.columns == [("Jul 26", [120]), ("Sep 26", [30]), ("Jun 27", [7])]
        ledger.close_year(year=FinancialYear.objects.get(), by=by, on=date(2027, 7, 1))
    assert selectors.pool_chart(date(2026, 7, 7), NOW).columns == [("Jul 26", [20]), ("Sep 26", [30])]
    assert selectors.pool_chart(date(2026, 8, 1), date(2026, 8, 31)) is None


def test_a_month_in_which_a_return_was_taken_back_shows_nothing_below_nil(cash_in, by):
    services.cancel_return(container_return=cash_in(40, JULY), on=NOW, reason="typed twice", by=by)
    assert selectors.pool_chart(JULY, NOW).columns == [("Jul 26", [40]), ("Sep 26", [0])]
