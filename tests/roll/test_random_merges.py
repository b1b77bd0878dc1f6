"""Random families that turn out to be one: merging moves all that they had done, and undoing gives it back."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.errors import Refused
from clubdesk.fees import selectors
from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Method
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.membership import services as membership
from clubdesk.money import as_amount, total
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll import services as roll
from clubdesk.verbs import shell_user
from tests import factories
from tests.chance import by_chance
from tests.roll.rows import balances, rows

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
NOW = date(2026, 9, 12)
ACTS = ("owes", "pays", "joins", "books", "signs", "voucher", "credited", "repaid")
acts = st.lists(
    st.tuples(st.sampled_from(ACTS), st.integers(0, 1), st.integers(0, 3), st.integers(1, 20_000)), max_size=14
)


class Club:
    """Two families with two children each, and what they can do."""

    def __init__(self):
        self.by, self.plan, self.scheme = shell_user(), factories.plan(), factories.scheme()
        self.price = factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)
        self.cohorts = [factories.cohort(capacity=3, first=first) for first in (date(2026, 10, 4), date(2026, 11, 1))]
        factories.hire()
        self.day = factories.range_day()
        self.homes = [factories.HouseholdFactory() for _ in range(2)]
        self.people = [factories.PersonFactory(household=home) for home in self.homes for _ in range(2)]
        self.codes = 0

    def does(self, act, of, which, cents):
        """Do it, or see it refused; who pays is the one family, whose child it is may be of the other."""
        day, home, child = {"on": NOW, "by": self.by}, self.homes[of], self.people[which]
        amount = as_amount(cents) / 100
        try:
            with transaction.atomic():
                if act == "owes":
                    fees.charge(household=home, person=child, price=self.price, starts_on=NOW, **day)
                elif act == "pays":
                    fees.record_receipt(household=home, amount=amount, method=Method.CARD, **day)
                elif act == "joins":
                    membership.take_out_membership(person=child, plan=self.plan, starts_on=NOW, **day)
                elif act == "books":
                    courses.book_place(person=child, cohort=self.cohorts[cents % 2], **day)
                elif act == "signs":
                    rangeday.sign_on(range_day=self.day, person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=self.by)
                elif charge := home.charges.order_by("-pk").first():
                    self.settles(act, home, charge, amount, day)
        except Refused:
            pass

    def settles(self, act, home, charge, amount, day):
        self.codes += 1
        if act == "voucher":
            fees.accept_voucher(scheme=self.scheme, charge=charge, code=f"SV{self.codes}", **day)
        elif act == "credited":
            fees.credit_charge(charge=charge, amount=min(amount, charge.amount), reason="goodwill", **day)
        else:
            fees.repay_credit(household=home, amount=amount, **day)


def faults():
    return [fault for result in check_all() for fault in result.faults]


def owed(*homes):
    return total(selectors.balance(home) for home in homes)


@by_chance(5)
@given(acts=acts, way=st.booleans(), days=st.integers(0, 1))
def test_merging_moves_all_and_undoing_gives_all_of_it_back(db, acts, way, days):
    with transaction.atomic(), clock.on(NOW):
        club = Club()
        for act in acts:
            club.does(*act)
        one, other = club.homes if way else reversed(club.homes)
        before, stood, sum_before = rows(), balances(), owed(one, other)
        done = roll.merge_families(household=one, other=other, on=NOW, by=club.by)
        assert owed(one) == sum_before
        assert faults() == []
        roll.undo_merge(merge=done, on=NOW + timedelta(days=days), by=club.by)
        assert rows() == before
        assert balances() == stood
        assert faults() == []
        transaction.set_rollback(True)


@by_chance(5)
@given(acts=acts, pair=st.permutations(range(4)))
def test_two_people_are_one_or_cannot_be_and_then_nothing_changed(db, acts, pair):
    with transaction.atomic(), clock.on(NOW):
        club = Club()
        for act in acts:
            club.does(*act)
        one, other = (club.people[index] for index in pair[:2])
        before, stood = rows(), balances()
        try:
            with transaction.atomic():
                done = roll.merge_people(person=one, other=other, on=NOW, by=club.by)
        except Refused as refusal:
            assert "first." in refusal.sentence
        else:
            assert faults() == []
            assert balances() == stood
            roll.undo_merge(merge=done, on=NOW, by=club.by)
        assert rows() == before
        assert faults() == []
        transaction.set_rollback(True)
