"""Home and the pages of the bar: what waits for whom, how things stand, and where everything is."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock, rooms
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort
from clubdesk.desk.home import chip_of
from clubdesk.desk.models import Upkeep
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Book, FinancialYear, Kind
from clubdesk.ledger.selectors import trial_balance
from clubdesk.money import as_amount, shown
from clubdesk.rangeday import coming
from clubdesk.reports.seal import seal_of
from clubdesk.rooms import Tab, Waiting
from clubdesk.waiting import counted, waiting
from clubdesk.yearend import services as yearend
from tests import factories
from tests.worlds.season import NOW

pytestmark = pytest.mark.django_db
TODAY = date(2026, 9, 12)
ROLES = ("coordinator", "treasurer", "approver", "range_helper", "auditor", "keeper")


def waits_for(client, who):
    client.force_login(who)
    found = client.get(reverse("admin:index")).context
    return {task.words: task for task in found["yours"]}, {task.words: task for task in found["others"]}


def cards_of(client, who):
    client.force_login(who)
    found = client.get(reverse("admin:index")).context
    return {shown.card.title: shown.lines for shown in [*found["cards"], *found["more_cards"]]}


class TestChips:
    """Red calls only for what is overdue or for today; a date to come is sand; the rest is told without colour."""

    @pytest.mark.parametrize(
        ("found", "said"),
        [
            (Waiting(1, by=TODAY), ("today", "now")),
            (Waiting(1, by=TODAY - timedelta(days=1)), ("since 1 day", "now")),
            (Waiting(1, by=TODAY + timedelta(days=1)), ("by 13 Sep", "soon")),
            (Waiting(1, by=date(2027, 1, 3)), ("by 3 Jan 2027", "soon")),
            (Waiting(1, since=TODAY), ("since today", "")),
            (Waiting(1, since=TODAY - timedelta(days=3)), ("for 3 days", "")),
        ],
    )
    def test_it_says_by_when_or_since_when(self, found, said):
        chip = chip_of(found, TODAY)
        assert chip is not None
        assert (chip.words, chip.kind) == said

    def test_what_others_answer_by_a_date_is_told_without_colour(self):
        chip = chip_of(Waiting(1, by=TODAY + timedelta(days=1)), TODAY, is_theirs=True)
        assert chip is not None
        assert (chip.words, chip.kind) == ("by 13 Sep", "")

    def test_what_has_no_date_has_none(self):
        assert chip_of(Waiting(2), TODAY) is None


class TestWhatWaits:
    def test_an_offer_waits_on_the_family_until_its_last_day(self, client, coordinator, by):
        cohort = factories.cohort(capacity=1)
        first = courses.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=NOW)
        courses.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=NOW)
        yours, others = waits_for(client, coordinator)
        assert "Booking on a waitlist" in others
        courses.withdraw_place(place=first.booking.places.get(), on=NOW, reason="ill", by=by)
        yours, others = waits_for(client, coordinator)
        assert others["Offer open, waiting for an answer"].count == 1
        assert others["Offer open, waiting for an answer"].chip.words.startswith("by ")
        assert "Offer open, waiting for an answer" not in yours

    def test_a_refund_request_waits_for_the_approver_and_for_the_coordinator_on_others(
        self, client, season, coordinator, approver
    ):
        if not EntryClaim.objects.filter(state="recorded").exists():
            pytest.fail("the season has no request that waits")
        words = (
            "Refund request to decide"
            if EntryClaim.objects.filter(state="recorded").count() == 1
            else "Refund requests to decide"
        )
        yours, others = waits_for(client, coordinator)
        assert (words in yours, words in others) == (False, True)
        yours, others = waits_for(client, approver)
        assert (words in yours, words in others) == (True, False)

    def test_two_queries_wait_together_since_the_earlier(self, by):
        early, late = factories.cohort(), factories.cohort(first=date(2026, 11, 1))
        rows = Cohort.objects.all()
        both = waiting(rows.filter(pk=late.pk), rows.filter(pk=early.pk), rows.none(), since="first_session")
        none = waiting(rows.none(), by="first_session", line="Nothing to do.")
        found, nothing = counted([both, none], Book.objects.all())
        assert (found.count, found.since, found.by) == (2, early.first_session, None)
        assert (nothing.count, nothing.by, nothing.line) == (0, None, "Nothing to do.")


class TestHowThingsStand:
    def test_money_in_hand_is_what_the_ledger_says_by_fund(self, client, season, treasurer):
        lines = cards_of(client, treasurer)["Money in hand"]
        figures = [each.line.figure for each in lines]
        assert lines[-1].line.words == "Together"
        assert len(figures) == len(lines) > 2

    def test_seats_say_what_is_taken_and_what_is_promised(self, client, coordinator, by):
        cohort = factories.cohort(capacity=3)
        courses.book_place(person=factories.PersonFactory(), cohort=cohort, by=by, on=NOW)
        (line,) = cards_of(client, coordinator)["Places in courses"]
        assert line.line.figure == "1 of 3"
        assert line.seats == ["taken", "free", "free"]

    @pytest.mark.parametrize("role", ["treasurer", "coordinator", "keeper"])
    def test_on_its_first_day_a_book_shows_no_card_that_has_nothing_to_say_but_names_it_in_a_line(
        self, client, request, role
    ):
        client.force_login(request.getfixturevalue(role))
        page = client.get("/")
        shown_whole = {each.card.title for each in [*page.context["cards"], *page.context["more_cards"]]}
        assert shown_whole <= {"Years and their seals"}
        quiet = {each.card.title for each in page.context["quiet"]}
        assert "Families’ accounts" in quiet
        assert "Nothing yet to show of:" in page.content.decode()

    def test_a_card_is_back_with_the_first_that_it_has_to_say(self, client, treasurer):
        before = set(cards_of(client, treasurer))
        family = factories.HouseholdFactory()
        fees.record_receipt(household=family, amount=as_amount(12), method=Method.CASH, on=TODAY, by=treasurer)
        assert set(cards_of(client, treasurer)) - before == {"Money in hand", "Families’ accounts"}

    def test_money_in_hand_comes_first_for_the_treasurer(self, client, season, treasurer):
        assert next(iter(cards_of(client, treasurer))) == "Money in hand"

    def test_the_auditor_reads_first_which_years_are_closed_by_what_seal_and_the_last_check(
        self, client, season, auditor, by
    ):
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        closed = ledger.close_year(year=FinancialYear.objects.earliest("first_day"), on=date(2027, 7, 1), by=by)
        title, lines = next(iter(cards_of(client, auditor).items()))
        assert title == "Years and their seals"
        said = {each.line.words: (each.line.figure, each.line.note) for each in lines}
        assert said[str(closed)] == ("closed", f"Sealed {seal_of(closed).short}, entry {seal_of(closed).number}")
        assert said["Books last checked whole"] == ("never", "")
        for day in (TODAY, TODAY - timedelta(days=3)):
            Upkeep.objects.create(what="check", on=day)
        lines = cards_of(client, auditor)["Years and their seals"]
        assert [each.line.figure for each in lines][-1] == "12 Sep 2026"

    def test_who_may_not_see_money_sees_no_card_of_it(self, client, season, range_helper):
        assert set(cards_of(client, range_helper)) == {"Next range day", "On duty next"}

    @pytest.mark.world("one_of_each")
    def test_the_budget_so_far_counts_the_days_of_the_month_that_are_over(self, client, treasurer):
        """50.00 of grants for July, 30.00 of September of which 12 of 30 days are over: 50.00 + 12.00."""
        year = FinancialYear.objects.get(closed_at=None)
        grants = Account.objects.get(role="grants")
        months = {date(2026, 7, 1): as_amount(50), date(2026, 9, 1): as_amount(30), date(2026, 10, 1): as_amount(900)}
        yearend.set_budget(year=year, account=grants, months=months, by=treasurer)
        income, spent, left = (each.line for each in cards_of(client, treasurer)["Budget so far"])
        assert [each.note for each in (income, spent, left)] == [
            "$62.00 planned until 12 Sep 2026", "$0.00 planned until 12 Sep 2026", "$62.00 planned",
        ]  # fmt: skip
        lines = trial_balance(TODAY).lines
        came = sum(each.credit - each.debit for each in lines if each.account.kind == Kind.INCOME)
        went = sum(each.debit - each.credit for each in lines if each.account.kind == Kind.EXPENSE)
        assert [each.figure for each in (income, spent, left)] == [shown(came), shown(went), shown(came - went)]

    def test_without_a_budget_nothing_is_said_of_one(self, client, season, treasurer):
        assert "Budget so far" not in cards_of(client, treasurer)


class TestTheBar:
    @pytest.mark.parametrize("role", ROLES)
    def test_each_place_opens_and_everything_lists_what_the_places_list(self, client, request, season, role):
        client.force_login(request.getfixturevalue(role))
        home = client.get(reverse("admin:index"))
        places = home.context["places"]
        assert places
        seen = set()
        for place in places:
            page = client.get(place.url)
            assert page.status_code == 200, place
            shelves = [*page.context["shelves"], *page.context["set_up"]]
            seen |= {line.url for shelf in shelves for line in shelf.lines}
            seen |= {scene.url for scene in page.context["scenes"]}
            assert [each.tab for each in page.context["places"] if each.is_here] == [place.tab]
        everything = client.get(reverse("admin:everything")).context["shelves"]
        assert {line.url for shelf in everything for line in shelf.lines} == seen

    def test_a_room_of_which_somebody_may_see_nothing_has_no_page(self, client, range_helper):
        client.force_login(range_helper)
        assert client.get("/ledger/").status_code == 404

    def test_a_list_belongs_to_the_place_of_its_room(self, client, coordinator):
        client.force_login(coordinator)
        places = client.get(reverse("admin:mail_message_changelist")).context["places"]
        assert [each.tab for each in places if each.is_here] == [Tab.FAMILIES]

    def test_the_likeliest_act_of_a_range_day_is_its_sheet(self, client, coordinator):
        client.force_login(coordinator)
        assert client.get("/").context["scenes"][0].title == "Book a course place"
        factories.range_day(clock.today())
        page = client.get("/")
        assert page.context["scenes"][0].title == "Record hire today"
        assert "is open today: 0 signed on so far." in page.content.decode()

    def test_a_sign_in_without_a_role_is_told_whom_to_ask(self, client, django_user_model):
        client.force_login(django_user_model.objects.create_user("newcomer", is_staff=True))
        assert "Your sign-in has no role yet." in client.get("/").content.decode()


@pytest.mark.world("one_of_each")
@pytest.mark.parametrize("role", ROLES)
def test_home_asks_at_most_25_questions_where_there_is_one_of_everything(
    client, request, role, django_assert_max_num_queries
):
    client.force_login(request.getfixturevalue(role))
    client.get("/")
    with django_assert_max_num_queries(25):
        client.get("/")


class TestWhatIsRememberedBetweenTwoLooks:
    def test_money_in_hand_is_right_at_once_when_something_is_posted(self, client, season, treasurer):
        def together():
            return cards_of(client, treasurer)["Money in hand"][-1].line.figure

        before = together()
        family, amount = factories.HouseholdFactory(), as_amount("12.35")
        fees.record_receipt(household=family, amount=amount, method=Method.CASH, on=TODAY, by=treasurer)
        assert shown(as_amount("12.35") + as_amount(before.replace("$", "").replace(",", ""))) == together()

    def test_regulars_who_are_missed_are_said_as_of_when(self, client, season, coordinator, monkeypatch):
        monkeypatch.setattr(coming, "stopped_coming", lambda on: ["Ida", "Odo"])
        yours, _ = waits_for(client, coordinator)
        assert re.search(r" As of \d?\d:\d\d\.$", yours["Regulars who are missed lately"].line)

    def test_nothing_is_asked_of_the_ledger_twice_while_nobody_posts(self, client, season, treasurer):
        cards_of(client, treasurer)
        with CaptureQueriesContext(connection) as asked:
            cards_of(client, treasurer)
        assert [each["sql"] for each in asked if "ledger_posting" in each["sql"]] == []


def test_each_room_stands_in_the_bar():
    assert {room.tab for room in rooms.in_order()} == set(Tab)
