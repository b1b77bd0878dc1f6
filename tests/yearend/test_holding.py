"""Whatever looks at the ledger before it posts takes the book first, so that nothing comes between."""

from datetime import date

import pytest

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger.models import Book, TaxBasis
from clubdesk.ledger.services import register_for_gst
from clubdesk.money import as_amount
from clubdesk.yearend import services
from clubdesk.yearend.models import Equipment
from tests.locks import read_first, taking
from tests.yearend.books import FIRST, LAST, NEXT, bought, expense, ready

pytestmark = pytest.mark.django_db
ON = date(2026, 8, 31)


@pytest.fixture
def bows(general, by):
    bought(by, 240)
    return services.add_equipment(name="Bows", bought_on=FIRST, cost=as_amount(240), years=2, fund=general, by=by)


def test_the_register_of_equipment(general, bows, by):
    bought(by, 60)
    thing = {"name": "Butt", "bought_on": FIRST, "cost": as_amount(60), "years": 5, "fund": general}
    wrong = services.add_equipment(**thing, by=by)
    for act in (
        lambda: services.withdraw_equipment(equipment=wrong, on=ON, reason="typed twice", by=by),
        lambda: services.depreciate(until=ON, by=by),
        lambda: services.add_equipment(**thing, by=by),
        lambda: services.dispose(equipment=bows, on=date(2026, 9, 5), reason="broken", by=by),
    ):
        assert read_first(act) == Book._meta.db_table


def test_what_goes_or_was_typed_wrongly_is_taken_after_the_book(bows, by):
    with taking() as taken:
        services.dispose(equipment=bows, on=date(2026, 9, 5), reason="broken", by=by)
    assert taken[:2] == [Book, Equipment]
    with taking() as taken, pytest.raises(Refused, match="Something was posted of it"):
        services.withdraw_equipment(equipment=bows, on=ON, reason="typed twice", by=by)
    assert taken == [Book, Equipment]


def test_a_count_of_stock_and_an_allowance(general, by):
    stock = {"counted": as_amount(90), "materials": expense("5020"), "fund": general, "on": ON, "narration": "Counted"}
    assert read_first(lambda: services.count_stock(**stock, by=by)) == Book._meta.db_table

    def nothing_is_doubtful():
        with pytest.raises(Refused, match="nothing to post"):
            services.provide(wanted=as_amount(0), on=ON, narration="Doubtful", by=by)

    assert read_first(nothing_is_doubtful) == Book._meta.db_table


def test_the_gst_of_a_period(by):
    register_for_gst(since=FIRST, basis=TaxBasis.ACCRUALS, by=by)

    def nothing_to_post():
        with pytest.raises(Refused, match="No sale and no bill"):
            services.post_gst(first=FIRST, last=ON, by=by)

    assert read_first(nothing_to_post) == Book._meta.db_table


def test_the_close_of_a_year(year, by):
    ready(by)
    with clock.on(NEXT):
        assert read_first(lambda: services.close_books(year=year, on=NEXT, by=by)) == Book._meta.db_table
    year.refresh_from_db()
    assert (year.is_closed, year.last_day) == (True, LAST)
