"""What phones send from the range: each tap once, whatever the reception; what cannot be done becomes a question."""

import json
import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees.models import FeePrice
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import Gear, Paid, SafetyText, SignOn, Tap
from clubdesk.rangeday.personal import PERSONAL, TOLD
from clubdesk.rangeday.services.taps import Tapped
from clubdesk.roll.models import Guardian
from tests import factories
from tests.worlds import keeping
from tests.worlds.season import Season

pytestmark = pytest.mark.django_db
TODAY = date(2026, 9, 12)
NINE = datetime(2026, 9, 12, 9, 0, tzinfo=UTC)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def day(book):
    factories.hire()
    return factories.range_day()


@pytest.fixture
def member(day, by):
    child = factories.PersonFactory()
    plan = factories.plan()
    membership.take_out_membership(person=child, plan=plan, starts_on=TODAY, on=TODAY, by=by)
    return child


@pytest.fixture
def tap(day, by):
    def tapped(*people, at=NINE, key=None, **more):
        made = Tapped(key=key or uuid.uuid4(), at=at, people=tuple(person.pk for person in people), **more)
        return services.receive_tap(range_day=day, tapped=made, by=by)

    return tapped


HIRED = {"gear": Gear.HIRE, "paid": Paid.CASH}


class TestOnce:
    def test_a_tap_sent_again_and_again_signs_on_once(self, tap, member):
        key = uuid.uuid4()
        for _ in range(3):
            assert tap(member, key=key, **HIRED).state == "done"
        assert SignOn.objects.count() == 1
        assert balance(Role.TILL, TODAY) == 7
        assert sound()

    def test_undone_within_ten_minutes_nothing_of_it_is_left_to_pay(self, tap, member):
        done = tap(member, **HIRED)
        for _ in range(2):
            undone = tap(key=done.key, undo=True, at=NINE + timedelta(minutes=9))
            assert undone.state == "undone"
        assert balance(Role.TILL, TODAY) == 0
        assert tap(member, key=done.key, **HIRED).state == "undone"
        assert sound()

    def test_an_undo_that_arrives_first_keeps_its_tap_from_counting(self, tap, member):
        key = uuid.uuid4()
        tap(key=key, undo=True)
        assert tap(member, key=key, **HIRED).state == "undone"
        assert not SignOn.objects.exists()

    def test_what_cost_nothing_and_was_taken_off_already_is_no_question(self, tap, member, by):
        done = tap(member, gear=Gear.OWN, paid=Paid.NOTHING)
        services.cancel_sign_on(sign_on=done.sign_ons.get(), on=TODAY, reason="went home", by=by)
        assert tap(key=done.key, undo=True).state == "undone"

    def test_after_ten_minutes_it_is_a_question_and_the_money_stays(self, tap, member):
        done = tap(member, **HIRED)
        late = tap(key=done.key, undo=True, at=NINE + timedelta(minutes=11))
        assert (late.state, late.question) == ("question", "It was undone on the phone more than ten minutes later.")
        assert balance(Role.TILL, TODAY) == 7
        assert sound()


class TestKept:
    """What a phone sent stays as it was sent, and is known to be about whom it names."""

    @pytest.mark.parametrize(("change", "sentence"), [
        ("people = '[]'", "keeps what the ledger says"), ("paid = 'card'", "keeps what the ledger says"),
        ("act = 'back'", "keeps what the ledger says"), ("state = 'answered'", "states of a phone entry follow"),
    ])  # fmt: skip
    def test_what_a_phone_sent_is_never_changed(self, tap, member, change, sentence):
        tap(member, **HIRED)
        with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"UPDATE rangeday_tap SET {change}")

    def test_nor_deleted_nor_undone_for_good_and_done_again(self, tap, member):
        done = tap(member)
        with pytest.raises(IntegrityError, match="never deleted"), transaction.atomic():
            Tap.objects.filter(pk=tap(key=uuid.uuid4(), undo=True).pk).delete()
        tap(key=done.key, undo=True)
        with pytest.raises(IntegrityError, match="follow one another"), transaction.atomic():
            Tap.objects.update(state="done")

    def test_a_question_is_found_told_and_erased_with_whom_it_names(self, tap, member):
        other = factories.PersonFactory()
        asked = tap(other, gear=Gear.OWN)
        assert asked.state == "question"
        tap(member)
        assert list(Tap.objects.filter(people__names=other)) == [asked]
        (told,) = [row for each in TOLD for row in each.rows(other.household)]
        assert told[1] == f"Asked: {asked.question}"
        assert [each.person for each in PERSONAL if each.model == "rangeday.Tap"] == ["people__names"]


class TestTwoPhones:
    def test_the_same_member_with_own_gear_from_two_phones_is_no_question(self, tap, member):
        assert [tap(member).state, tap(member).state] == ["done", "done"]
        assert SignOn.objects.count() == 1

    def test_the_same_child_with_money_from_two_phones_is_a_question_and_charged_once(self, tap, member, by):
        tap(member, **HIRED)
        second = tap(member, gear=Gear.HIRE, paid=Paid.CARD)
        assert second.state == "question"
        assert "is signed on already today" in second.question
        assert balance(Role.TILL, TODAY) + balance(Role.CARD_TAKINGS, TODAY) == 7
        with pytest.raises(Refused, match="Say what you found"):
            services.answer_tap(tap=second, record=False, answer=" ", on=TODAY, by=by)
        with pytest.raises(Refused, match="signed on already"):
            services.answer_tap(tap=second, record=True, answer="paid twice", on=TODAY, by=by)
        answered = services.answer_tap(tap=second, record=False, answer="one payment, tapped twice", on=TODAY, by=by)
        assert answered.state == "answered"
        assert sound()

    def test_after_the_day_was_counted_a_tap_is_kept_as_a_question(self, tap, member, day, by, approver):
        services.close_day(range_day=day, pieces={}, second_counter=approver, by=by, on=TODAY)
        late = tap(member, **HIRED)
        assert late.state == "question"
        assert "is closed and counted" in late.question
        assert balance(Role.TILL, TODAY) == 0
        assert sound()

    def test_a_missing_price_is_a_question_that_can_be_recorded_later(self, tap, member, by):
        FeePrice.objects.filter(item__kind="hire").update(valid_until=date(2026, 9, 1))
        asked = tap(member, **HIRED)
        assert "has no price" in asked.question
        FeePrice.objects.filter(item__kind="hire").update(valid_until=None)
        services.answer_tap(tap=asked, record=True, answer="price added", on=TODAY, by=by)
        assert SignOn.objects.get().amount == as_amount(7)
        assert sound()

    def test_somebody_who_is_not_on_the_roll_is_a_question(self, day, by):
        made = Tapped(key=uuid.uuid4(), at=NINE, people=(999_999,), gear=Gear.HIRE, paid=Paid.CASH)
        assert services.receive_tap(range_day=day, tapped=made, by=by).question == "person 999999 is not on the roll"


class TestFamilies:
    @pytest.fixture
    def siblings(self, day, by):
        home, plan = factories.HouseholdFactory(), factories.plan()
        children = [factories.PersonFactory(household=home) for _ in range(3)]
        for child in children[:2]:
            membership.take_out_membership(person=child, plan=plan, starts_on=TODAY, on=TODAY, by=by)
        return children

    def test_a_family_signs_on_together_and_pays_once(self, tap, siblings):
        tap(*siblings, **HIRED)
        # Two members hire at 7.00, the third is a visitor at 15.00.
        assert sorted(row.amount.amount for row in SignOn.objects.all()) == [7, 7, 15]
        assert balance(Role.TILL, TODAY) == 29
        assert sound()

    def test_cash_rounds_the_total_and_not_each_fee(self, tap, siblings):
        # Source: ACCC guideline on the withdrawal of one and two cent coins: the total is rounded, not the items.
        FeePrice.objects.filter(item__kind="hire").update(amount=as_amount("7.02"))
        FeePrice.objects.filter(item__kind="visitor").update(amount=as_amount("15.02"))
        tap(*siblings, **HIRED)
        assert balance(Role.TILL, TODAY) == Decimal("29.05")
        assert sound()

    def test_on_account_the_household_is_charged(self, tap, siblings):
        tap(*siblings, gear=Gear.HIRE, paid=Paid.ACCOUNT)
        assert fees.balance(siblings[0].household).amount == Decimal(29) + 2 * 228
        assert sound()

    def test_one_who_was_signed_on_before_is_asked_about_and_the_others_count(self, tap, siblings):
        tap(siblings[0], **HIRED)
        together = tap(*siblings, **HIRED)
        assert together.state == "question"
        assert SignOn.objects.count() == 3
        assert balance(Role.TILL, TODAY) == 29


class TestThePage:
    @pytest.fixture
    def helper(self, client, day, range_helper):
        client.force_login(range_helper)
        return client

    def send(self, client, day, *taps):
        url = reverse("admin:range_taps", args=[day.pk])
        return client.post(url, json.dumps({"taps": list(taps)}), content_type="application/json")

    def test_what_the_phone_sends_is_answered_tap_by_tap(self, helper, day, member):
        key = str(uuid.uuid4())
        sent = {"key": key, "at": "2026-09-12T09:00:00.000Z", "people": [member.pk], "gear": "hire", "paid": "cash"}
        for _ in range(2):
            said = self.send(helper, day, sent).json()
            assert said["told"] == [[key, "done", "", 0]]
            row = SignOn.objects.get()
            assert said["signed"] == [[member.pk, "", "hired gear, $7.00 cash", key, "", row.pk, "cash", 700]]
            assert said["out"] == []
            assert said["closed"] == ""

    def test_a_phone_is_told_only_what_came_after_what_it_has(self, helper, day, tap):
        url = reverse("admin:range_taps", args=[day.pk])
        for _ in range(70):
            first = tap(factories.PersonFactory(), **HIRED)
        has = helper.get(url).json()
        assert (len(has["signed"]), has["more"]) == (70, False)
        later = tap(factories.PersonFactory(), **HIRED)
        answer = helper.get(url, {"have": has["mark"]})
        news = answer.json()
        assert ([row[3] for row in news["signed"]], news["more"]) == ([str(later.key)], True)
        assert len(answer.content) < 400
        assert helper.get(url, {"have": news["mark"]}).json()["signed"] == []
        tap(key=first.key, undo=True)
        for mark in (news["mark"], "70-", "x", "9" * 30, "-1-0"):
            anew = helper.get(url, {"have": mark}).json()
            assert (len(anew["signed"]), anew["more"]) == (70, False)

    def test_a_new_visitor_with_a_guardian(self, helper, day):
        sent = {"key": str(uuid.uuid4()), "at": "2026-09-12T09:00:00Z", "people": [], "gear": "visitor", "paid": "card",
                "visitor_name": "Noor", "visitor_guardian": "Uma", "visitor_phone": "08 7010"}  # fmt: skip
        self.send(helper, day, sent)
        row = SignOn.objects.get()
        assert (row.visitor_name, row.visitor_guardian, row.visitor_phone) == ("Noor", "Uma", "08 7010")
        assert balance(Role.CARD_TAKINGS, TODAY) == 15

    def test_what_is_too_long_for_the_book_is_cut_and_not_lost(self, helper, day):
        sent = {"key": str(uuid.uuid4()), "at": "2026-09-12T09:00:00Z", "people": [], "gear": "visitor", "paid": "card",
                "visitor_name": "N" * 120, "visitor_guardian": "U" * 120, "visitor_phone": "8" * 40}  # fmt: skip
        self.send(helper, day, sent)
        row = SignOn.objects.get()
        assert (row.visitor_name, row.visitor_guardian, row.visitor_phone) == ("N" * 100, "U" * 100, "8" * 30)

    @pytest.mark.parametrize("sent", [
        b"", b"[]", b"{}", b'{"taps": 3}',
    ])  # fmt: skip
    def test_anything_else_is_refused_in_words(self, helper, day, sent):
        answer = helper.post(reverse("admin:range_taps", args=[day.pk]), sent, content_type="application/json")
        assert answer.status_code == 400
        assert not Tap.objects.exists()

    def test_one_tap_that_cannot_be_taken_blocks_no_other(self, helper, day, member, tap, by):
        done = tap(member, **HIRED)
        ledger.lock_month(month_end=date(2026, 9, 30), reason="a test", by=by)
        undo = {"key": str(done.key), "at": "2026-09-12T09:05:00Z", "undo": True}
        own = {"key": str(uuid.uuid4()), "at": "2026-09-12T09:06:00Z", "people": [factories.PersonFactory().pk]}
        said = self.send(helper, day, undo, own)
        assert said.status_code == 200
        assert {row[0] for row in said.json()["told"]} == {undo["key"], own["key"]}
        done.refresh_from_db()
        assert "locked month" in done.question

    @pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59Z"])
    def test_a_phone_with_a_wrong_clock_and_odd_letters_is_understood(self, helper, day, at):
        sent = {"key": str(uuid.uuid4()), "at": at, "people": [], "gear": "visitor", "paid": "card",
                "visitor_name": "Noor\ud800\u0000 Solano"}  # fmt: skip
        assert self.send(helper, day, sent).json()["told"][0][1] == "done"
        assert SignOn.objects.get().visitor_name == "Noor Solano"

    def test_money_for_nobody_is_a_question(self, helper, day):
        sent = {"key": str(uuid.uuid4()), "at": "2026-09-12T09:00:00Z", "people": [], "gear": "visitor", "paid": "cash"}
        assert self.send(helper, day, sent).json()["told"][0][1:3] == ["question", "Nobody was named."]

    def test_a_closed_days_sheet_still_sends_what_a_phone_has_kept(self, helper, day, by):
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by)
        page = helper.get(reverse("admin:range_sheet", args=[day.pk])).content.decode()
        assert "sheet/sheet.js" in page
        assert "This day was called off: hail." in page

    def test_rules_written_after_the_sheet_was_opened_are_for_the_coordinator_to_affirm(self, helper, day, by):
        SafetyText.objects.create(in_force_from=TODAY, text="Stay behind the line.")
        sent = {"key": str(uuid.uuid4()), "at": "2026-09-12T09:00:00Z", "people": [], "gear": "visitor", "paid": "cash",
                "visitor_name": "Noor"}  # fmt: skip
        assert self.send(helper, day, sent).json()["told"][0][1] == "question"
        services.answer_tap(tap=Tap.objects.get(), record=True, answer="she read them", on=TODAY, by=by)
        assert SignOn.objects.get().safety == selectors.safety_text(TODAY)

    def test_only_who_signs_people_on_may_open_it(self, client, approver, day):
        client.force_login(approver)
        assert client.get(reverse("admin:range_sheet", args=[day.pk])).status_code == 403
        assert (
            client.post(reverse("admin:range_taps", args=[day.pk]), b"{}", content_type="application/json").status_code
            == 403
        )

    def test_a_closed_days_sheet_names_nobody(self, helper, day, member, by, approver):
        url = reverse("admin:range_sheet", args=[day.pk])
        assert str(member) in helper.get(url).content.decode()
        services.close_day(range_day=day, pieces={}, second_counter=approver, by=by, on=TODAY)
        assert str(member) not in helper.get(url).content.decode()

    def test_the_coordinator_answers_a_question_on_its_page(self, client, coordinator, tap, member):
        tap(member, **HIRED)
        asked = tap(member, gear=Gear.HIRE, paid=Paid.CARD)
        client.force_login(coordinator)
        day_page = client.get(reverse("admin:rangeday_rangeday_change", args=[asked.range_day_id])).content.decode()
        assert "Questions from the phones" in day_page
        url = reverse("admin:rangeday_tap_answer", args=[asked.pk])
        assert "signed on already" in client.get(url).content.decode()
        form = {"key": str(uuid.uuid4()), "record": "", "answer": "one payment"}
        assert client.post(url, form).status_code == 302
        asked.refresh_from_db()
        assert (asked.state, asked.answered_by) == ("answered", coordinator)


class TestTheSheet:
    def test_it_says_quietly_what_one_must_know(self, day, member, by):
        lapsed = factories.PersonFactory(birth_date=date(2014, 9, 15))
        membership.take_out_membership(
            person=lapsed, plan=member.memberships.get().plan, starts_on=date(2025, 9, 1), on=date(2026, 7, 6), by=by
        )
        Guardian.objects.create(household=member.household, name="Ida", phone="08 7010 0001")
        lines = {line.person: line for line in selectors.sheet(day, with_money=True)}
        assert (lines[member.pk].tariff, lines[member.pk].marks) == ("hire", "")
        marks = selectors.BIRTHDAY + selectors.LAPSED + selectors.OVERDUE + selectors.NO_PHONE
        assert lines[lapsed.pk].marks == marks
        without = {line.person: line for line in selectors.sheet(day, with_money=False)}
        assert without[lapsed.pk].marks == marks.replace(selectors.OVERDUE, "")

    @pytest.mark.parametrize(("born", "days"), [
        (date(2014, 9, 12), 0), (date(2014, 9, 11), 364), (date(2016, 2, 29), 170), (date(2014, 1, 1), 111),
    ])  # fmt: skip
    def test_days_to_a_birthday(self, born, days):
        assert selectors.days_to_birthday(born, TODAY) == days

    @pytest.mark.slow
    @pytest.mark.either
    @pytest.mark.world("season_50")
    @pytest.mark.django_db(transaction=True)
    def test_its_first_view_is_small_and_asks_little_at_50_and_at_500_people(self, client, coordinator):
        seen = []
        for world in ("season_50", "season_500"):
            keeping.enter(world)
            client.force_login(coordinator)
            url = reverse("admin:range_sheet", args=[Season.found().day.pk])
            client.get(url)
            with CaptureQueriesContext(connection) as queries:
                page = client.get(url)
            seen.append(sum(query["sql"].startswith("SELECT") for query in queries))
            assert len(page.content) < 150_000
            keeping.spoil()
        assert seen[0] == seen[1] <= 15


class TestWhoseTheyAre:
    """A phone's taps are kept under whoever made them; nobody else's session takes them."""

    def test_taps_of_a_session_that_ended_are_not_taken_under_another_name(
        self, client, coordinator, range_helper, day
    ):
        client.force_login(coordinator)
        tap = {"key": str(uuid.uuid4()), "at": "2026-09-12T09:00:00Z", "people": [], "gear": "visitor", "paid": "cash",
               "visitor_name": "Noor"}  # fmt: skip
        body = json.dumps({"owner": range_helper.pk, "taps": [tap]})
        url = reverse("admin:range_taps", args=[day.pk])
        answer = client.post(url, body, content_type="application/json")
        assert (answer.status_code, Tap.objects.count()) == (409, 0)
        assert "Somebody else is signed in" in answer.json()["sentence"]
        client.force_login(range_helper)
        assert client.post(url, body, content_type="application/json").status_code == 200
        assert Tap.objects.get().recorded_by == range_helper
