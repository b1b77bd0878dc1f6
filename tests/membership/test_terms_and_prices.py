"""The term of a membership, and what it costs a household."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdesk.membership.pricing import Asked, price
from clubdesk.membership.terms import Term, term, whole_months_left

pytestmark = pytest.mark.django_db


class TestTheTerm:
    def test_twelve_months_from_joining(self):
        assert term(date(2026, 9, 12), 12) == Term(date(2027, 9, 11), 12)

    @pytest.mark.parametrize(("joined", "months"), [
        (date(2026, 7, 1), 12), (date(2026, 9, 30), 10), (date(2027, 6, 30), 1), (date(2027, 7, 1), 12),
    ])  # fmt: skip
    def test_to_a_fixed_season_end_by_the_months_begun(self, joined, months):
        found = term(joined, 12, season_ends_month=6)
        assert found.months == months
        assert (found.ends_on.month, found.ends_on.day) == (6, 30)
        assert joined <= found.ends_on

    @pytest.mark.parametrize(("left", "months"), [
        (date(2026, 9, 11), 12), (date(2026, 9, 12), 11), (date(2027, 8, 11), 1), (date(2027, 8, 12), 0),
    ])  # fmt: skip
    def test_whole_months_that_are_left(self, left, months):
        assert whole_months_left(left, date(2027, 9, 11)) == months


class TestThePrice:
    # Common practice, no source: a fee of 236 with a voucher of 100 leaves 136 to pay, with one of 200 leaves 36.
    @pytest.mark.parametrize(("voucher", "left"), [("100", "136.00"), ("200", "36.00"), ("300", "0.00")])
    def test_a_voucher_leaves_the_rest_to_pay(self, voucher, left):
        assert price(Asked(Decimal(236), voucher=Decimal(voucher))).to_pay == Decimal(left)

    def test_the_working_is_told(self):
        shares = [Decimal(71), Decimal(45)]
        found = price(Asked(Decimal(228), shares, siblings=1, sibling_percent=10, voucher=Decimal(100)))
        assert found.working == "$228.00, less sibling $11.20, less voucher $100.00 = $116.80"

    def test_a_short_season_is_paid_by_months_and_so_are_the_associations(self):
        found = price(Asked(Decimal(228), [Decimal(71), Decimal(45)], months=5))
        assert found.working == "5 of 12 months of $228.00: $95.00"
        assert found.shares == (Decimal("29.58"), Decimal("18.75"))

    def test_half_a_cent_of_a_share_by_months_goes_up(self):
        """Seven twelfths of 16.14 are 9.415, also where a twelfth has no end."""
        assert price(Asked(Decimal(228), [Decimal("16.14")], months=7)).shares == (Decimal("9.42"),)

    def test_some_associations_take_their_whole_share(self):
        found = price(Asked(Decimal(228), [Decimal(71), Decimal(45)], months=6, whole_shares=True))
        assert (found.fee, sum(found.shares)) == (Decimal("172.00"), Decimal("116.00"))

    def test_the_family_cap_takes_what_is_beyond_it_but_nothing_of_the_associations(self):
        asked = Asked(Decimal(228), [Decimal(116)], paid_before=Decimal(300), cap=Decimal(450))
        assert price(asked).working == "$228.00, less family cap $78.00 = $150.00"
        assert price(Asked(Decimal(228), [Decimal(116)], paid_before=Decimal(900), cap=Decimal(450))).fee == 116

    cents = st.integers(0, 100_000).map(lambda figure: Decimal(figure) / 100)

    @given(
        full=cents,
        parts=st.lists(cents, max_size=3),
        months=st.integers(1, 12),
        whole=st.booleans(),
        siblings=st.integers(0, 3),
        percent=st.integers(0, 100),
        before=cents,
        cap=st.none() | cents,
        voucher=cents,
    )
    def test_no_price_is_below_nil_or_below_what_is_passed_on_and_no_voucher_above_the_fee(
        self, full, parts, months, whole, siblings, percent, before, cap, voucher
    ):  # fmt: skip
        if sum(parts) > full:
            parts = []
        found = price(Asked(full, parts, months, 12, whole, siblings, percent, before, cap, voucher))
        assert found.fee >= sum(found.shares) >= 0
        assert found.to_pay >= 0
        assert found.voucher <= found.fee
        # The order: months, sibling, family cap, voucher.
        assert found.by_months - found.sibling - found.capped - found.voucher == found.to_pay
        assert found.sibling <= found.by_months - sum(found.shares)
        if cap is not None and found.capped:
            assert found.fee == max(cap - before, sum(found.shares))
        cheaper = price(Asked(full, parts, months, 12, whole, siblings, percent, before, cap, voucher + 1))
        assert cheaper.to_pay <= found.to_pay
