"""A household's memberships: joining, leaving, changing the plan, and what the associations get."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk.desk.services import nightly, start_books
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import FeeKind, FeePrice, FeeShare, Method
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account, balance
from clubdesk.membership import owed, papers, selectors
from clubdesk.membership import services as membership
from clubdesk.membership.models import FamilyCap, Membership, Plan, Refund, Remittance, RemittanceLine
from clubdesk.money import as_amount
from clubdesk.verbs import shell_user
from tests import factories
from tests.membership.joining import NOW, sound
from tests.papers import words_of

pytestmark = pytest.mark.django_db


def at_end(role):
    return balance(role, date(2028, 6, 30))


class TestAHousehold:
    def test_cap_and_sibling_discount_follow_who_paid_where_a_child_moves_to_another_family(self, junior, join):
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(400))
        junior.sibling_percent = 10
        junior.save()
        here, there = factories.HouseholdFactory(), factories.HouseholdFactory()
        moved = join(factories.PersonFactory(household=here))
        moved.person.household = there
        moved.person.save()
        of_there = join(factories.PersonFactory(household=there))
        of_here = join(factories.PersonFactory(household=here))
        assert of_there.working == "$228.00"
        assert of_here.working == "$228.00, less sibling $11.20, less family cap $44.80 = $172.00"

    def test_a_change_of_plan_gives_nothing_back_to_the_cap_of_a_family_that_did_not_pay(self, junior, adult, join, by):
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(400))
        here, there = factories.HouseholdFactory(), factories.HouseholdFactory()
        moved = join(factories.PersonFactory(household=here))
        join(factories.PersonFactory(household=there))
        moved.person.household = there
        moved.person.save()
        changed = membership.change_plan(membership=moved, plan=adult, on=NOW + timedelta(days=1), reason="x", by=by)
        assert changed.fee == as_amount("172.00")  # what the cap leaves beside the 228.00 that this family paid

    def test_each_but_the_first_has_the_sibling_discount_off_the_clubs_own_part(self, junior, join):
        junior.sibling_percent = 10
        junior.save()
        home = factories.HouseholdFactory()
        rows = [join(factories.PersonFactory(household=home)) for _ in range(3)]
        assert [row.working for row in rows] == ["$228.00", *["$228.00, less sibling $11.20 = $216.80"] * 2]
        assert at_end(Role.AFFILIATION_PAYABLE) == -3 * Decimal("116.00")
        assert at_end(Role.MEMBERSHIPS) == -Decimal("112.00") - 2 * Decimal("100.80")
        assert sound()

    def test_only_another_who_joins_beside_on_the_same_plan_in_full_earns_the_discount(self, junior, adult):
        junior.sibling_percent = 10
        junior.save()
        home = factories.HouseholdFactory()
        first, second, third = (factories.PersonFactory(household=home) for _ in range(3))

        def fee(*ahead):
            return selectors.quote(second, junior, NOW, ahead=ahead).price.fee

        in_full = selectors.quote(first, junior, NOW)
        assert fee(in_full) == Decimal("216.80")
        assert fee(selectors.quote(first, adult, NOW)) == fee(selectors.quote(second, junior, NOW)) == 228
        assert fee(selectors.quote(third, junior, NOW, ahead=[in_full])) == 228

    def test_renewed_at_different_times_exactly_one_still_pays_in_full(self, junior, join, by):
        junior.sibling_percent = 10
        junior.save()
        home = factories.HouseholdFactory()
        first, second = (factories.PersonFactory(household=home) for _ in range(2))
        join(first)
        join(second, starts_on=date(2027, 3, 1))
        again, other = join(first, starts_on=date(2027, 9, 12)), join(second, starts_on=date(2028, 3, 1))
        assert (again.sibling, other.sibling) == (False, True)

    def test_the_household_pays_at_most_its_cap_in_twelve_months(self, join):
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(500))
        home = factories.HouseholdFactory()
        rows = [join(factories.PersonFactory(household=home)) for _ in range(3)]
        assert [row.fee for row in rows] == [as_amount(228), as_amount(228), as_amount(116)]
        assert rows[2].working == "$228.00, less family cap $112.00 = $116.00"
        assert sound()

    def test_a_plan_without_shares_costs_nothing_beyond_the_cap(self, book, by):
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(228))
        plan, home = factories.plan(), factories.HouseholdFactory()
        people = [factories.PersonFactory(household=home) for _ in range(2)]
        rows = [
            membership.take_out_membership(person=person, plan=plan, starts_on=NOW, on=NOW, by=by) for person in people
        ]
        assert rows[1].charge is None
        assert selectors.is_member(people[1], NOW)
        assert fees.balance(home) == as_amount(228)
        assert sound()

    def test_an_age_that_the_plan_is_not_for(self, junior, join):
        junior.oldest = 17
        junior.save()
        with pytest.raises(Refused, match="is 18 on 12 Sep 2026; Junior is for ages 0 to 17. Choose another"):
            join(factories.PersonFactory(birth_date=date(2008, 9, 12)))

    def test_a_season_plan_ends_with_its_season(self, junior, join):
        junior.season_ends_month = 6
        junior.save()
        taken = join()
        assert (taken.ends_on, taken.fee) == (date(2027, 6, 30), as_amount("190.00"))
        assert at_end(Role.AFFILIATION_PAYABLE) == -(Decimal("59.17") + Decimal("37.50"))
        assert sound()


class TestLeaving:
    def test_the_clubs_part_of_the_whole_months_left_is_given_back(self, junior, join, by):
        junior.refund = Refund.MONTHS
        junior.save()
        taken = join()
        on = date(2027, 3, 11)
        ended = membership.end_membership(membership=taken, on=on, reason="moved", by=by)
        assert (ended.ends_on, fees.balance(taken.person.household)) == (on, as_amount("172.00"))
        assert at_end(Role.MEMBERSHIPS) == -Decimal("56.00")
        assert at_end(Role.AFFILIATION_PAYABLE) == -Decimal("116.00")
        assert selectors.is_member(taken.person, on)
        assert not selectors.is_member(taken.person, on + timedelta(days=1))
        assert membership.end_membership(membership=taken, on=on, reason="moved", by=by) == ended
        assert sound()

    def test_where_the_rule_gives_nothing_back_nothing_is(self, join, by):
        taken = join()
        membership.end_membership(membership=taken, on=date(2027, 3, 11), reason="moved", by=by)
        assert fees.balance(taken.person.household) == as_amount(228)

    def test_before_its_first_day_it_is_cancelled_and_never_becomes_income(self, join, by):
        # Across a year's end: charged in June, starts in July.
        taken = join(starts_on=date(2027, 7, 1), on=date(2027, 6, 1))
        assert balance(Role.FEES_IN_ADVANCE, date(2027, 6, 30)) == -Decimal("228.00")
        ended = membership.end_membership(membership=taken, on=date(2027, 6, 20), reason="moved", by=by)
        assert ended.cancelled_on == date(2027, 6, 20)
        nightly(on=date(2027, 7, 1), by=by)
        assert at_end(Role.FEES_IN_ADVANCE) == at_end(Role.MEMBERSHIPS) == 0
        assert not selectors.is_member(taken.person, date(2027, 7, 1))
        assert sound()

    def test_a_mistyped_one_is_cancelled_and_the_right_one_taken_out(self, join, by):
        taken = join()
        membership.cancel_membership(membership=taken, on=NOW, reason="wrong child", by=by)
        assert fees.balance(taken.person.household) == as_amount(0)
        assert at_end(Role.AFFILIATION_PAYABLE) == 0
        join(taken.person)
        assert sound()


class TestChangingThePlan:
    def test_the_household_owes_the_difference_for_the_months_left(self, join, adult, by):
        taken = join()
        changed = membership.change_plan(membership=taken, plan=adult, on=date(2027, 3, 12), reason="turns 18", by=by)
        # Six months of 300.00 less six months of 228.00.
        assert changed.charge.amount == as_amount("36.00")
        assert (changed.starts_on, changed.ends_on) == (date(2027, 3, 12), taken.ends_on)
        taken.refresh_from_db()
        assert taken.ends_on == date(2027, 3, 11)
        nightly(on=date(2027, 3, 12), by=by)
        # The associations get the difference of their shares: 12.00 and 7.50.
        assert at_end(Role.AFFILIATION_PAYABLE) == -Decimal("116.00") - Decimal("19.50")
        again = membership.change_plan(membership=taken, plan=adult, on=date(2027, 3, 12), reason="turns 18", by=by)
        assert again == changed
        assert sound()

    def test_to_a_cheaper_plan_the_difference_is_credited(self, join, adult, junior, by):
        taken = join(plan=adult)
        changed = membership.change_plan(
            membership=taken, plan=junior, on=date(2027, 3, 12), reason="wrong plan", by=by
        )
        assert changed.charge is None
        assert fees.balance(taken.person.household) == as_amount("264.00")
        assert sound()

    def test_from_its_first_day_the_whole_fee_moves_within_fees_in_advance(self, join, adult, by):
        taken = join(starts_on=date(2027, 7, 1), on=date(2027, 6, 1))
        membership.change_plan(membership=taken, plan=adult, on=date(2027, 6, 20), reason="turns 18", by=by)
        assert balance(Role.FEES_IN_ADVANCE, date(2027, 6, 30)) == -Decimal("300.00")
        nightly(on=date(2027, 7, 1), by=by)
        assert at_end(Role.FEES_IN_ADVANCE) == 0
        assert fees.balance(taken.person.household) == as_amount(300)
        assert sound()

    def test_who_leaves_after_a_change_gets_back_of_both_fees(self, join, adult, junior, by):
        Plan.objects.update(refund=Refund.MONTHS)
        taken = join(on=NOW)
        changed = membership.change_plan(membership=taken, plan=adult, on=date(2027, 3, 12), reason="18", by=by)
        nightly(on=date(2027, 3, 12), by=by)
        before = fees.balance(taken.person.household)
        membership.end_membership(membership=changed, on=date(2027, 6, 11), reason="moved", by=by)
        # The club's part of six adult months is 72.50; three of them are left.
        assert before - fees.balance(taken.person.household) == as_amount("36.25")
        assert sound()


class TestOddOrders:
    """What a review found: changes upon changes, cancelled again, and vouchers in between."""

    @pytest.fixture
    def paid(self, join, by):
        def joined(**more):
            taken = join(**more)
            owed = fees.balance(taken.person.household)
            charging.record_receipt(
                household=taken.person.household, amount=owed, method=Method.TRANSFER, on=NOW, by=by
            )
            return taken

        return joined

    @pytest.fixture
    def third(self, bodies, adult):
        """A plan at the price and the shares of the junior's."""
        price = factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS, code="third")
        for party, share in zip(bodies, ("71.00", "45.00"), strict=True):
            FeeShare.objects.create(
                price=price, account=account(Role.AFFILIATION_PAYABLE), party=party, amount=as_amount(share)
            )
        return Plan.objects.create(name="Third", fee_item=price.item, refund=Refund.MONTHS)

    def change(self, taken, plan, on, by):
        return membership.change_plan(membership=taken, plan=plan, on=on, reason="x", by=by)

    def test_who_leaves_after_a_cheaper_change_still_gets_the_months_back(self, paid, adult, junior, by):
        Plan.objects.update(refund=Refund.MONTHS)
        junior.refresh_from_db()
        taken = paid(plan=adult)
        changed = self.change(taken, junior, date(2027, 3, 12), by)
        home = taken.person.household
        assert fees.balance(home).amount == -36
        membership.end_membership(membership=changed, on=date(2027, 6, 11), reason="moves", by=by)
        assert fees.balance(home).amount == -64
        membership.cancel_membership(membership=changed, on=date(2027, 6, 12), reason="never came", by=by)
        assert sound()

    def test_cancelled_after_leaving_all_of_it_is_taken_back(self, paid, junior, by):
        Plan.objects.update(refund=Refund.MONTHS)
        taken = paid()
        membership.end_membership(membership=taken, on=date(2026, 12, 11), reason="moves", by=by)
        membership.cancel_membership(membership=taken, on=date(2026, 12, 12), reason="wrong child", by=by)
        assert fees.balance(taken.person.household).amount == -228
        assert at_end(Role.AFFILIATION_PAYABLE) == 0
        assert sound()

    @pytest.mark.parametrize("cheaper", [False, True])
    def test_a_mistaken_change_is_cancelled_and_the_plan_before_holds_again(self, paid, adult, junior, by, cheaper):
        plans = (adult, junior) if cheaper else (junior, adult)
        taken = paid(plan=plans[0])
        changed = self.change(taken, plans[1], date(2027, 3, 12), by)
        membership.cancel_membership(membership=changed, on=date(2027, 3, 13), reason="mistake", by=by)
        standing = selectors.membership_on(taken.person, date(2027, 8, 1))
        assert (standing.plan, standing.ends_on) == (plans[0], date(2027, 9, 11))
        assert fees.balance(taken.person.household).amount == 0
        again = self.change(standing, plans[1], date(2027, 3, 12), by)
        assert again.plan == plans[1]
        assert sound()

    def test_a_change_on_the_first_day_of_a_change_keeps_the_last_day(self, paid, adult, third, by):
        taken = paid()
        two = self.change(taken, adult, date(2027, 3, 12), by)
        three = self.change(two, third, date(2027, 3, 12), by)
        assert (three.ends_on, fees.balance(taken.person.household).amount) == (taken.ends_on, 0)
        assert self.change(two, third, date(2027, 3, 12), by) == three
        assert sound()

    def test_whole_shares_are_passed_on_once_whatever_the_plan(self, paid, third, junior, by):
        Plan.objects.update(whole_shares=True)
        taken = paid()
        self.change(Membership.objects.get(pk=taken.pk), Plan.objects.get(name="Third"), date(2027, 3, 12), by)
        assert fees.balance(taken.person.household).amount == 0
        assert at_end(Role.AFFILIATION_PAYABLE) == -116
        assert sound()

    def test_changed_twice_each_association_gets_its_part_of_each_time(self, paid, adult, bodies, by):
        dear = factories.price(
            FeeKind.MEMBERSHIP, "400.00", Role.MEMBERSHIPS, code="dear", shares=[(bodies[0], "120.00")]
        )
        plan = Plan.objects.create(name="Dear", fee_item=dear.item)
        two = self.change(paid(), adult, date(2027, 3, 12), by)
        self.change(two, plan, date(2027, 6, 12), by)
        nightly(on=date(2027, 6, 12), by=by)
        # Six months at 71 a year, three at 95, three at 120.
        assert owed.affiliation_owed(bodies[0]) == as_amount("89.25")

    def test_the_cap_holds_whoever_is_written_down_first(self, join):
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(300))
        home = factories.HouseholdFactory()
        join(factories.PersonFactory(household=home), starts_on=date(2026, 10, 1), on=NOW)
        join(factories.PersonFactory(household=home), starts_on=NOW, on=NOW)
        assert fees.balance(home) == as_amount(228 + 116)

    def test_a_lodged_voucher_refused_later_gives_the_refund_once(self, paid, adult, by):
        Plan.objects.update(refund=Refund.MONTHS)
        taken, scheme = paid(), factories.scheme()
        two = self.change(taken, Plan.objects.get(name="Adult"), date(2027, 3, 12), by)
        voucher = charging.accept_voucher(scheme=scheme, charge=two.charge, code="SV1", on=date(2027, 3, 12), by=by)
        charging.lodge_vouchers(scheme=scheme, on=date(2027, 3, 13), by=by)
        membership.end_membership(membership=two, on=date(2027, 6, 11), reason="moves", by=by)
        assert fees.balance(taken.person.household).amount == Decimal("-36.25")
        charging.refuse_voucher(voucher=voucher, on=date(2027, 6, 12), reason="used elsewhere", by=by)
        assert fees.balance(taken.person.household).amount == Decimal("-0.25")
        assert sound()

    def test_in_the_last_month_nothing_breaks(self, paid, adult, by):
        Plan.objects.update(refund=Refund.MONTHS)
        two = self.change(paid(), Plan.objects.get(name="Adult"), date(2027, 9, 1), by)
        membership.end_membership(membership=two, on=date(2027, 9, 5), reason="moves", by=by)
        assert sound()

    def test_a_membership_that_another_follows_is_not_ended_beneath_it(self, join, adult, by):
        taken = join()
        self.change(taken, adult, date(2027, 3, 12), by)
        with pytest.raises(Refused, match="follows from 12 Mar 2027; end or cancel that one first"):
            membership.end_membership(membership=taken, on=date(2026, 12, 11), reason="moves", by=by)


class TestTheDatabaseItself:
    def test_nobody_is_a_member_twice_on_one_day(self, join):
        taken = join()
        with pytest.raises(IntegrityError, match="covers one of those days"), transaction.atomic():
            Membership.objects.create(
                person=taken.person, plan=taken.plan, starts_on=NOW + timedelta(days=3), ends_on=date(2026, 10, 1),
                recorded_by=taken.recorded_by,
            )  # fmt: skip
        with pytest.raises(IntegrityError, match="never made longer"), transaction.atomic():
            Membership.objects.update(ends_on=date(2030, 1, 1))

    def test_no_share_is_remitted_twice(self, join, bodies, by):
        join()
        membership.remit_affiliation(association=bodies[0], through=NOW, on=NOW, by=by)
        line = RemittanceLine.objects.get()
        other = Remittance.objects.create(association=bodies[0], amount=as_amount(1), paid_on=NOW, recorded_by=by)
        with pytest.raises(IntegrityError, match="passed on once"), transaction.atomic():
            RemittanceLine.objects.create(remittance=other, share=line.share, amount=as_amount(1))
        other = membership.remit_affiliation(association=bodies[1], through=NOW, on=NOW, by=by)
        with pytest.raises(IntegrityError, match="of that association alone"), transaction.atomic():
            RemittanceLine.objects.create(remittance=other, share=line.share, amount=as_amount(-1))


class TestAffiliation:
    def test_each_member_is_remitted_once_and_what_was_taken_back_is_deducted(self, join, bodies, by):
        state, _ = bodies
        first = join()
        one = membership.remit_affiliation(association=state, through=NOW, on=NOW, by=by)
        assert [line.amount for line in one.lines.all()] == [as_amount(71)]
        later = date(2026, 10, 3)
        join(starts_on=later)
        join(starts_on=later)
        membership.cancel_membership(membership=first, on=later, reason="wrong child", by=by)
        two = membership.remit_affiliation(association=state, through=later, on=later, by=by)
        assert sorted(line.amount.amount for line in two.lines.all()) == [-71, 71, 71]
        assert two.amount == as_amount(71)
        assert owed.affiliation_owed(state) == as_amount(0)
        assert sound()

    def test_only_what_started_by_the_day_is_in_the_list(self, join, bodies, by):
        join()
        join(starts_on=date(2026, 10, 3))
        through = papers.due_lines(owed.affiliation_due(bodies[0], NOW))
        assert [(row.started, row.to_pay) for row in through] == [(NOW, Decimal("71.00"))]

    def test_the_list_is_a_page_a_csv_and_a_pdf(self, client, treasurer, join, bodies, by):
        taken = join(factories.PersonFactory(given_name="=Ada"))
        client.force_login(treasurer)
        url = reverse("admin:affiliation")
        query = {"association": bodies[0].pk, "through": "2026-09-12"}
        page = client.get(url, query).content.decode()
        assert "71.00" in page
        text = client.get(url, query | {"as": "csv"}).content.decode()
        assert "'=Ada" in text
        assert text.splitlines()[1].endswith(",71.00,71.00")
        assert "=Ada" in words_of(client.get(url, query | {"as": "pdf"}).content)
        made = membership.remit_affiliation(association=bodies[0], through=NOW, on=NOW, by=by)
        assert (
            taken.charge.description
            in client.get(reverse("admin:membership_remittance_change", args=[made.pk])).content.decode()
        )
        for kind in ("csv", "pdf", ""):
            assert client.get(url, {"remittance": made.pk, "as": kind}).status_code == 200
        assert client.get(url, {"remittance": "x"}).status_code == 404


@pytest.mark.world("empty")
def test_subscriptions_of_a_year_from_what_was_owed_in_advance_and_received(db):
    # Source: a published textbook example for a football club, year to 31 December 2014: owing at the start 64, in
    # advance at the start 31, received 397, owing at the end 95, in advance at the end 42; income for the year 417.
    by = shell_user()
    start_books(club_name="Textbook club", year_start=date(2014, 1, 1), by=by)
    first, last = date(2014, 1, 1), date(2014, 12, 31)
    arrears, ahead, paid, late, early = (factories.HouseholdFactory() for _ in range(5))
    items = [factories.open_item(arrears, 64, Role.MEMBERSHIPS), factories.open_item(ahead, -31, Role.MEMBERSHIPS)]
    charging.bring_in_balances(items=items, by=by)
    for index, (home, amount) in enumerate(((ahead, "31"), (paid, "291"), (late, "95"))):
        price = factories.price(FeeKind.MEMBERSHIP, amount, Role.MEMBERSHIPS, code=f"subscription{index}")
        FeePrice.objects.filter(pk=price.pk).update(valid_from=first)
        charging.charge(household=home, price=price, on=date(2014, 2, 1), starts_on=date(2014, 2, 1), by=by)
    for home, amount in ((arrears, 64), (paid, 291), (early, 42)):
        charging.record_receipt(
            household=home, amount=as_amount(amount), method=Method.TRANSFER, on=date(2014, 3, 1), by=by
        )
    assert balance(Role.MEMBERSHIPS, last) == -417
    assert balance(Role.BANK, last) == 397
    owed = sorted(fees.balance(home).amount for home in (arrears, ahead, paid, late, early))
    assert owed == [-42, 0, 0, 0, 95]
    assert sound()
