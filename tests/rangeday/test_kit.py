"""The club's kit: given out, taken back, set aside as unsafe, and found fit again."""

import uuid
from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.rangeday import figures, kits, services
from clubdesk.rangeday.models import (
    Gear,
    Kit,
    KitLoan,
    KitState,
    Paid,
)
from clubdesk.rangeday.services.taps import Tapped
from tests import factories
from tests.rangeday.days import NINE, TODAY

pytestmark = pytest.mark.django_db


class TestKit:
    @pytest.fixture
    def bow(self, book):
        return Kit.objects.create(number="B01", kind="bow", check_after=2)

    def test_given_out_once_and_back(self, sign, member, join, bow, by):
        first, second = sign(member), sign(join(factories.PersonFactory()))
        services.give_out(kit=bow, sign_on=first, at=NINE, by=by)
        services.give_out(kit=bow, sign_on=first, at=NINE, by=by)
        with pytest.raises(Refused, match=f"still out with {member}"):
            services.give_out(kit=bow, sign_on=second, at=NINE, by=by)
        assert [loan.kit for loan in kits.kit_out(first.range_day)] == [bow]
        services.take_back_kit(kit=bow, at=NINE, by=by)
        assert services.take_back_kit(kit=bow, at=NINE, by=by) is None
        services.give_out(kit=bow, sign_on=second, at=NINE, by=by)
        assert figures.kit_in_use().get().uses == 2

    def test_what_is_set_aside_as_unsafe_is_not_given_out_by_anybody(self, sign, member, bow, by):
        with pytest.raises(Refused, match="Say what is wrong"):
            services.set_kit_aside(kit=bow, on=TODAY, note=" ", by=by)
        services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=by)
        signed = sign(member)
        with pytest.raises(Refused, match="unsafe. Have it checked by someone qualified"):
            services.give_out(kit=bow, sign_on=signed, at=NINE, by=by)
        with pytest.raises(IntegrityError, match="set aside or retired"), transaction.atomic():
            KitLoan.objects.create(kit=bow, sign_on=signed, given_at=NINE, recorded_by=by)

    def test_only_a_check_by_somebody_named_puts_it_back_into_use(self, bow, by):
        services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=by)
        with pytest.raises(IntegrityError, match="only by a check"), transaction.atomic():
            Kit.objects.update(state=KitState.USABLE)
        with pytest.raises(Refused, match="Say who checked it"):
            services.find_kit_fit(kit=bow, on=TODAY, checked_by="", by=by)
        services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida the bow maker", by=by)
        bow.refresh_from_db()
        assert bow.state == KitState.USABLE

    def test_a_range_helper_sets_it_aside_and_leaves_it_to_others_to_find_it_fit(self, bow, range_helper):
        services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=range_helper)
        with pytest.raises(Refused, match="your sign-in may not do that"):
            services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida the bow maker", by=range_helper)

    def test_uses_are_counted_for_maintenance_anew_from_each_check(self, sign, join, bow, by):
        for use in range(2):
            assert list(figures.kit_to_check()) == []
            assert [line.due for line in kits.kit_on_hand(TODAY)] == [False]
            signed = sign(join(factories.PersonFactory()))
            services.give_out(kit=bow, sign_on=signed, at=NINE + timedelta(minutes=use), by=by)
            services.take_back_kit(kit=bow, at=NINE, by=by)
        assert [kit.uses_since_check for kit in figures.kit_to_check()] == [2]
        assert [line.due for line in kits.kit_on_hand(TODAY)] == [True]
        other = Kit.objects.create(number="B02", kind="bow", check_after=2)
        services.give_out(kit=other, sign_on=signed, at=NINE + timedelta(minutes=5), by=by)
        services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida", by=by)
        assert list(figures.kit_to_check()) == []
        used = {kit.number: (kit.uses, kit.uses_since_check) for kit in figures.kit_in_use()}
        assert used == {"B01": (2, 0), "B02": (1, 1)}

    @pytest.fixture
    def tap(self, day, by):
        def tapped(key=None, at=NINE, **more):
            made = Tapped(key=key or uuid.uuid4(), at=at, **more)
            return services.receive_tap(range_day=day, tapped=made, by=by)

        return tapped

    def test_a_phone_gives_it_out_with_the_tap_that_signed_on_and_takes_it_back(self, tap, member, bow):
        signed = tap(people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        key = uuid.uuid4()
        for _ in range(2):
            given = tap(key=key, act="give", kit=bow.pk, holder=signed.key, people=(member.pk,))
            assert given.state == "done"
        assert bow.loans.get().sign_on.person == member
        for _ in range(2):
            assert tap(act="back", kit=bow.pk, at=NINE + timedelta(hours=2)).state == "done"
        assert bow.loans.get().back_at == NINE + timedelta(hours=2)

    def test_a_late_back_does_not_end_a_younger_loan(self, day, sign, member, join, bow, tap):
        ann, ben = sign(member), sign(join(factories.PersonFactory()))
        tap(act="give", kit=bow.pk, holder=ann.key)
        tap(act="back", kit=bow.pk, at=NINE + timedelta(minutes=61))
        tap(act="give", kit=bow.pk, holder=ben.key, at=NINE + timedelta(minutes=62))
        tap(act="back", kit=bow.pk, at=NINE + timedelta(minutes=60))
        assert [loan.sign_on for loan in kits.kit_out(day)] == [ben]

    def test_unsafe_kit_that_is_out_stays_on_the_sheet_until_it_is_back(self, day, sign, member, bow, by):
        services.give_out(kit=bow, sign_on=sign(member), at=NINE, by=by)
        services.set_kit_aside(kit=bow, on=TODAY, note="cracked limb", by=by)
        (line,) = kits.kit_on_hand(TODAY)
        assert "unsafe: take it back now" in line.who
        services.take_back_kit(kit=bow, at=NINE, by=by)
        (line,) = kits.kit_on_hand(TODAY)
        assert (line.holder, line.unsafe) == (None, "since 12 Sep: cracked limb")
        services.set_kit_aside(kit=bow, on=TODAY, note="worn out", state=KitState.RETIRED, by=by)
        assert kits.kit_on_hand(TODAY) == []

    def test_kit_that_reached_the_book_before_its_sign_on_goes_out_with_it(self, day, member, bow, tap):
        key = uuid.uuid4()
        given = tap(act="give", kit=bow.pk, holder=key)
        assert given.state == "question"
        tap(key=key, people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        given.refresh_from_db()
        assert given.state == "done"
        assert kits.kit_out(day).get().sign_on.person == member

    def test_kit_that_was_given_out_on_another_days_sheet_stays_a_question_there(self, member, bow, tap, by):
        key, another = uuid.uuid4(), factories.range_day(TODAY + timedelta(days=7))
        sent = Tapped(key=uuid.uuid4(), at=NINE, act="give", kit=bow.pk, holder=key)
        given = services.receive_tap(range_day=another, tapped=sent, by=by)
        tap(key=key, people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        given.refresh_from_db()
        assert (given.state, bow.loans.count()) == ("question", 0)

    def test_kit_that_goes_out_by_a_clock_that_is_ahead_is_not_back_before_that(self, sign, member, bow, by):
        signed, later = sign(member), clock.now() + timedelta(hours=3)
        services.give_out(kit=bow, sign_on=signed, at=later, by=by)
        services.cancel_sign_on(sign_on=signed, on=TODAY, reason="wrong child", by=by)
        assert bow.loans.get().back_at == later

    def test_kit_of_a_corrected_sign_on_is_found_by_the_wrong_ones_key(self, day, sign, member, bow, tap, by):
        wrong = sign(member)
        services.correct_sign_on(wrong=wrong, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)
        assert tap(act="give", kit=bow.pk, holder=wrong.key).state == "done"

    def test_a_number_is_carried_once_however_it_is_written(self, bow):
        with pytest.raises(IntegrityError, match="carries this number already"), transaction.atomic():
            Kit.objects.create(number="b01", kind="bow")

    def test_setting_aside_does_not_start_its_uses_anew(self, sign, member, bow, by):
        services.give_out(kit=bow, sign_on=sign(member), at=NINE, by=by)
        services.set_kit_aside(kit=bow, on=TODAY, note="cracked limb", by=by)
        assert figures.kit_in_use().get().uses_since_check == 1

    def test_back_on_one_phone_before_the_other_says_that_it_went_out(self, tap, member, bow):
        signed = tap(people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        tap(act="back", kit=bow.pk, at=NINE + timedelta(hours=2))
        assert tap(act="give", kit=bow.pk, holder=signed.key).state == "done"
        assert bow.loans.get().back_at == NINE + timedelta(hours=2)
        assert list(kits.kit_out()) == []

    def test_of_several_backs_the_first_after_it_went_out_ends_it(self, tap, member, bow):
        signed = tap(people=(member.pk,), gear=Gear.HIRE, paid=Paid.CASH)
        undone = uuid.uuid4()
        tap(key=undone, act="back", kit=bow.pk, at=NINE + timedelta(minutes=20))
        tap(key=undone, undo=True)
        for minutes in (30, 60, 5):
            tap(act="back", kit=bow.pk, at=NINE + timedelta(minutes=minutes))
        tap(act="give", kit=bow.pk, holder=signed.key, at=NINE + timedelta(minutes=10))
        assert bow.loans.get().back_at == NINE + timedelta(minutes=30)

    def test_what_cannot_be_is_a_question(self, tap, member, bow, day):
        assert "not in the list" in tap(act="give", kit=999_999, holder=uuid.uuid4()).question
        assert "not signed on" in tap(act="give", kit=bow.pk, holder=uuid.uuid4()).question
        assert day.taps.filter(state="question").count() == 2

    def test_what_is_still_out_stands_on_the_days_page(self, client, coordinator, sign, member, bow, by, day):
        services.give_out(kit=bow, sign_on=sign(member), at=NINE, by=by)
        client.force_login(coordinator)
        for page in ("change", "close"):
            said = client.get(reverse(f"admin:rangeday_rangeday_{page}", args=[day.pk])).content.decode()
            assert "Kit still out" in said


class TestSizes:
    """Trade terms, common practice, no source: a bow is of a hand, and drawn at so many pounds."""

    def test_the_sheet_says_size_draw_weight_and_hand_of_each_piece(self, client, day, coordinator):
        Kit.objects.create(number="B01", kind="bow", size="66 inch", hand="left", draw_weight=18, description="blue")
        Kit.objects.create(number="Q01", kind="quiver")
        client.force_login(coordinator)
        page = client.get(reverse("admin:range_sheet", args=[day.pk]))
        bow, quiver = page.context["kit"]
        assert bow[3:] == ["66 inch, 18 pounds, left hand, blue", 0, "", "66 inch", "left", 18]
        assert quiver[3:] == ["", 0, "", "", "", 0]

    @pytest.mark.parametrize("pounds", [0, 81])
    def test_no_bow_draws_nothing_or_more_than_a_club_lends(self, book, pounds):
        with pytest.raises(IntegrityError, match="rangeday_kit_draw_weight_of_a_bow"), transaction.atomic():
            Kit.objects.create(number="B01", kind="bow", draw_weight=pounds)

    def test_the_form_says_what_a_bow_may_draw(self, client, book, coordinator):
        client.force_login(coordinator)
        typed = {"number": "B01", "kind": "bow", "size": "66 inch", "hand": "left", "draw_weight": "200"}
        page = client.post(reverse("admin:rangeday_kit_add"), typed)
        assert "A bow of the club draws between 1 and 80 pounds." in page.content.decode()
        assert not Kit.objects.exists()

    def test_the_list_as_a_file_has_a_column_for_each(self, client, book, coordinator):
        Kit.objects.create(number="B01", kind="bow", size="66 inch", hand="left", draw_weight=18)
        client.force_login(coordinator)
        page = client.get(reverse("admin:rangeday_kit_changelist"), {"as": "csv"}).content.decode("utf-8-sig")
        header, row = page.splitlines()
        assert header.startswith("number,kind,size,hand,pounds,")
        assert row.startswith("B01,Bow,66 inch,Left hand,18,")
