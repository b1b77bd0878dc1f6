"""From which day to which a membership counts, what of the associations' list a period holds, and what is refused."""

import io
import zipfile
from datetime import date, timedelta

import pytest

from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger import spreadsheets
from clubdesk.ledger.models import Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.membership import owed, rollfile, selectors
from clubdesk.membership import services as membership
from clubdesk.membership.admin import ChangePage
from clubdesk.membership.models import FamilyCap, Membership
from clubdesk.membership.rollfile import plan_roll, read_roll
from clubdesk.money import as_amount
from tests import factories
from tests.locks import asked, held
from tests.membership.joining import NOW, sound
from tests.membership.test_bringing_in import FAMILIES

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
LAST = date(2027, 9, 11)
CHANGED = date(2027, 3, 12)
KEY = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"


class TestDays:
    def test_it_covers_its_first_day_to_its_last(self, join):
        taken = join()
        days = (NOW - DAY, NOW, LAST, LAST + DAY)
        assert [selectors.membership_on(taken.person, day) for day in days] == [None, taken, taken, None]
        assert [selectors.is_member(taken.person, day) for day in days] == [False, True, True, False]

    def test_one_that_was_cancelled_covers_none_and_earns_nobody_a_discount(self, junior, join, by):
        junior.sibling_percent = 10
        junior.save()
        home = factories.HouseholdFactory()
        first, second = (factories.PersonFactory(household=home) for _ in range(2))
        membership.cancel_membership(membership=join(first), on=NOW, reason="wrong child", by=by)
        assert selectors.membership_on(first, NOW) is None
        assert join(second).working == "$228.00"

    def test_one_is_cancelled_once_and_the_plan_before_holds_again_once(self, join, adult, by):
        taken = join()
        changed = membership.change_plan(membership=taken, plan=adult, on=CHANGED, reason="turns 18", by=by)
        for day in (CHANGED, CHANGED + DAY):
            done = membership.cancel_membership(membership=changed, on=day, reason="mistake", by=by)
            assert done.cancelled_on == CHANGED
        assert Membership.objects.filter(person=taken.person, cancelled_on=None).count() == 2
        assert sound()


class TestRefused:
    def test_who_leaves_or_changes_says_why(self, join, adult, by):
        taken = join()
        with pytest.raises(Refused, match="Say why the membership ends"):
            membership.end_membership(membership=taken, on=CHANGED, reason=" ", by=by)
        with pytest.raises(Refused, match="Say why the membership is cancelled"):
            membership.cancel_membership(membership=taken, on=CHANGED, reason=" ", by=by)
        with pytest.raises(Refused, match="Say why the plan changes"):
            membership.change_plan(membership=taken, plan=adult, on=CHANGED, reason=" ", by=by)

    def test_a_plan_changes_to_another_that_is_for_that_age(self, join, junior, adult, by):
        taken = join()
        with pytest.raises(Refused, match="has the plan Junior already"):
            membership.change_plan(membership=taken, plan=junior, on=CHANGED, reason="x", by=by)
        adult.youngest = 18
        adult.save()
        with pytest.raises(Refused, match="is 13 on 12 Mar 2027; Adult is for ages 18 on"):
            membership.change_plan(membership=taken, plan=adult, on=CHANGED, reason="x", by=by)
        said = dict(ChangePage().promises(taken))
        assert "is 12 on 12 Sep 2026; Adult is for ages 18 on" in said["To Adult from today"]

    def test_one_that_is_over_or_cancelled_is_neither_ended_nor_changed(self, join, adult, by):
        taken = join()
        with pytest.raises(Refused, match="ends on 11 Sep 2027 anyhow"):
            membership.end_membership(membership=taken, on=LAST, reason="moved", by=by)
        assert membership.end_membership(membership=taken, on=LAST - DAY, reason="moved", by=by).ends_on == LAST - DAY
        other = join()
        membership.cancel_membership(membership=other, on=NOW, reason="mistyped", by=by)
        with pytest.raises(Refused, match="was cancelled on 12 Sep 2026"):
            membership.change_plan(membership=other, plan=adult, on=CHANGED, reason="x", by=by)

    def test_where_nothing_is_to_be_paid_no_voucher_is_taken(self, book, by):
        FamilyCap.objects.create(valid_from=date(2020, 1, 1), amount=as_amount(228))
        plan, person = factories.plan(), factories.PersonFactory()
        sibling = factories.PersonFactory(household=person.household)
        membership.take_out_membership(person=sibling, plan=plan, starts_on=NOW, on=NOW, by=by)
        with pytest.raises(Refused, match="There is nothing to pay, so no voucher is needed"):
            membership.take_out_membership(
                person=person, plan=plan, starts_on=NOW, on=NOW, by=by, scheme=factories.scheme(), code="SV1"
            )


class TestTheAssociations:
    def test_the_list_of_a_period_holds_what_became_income_in_it_the_oldest_first(self, join, bodies):
        later, waits = date(2026, 10, 3), date(2026, 11, 1)
        for starts_on, on in ((waits, NOW), (later, later), (NOW, NOW)):
            join(starts_on=starts_on, on=on)

        def started(since):
            return [due.share.charge.starts_on for due in owed.affiliation_due(bodies[0], None, since)]

        assert started(None) == [NOW, later]
        assert started(NOW) == [NOW, later]
        assert started(NOW + DAY) == started(later) == [later]
        assert started(later + DAY) == []

    def test_what_was_paid_by_hand_is_told_before_it_is_remitted_again(self, join, bodies, by):
        state, _ = bodies
        join()
        lines = [debit(Role.AFFILIATION_PAYABLE, as_amount("0.01"), state), credit(Role.BANK, as_amount("0.01"))]
        ledger.record_journal(on=NOW, narration="Paid by hand", lines=lines, by=by)
        assert sound()
        with pytest.raises(Refused, match=r"70\.99 is owed to State archery association, less than the \$71\.00"):
            membership.remit_affiliation(association=state, through=NOW, on=NOW, by=by)

    def test_one_that_is_pressed_twice_is_one(self, join, bodies, by):
        join()
        first, again = (
            membership.remit_affiliation(association=bodies[0], through=NOW, on=NOW, by=by, key=KEY) for _ in range(2)
        )
        assert first == again


class TestQueues:
    def test_whoever_changes_memberships_waits_in_the_households_queue(self, join, adult, junior, bodies, by):
        junior.refund = "months"
        junior.save()
        taken, other = join(), join()
        home = taken.person.household
        with asked() as lines:
            membership.renew_household(household=home, on=LAST, by=by)
        assert lines[0] == "hold Household by pk"
        changed = membership.change_plan(membership=other, plan=adult, on=CHANGED, reason="x", by=by)
        adult.refund = "months"
        adult.save()
        changed.refresh_from_db()
        for act in (
            lambda: membership.end_membership(membership=changed, on=CHANGED + 90 * DAY, reason="x", by=by),
            lambda: membership.cancel_membership(membership=changed, on=CHANGED + 90 * DAY, reason="x", by=by),
        ):
            with asked() as lines:
                act()
            assert held(lines)[0] == "Household by pk"
            assert lines.index("hold Household by pk") < lines.index("read Membership")
        with asked() as lines:
            membership.remit_affiliation(association=bodies[0], through=NOW, on=NOW, by=by)
        assert lines[0] == "hold Book"

    def test_who_leaves_holds_all_the_charges_before_the_book(self, join, junior, by):
        junior.refund = "months"
        junior.save()
        taken = join()
        with asked() as lines:
            membership.end_membership(membership=taken, on=CHANGED, reason="x", by=by)
        assert held(lines)[:3] == ["Household by pk", "Household by pk", "Charge by pk"]


class TestTheRollsFile:
    """Ada Mirabar is a member from 1 April 2026 to 31 March 2027, by a first file."""

    @pytest.fixture
    def ada(self, book, by):
        factories.plan()
        membership.import_roll(content=FAMILIES.encode(), by=by)
        return Membership.objects.get(person__given_name="Ada")

    @pytest.mark.parametrize(("expiry", "covers"), [
        ("2028-03-31", False), ("2028-03-30", True), ("2026-04-01", True), ("2026-03-31", False),
    ])  # fmt: skip
    def test_another_membership_shares_no_day_with_it(self, ada, expiry, covers):
        row, *_ = plan_roll(read_roll(FAMILIES.replace("Junior,2027-03-31,45.00", f"Junior,{expiry},").encode()))
        assert row.where == "in the family Mirabar family of the roll"
        assert row.faults == (["Ada Mirabar has a membership to 31 Mar 2027 already."] if covers else [])

    @pytest.mark.parametrize(("same_as", "fault"), [
        ("999999", "nobody who might be Adah Mirabar has the number 999999."),
        ("perhaps", "same_as is “perhaps”; write new, or the number of the person that it is."),
        ("new", None),
    ])  # fmt: skip
    def test_who_it_is_must_be_somebody(self, ada, same_as, fault):
        row, *_ = plan_roll(read_roll(FAMILIES.replace(",Ada,", ",Adah,").encode()), {2: same_as})
        assert row.faults == ([fault] if fault else [])

    @pytest.mark.parametrize(("column", "most", "before"), [
        ("household", 100, "Solano family,"), ("guardian", 100, "Uma Solano,"), ("given_name", 60, "Cato,"),
        ("family_name", 60, "Solano,2013"),
    ])  # fmt: skip
    def test_a_name_is_as_long_as_the_roll_holds(self, book, column, most, before):
        factories.plan()
        for letters, faults in ((most, []), (most + 1, [f"the column {column} is longer than {most} letters."])):
            name, _, behind = before.partition(",")
            row = plan_roll(read_roll(FAMILIES.replace(before, f"{name[:1] * letters},{behind}").encode()))[-1]
            assert row.faults == faults

    def test_a_file_has_so_many_rows_and_bytes_and_no_more(self, monkeypatch):
        monkeypatch.setattr(rollfile, "MOST_ROWS", 3)
        assert len(read_roll(FAMILIES.encode())) == 3
        monkeypatch.setattr(rollfile, "MOST_ROWS", 2)
        with pytest.raises(Refused, match="more than 2 rows"):
            read_roll(FAMILIES.encode())
        monkeypatch.setattr(rollfile, "MOST_BYTES", len(FAMILIES.encode()) - 1)
        with pytest.raises(Refused, match="too large"):
            read_roll(FAMILIES.encode())

    def test_a_workbook_that_unpacks_to_far_more_is_not_opened(self, monkeypatch):
        file = io.BytesIO()
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as parts:
            parts.writestr("sheet.xml", b" " * 1_000_000)
        monkeypatch.setattr(spreadsheets, "MOST_BYTES", 199_999)
        assert len(file.getvalue()) < 199_999
        with pytest.raises(Refused, match="The file is too large"):
            read_roll(file.getvalue())
        monkeypatch.setattr(spreadsheets, "MOST_BYTES", 200_000)
        with pytest.raises(Refused, match="no workbook that can be read"):
            read_roll(file.getvalue())
