"""Which vouchers are best set against which fees: each answer against a reckoning of its own that tries every order."""

from collections import Counter
from datetime import date, timedelta
from itertools import permutations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clubdesk.fees.bestuse import MOST_FEES, MOST_VOUCHERS, BestUse, Fee, Held, best

DAY = date(2026, 9, 1)
SCHEMES = (1, 2, 3)


def fee(open_now, schemes=SCHEMES, day=0, paid=0):
    return Fee(DAY + timedelta(days=day), open_now, open_now + paid, frozenset(schemes))


def set_against(use):
    return [(each.scheme, each.fee, each.pays) for each in use.uses]


def every_way(vouchers, fees):
    """What each map of single vouchers to fees, taken in each order, comes to: (paid, spent, paid of each fee).

    A purse at a time, as a club would do it at its table; it shares nothing with what it checks.
    """
    single = [held for held in vouchers for _ in range(held.count)]
    found = set()
    for where in product([None, *range(len(fees))], repeat=len(single)):
        pairs = [(held, place) for held, place in zip(single, where, strict=True) if place is not None]
        if any(held.scheme not in fees[place].schemes for held, place in pairs):
            continue
        twice = Counter((held.scheme, place) for held, place in pairs if held.one_a_fee)
        if any(count > 1 for count in twice.values()):
            continue
        for turn in permutations(pairs):
            owed = {place: each.open for place, each in enumerate(fees)}
            covered = {place: each.whole - each.open for place, each in enumerate(fees)}
            paid = Counter()
            for held, place in turn:
                takes = min(held.worth, owed[place] + (0 if held.only_unpaid else covered[place]))
                if takes == 0:
                    break
                from_owed = min(takes, owed[place])
                owed[place] -= from_owed
                covered[place] -= takes - from_owed
                paid[place] += takes
            else:
                spent = sum(held.worth for held, _ in pairs)
                found.add((sum(paid.values()), spent, tuple(paid[place] for place in range(len(fees)))))
    return found


def best_of(ways, fees):
    """Of what pays most, what spends least; of those, what pays most of the fee due first, then named first."""
    most = max(paid for paid, *_ in ways)
    least = min(spent for paid, spent, _ in ways if paid == most)
    turn = sorted(range(len(fees)), key=lambda place: (fees[place].due, place))
    return max(
        ((paid, spent, each) for paid, spent, each in ways if (paid, spent) == (most, least)),
        key=lambda way: [way[2][place] for place in turn],
    )


AMOUNTS = st.sampled_from([700, 4000, 5000, 5500, 10000, 12800, 20000])
HELD = st.builds(
    Held, scheme=st.just(0), worth=AMOUNTS, count=st.integers(1, 2), only_unpaid=st.booleans(),
    one_a_fee=st.booleans(),
)  # fmt: skip
FEE = st.builds(
    lambda open_now, paid, day, schemes: fee(open_now, schemes, day, paid),
    AMOUNTS, st.sampled_from([0, 0, 4500]), st.integers(0, 2), st.sets(st.sampled_from(SCHEMES)),
)  # fmt: skip


@given(st.lists(HELD, max_size=2), st.lists(FEE, max_size=3))
@settings(max_examples=150, deadline=None)
def test_no_other_way_pays_more_nor_spends_less(held, fees):
    vouchers = [Held(number, each.worth, each.count, each.only_unpaid, each.one_a_fee)
                for number, each in enumerate(held, 1)]  # fmt: skip
    found = best(vouchers, fees)
    of_each = Counter()
    for use in found.uses:
        of_each[use.fee] += use.pays
    spent = sum(use.worth for use in found.uses)
    assert (found.paid, spent, tuple(of_each[place] for place in range(len(fees)))) == best_of(
        every_way(vouchers, fees), fees
    )
    assert found.forgone == spent - found.paid


class TestByHand:
    """Common practice, no source."""

    def test_a_voucher_goes_where_nothing_of_it_is_forgone(self):
        use = best([Held(1, 10000)], [fee(5500, day=0), fee(12800, day=9)])
        assert (set_against(use), use.forgone) == ([(1, 1, 10000)], 0)

    def test_of_two_fees_that_take_it_whole_it_goes_to_the_one_due_first_then_to_the_one_named_first(self):
        assert set_against(best([Held(1, 5000)], [fee(9000, day=5), fee(6000, day=2)])) == [(1, 1, 5000)]
        assert set_against(best([Held(1, 5000)], [fee(9000), fee(6000)])) == [(1, 0, 5000)]

    def test_the_larger_voucher_leaves_the_small_fee_to_the_smaller(self):
        use = best([Held(1, 10000), Held(2, 5000)], [fee(5500), fee(12800)])
        assert (sorted(set_against(use)), use.forgone) == ([(1, 1, 10000), (2, 0, 5000)], 0)

    def test_what_is_not_needed_is_kept(self):
        use = best([Held(1, 10000), Held(2, 5000)], [fee(5000)])
        assert set_against(use) == [(2, 0, 5000)]

    def test_what_a_scheme_forbids_is_never_done(self):
        use = best([Held(1, 10000, 2, one_a_fee=True)], [fee(30000), fee(2000, schemes={2})])
        assert set_against(use) == [(1, 0, 10000)]

    def test_only_what_is_open_where_the_scheme_says_so_and_else_what_was_paid_makes_way(self):
        half_paid = [fee(5500, paid=4500)]
        assert best([Held(1, 10000, only_unpaid=True)], half_paid).forgone == 4500
        assert best([Held(1, 10000)], half_paid).forgone == 0

    def test_one_that_pays_only_what_is_open_is_taken_first(self):
        use = best([Held(1, 4500), Held(2, 5500, only_unpaid=True)], [fee(5500, paid=4500)])
        assert (set_against(use), use.forgone) == ([(2, 0, 5500), (1, 0, 4500)], 0)

    def test_nothing_to_pay_or_nothing_left_forgoes_nothing(self):
        assert best([], [fee(100)]) == best([Held(1, 100)], []) == BestUse()


class TestBeyondItsBounds:
    def test_as_many_as_it_says_are_reckoned(self):
        fees = [fee(10000 + place) for place in range(MOST_FEES)]
        assert best([Held(1, 5000, MOST_VOUCHERS)], fees).paid == 5000 * MOST_VOUCHERS

    @pytest.mark.parametrize(("vouchers", "fees"), [
        ([Held(1, 5000, MOST_VOUCHERS + 1)], 1),
        ([Held(1, 5000)], MOST_FEES + 1),
        ([Held(number, 5000, schemes) for number, schemes in ((1, 2), (2, 2), (3, 2))], MOST_FEES),
    ])  # fmt: skip
    def test_more_is_not_reckoned_at_all(self, vouchers, fees):
        assert best(vouchers, [fee(10000)] * fees) is None
