"""What a club's list says otherwise than this book: other plans, names in capitals, what must be put right."""

import csv
import io
from datetime import date

import pytest
from openpyxl import Workbook

from clubdesk import clock
from clubdesk.ledger.invariants import check_all
from clubdesk.membership import anyroll
from clubdesk.membership.models import KeptColumns, Membership, Plan
from clubdesk.membership.names import tidy
from clubdesk.roll.models import Guardian, Household, Person
from tests import factories
from tests.membership.harshroll import ODD_SORTS, harsh_roll
from tests.membership.rolls import chosen, confirmed, sent

pytestmark = pytest.mark.django_db

LIST = """Wattle Flat juniors,,,,,,
Surname,First name,DOB,Carer,E-mail,Membership type,Paid till
Mirabar,Ada,2/5/2014,Ida Mirabar,ida@example.org,Family,31/12/26
Mirabar,Bo,21/11/2016,Ida Mirabar,,family,31/12/26
Quoll,Cai,31/02/2013,Bea Quoll,bea@example.org,Junior,30/6/2027

Solano,Dot,9-Mar-2013,Uma Solano,uma@example.org,Social only,30/6/2027
Solano,Eve,4 Apr 2015,,,,30/6/2027
Nightjar,Flo,1.2.2015,Per Nightjar,per@example.org,Jnr,30/6/2027
"""
NAMES = "Surname,First name,DOB,Carer,E-mail\n"


@pytest.fixture
def junior(book):
    return factories.plan()


@pytest.fixture
def look(client, page):
    """The rows of a list, once its columns are as they were proposed."""

    def looked(text, **columns):
        content = text if isinstance(text, bytes) else text.encode()
        return client.post(page, chosen(sent(client, page, content), **columns))

    return looked


def field(text):
    return f"plan-{anyroll.sign_of(text)}"


def row_of(answer, who):
    return next(row for row in answer.context["rows"] if row.who == who)


def text_of(answer):
    return " ".join(answer.content.decode().split())


class TestPlansThatTheClubDoesNotHave:
    def test_each_is_listed_once_with_its_rows_and_what_it_may_mean(self, look, junior):
        answer = look(LIST)
        form = answer.context["meant"]
        assert [form[name].label for name in form.fields] == [
            "“Family” (2 rows)", "“Social only” (1 row)", "No plan, but a last day (1 row)",
        ]  # fmt: skip
        assert [label for _, label in form.fields[anyroll.sign_of("Family")].choices] == [
            "not said yet", "Junior", "no membership",
        ]  # fmt: skip
        assert f'<label for="id_{field("Family")}">“Family” (2 rows)</label>' in text_of(answer)

    def test_a_list_whose_plans_the_club_has_asks_nothing(self, look, junior):
        answer = look(LIST.replace("Family", "Junior").replace("family", "Jnr").replace("Social only,30/6/2027", ","))
        assert [each.label for each in answer.context["meant"]] == ["No plan, but a last day (1 row)"]
        answer = look(NAMES + "Mirabar,Ada,2/5/2014,,\n")
        assert "What the list does not say of memberships" not in text_of(answer)

    def test_what_is_chosen_is_what_the_rows_would_do(self, client, page, look, junior):
        answer = look(LIST)
        assert (answer.context["good"], answer.context["faulty"]) == (1, 5)
        said = {field("Family"): str(junior.pk), field("Social only"): "none", field(""): str(junior.pk)}
        answer = client.post(page, confirmed(answer, 1, take="look", **said))
        assert (answer.context["good"], answer.context["faulty"]) == (5, 1)
        assert "member by Junior to 31 Dec 2026" in row_of(answer, "Bo Mirabar").what
        assert "member by Junior to 30 Jun 2027" in row_of(answer, "Eve Solano").what
        assert "member" not in row_of(answer, "Dot Solano").what
        assert not Person.objects.exists()
        client.post(page, confirmed(answer, 2, take="good"))
        assert sorted(Membership.objects.values_list("person__given_name", "plan__name", "ends_on")) == [
            ("Ada", "Junior", date(2026, 12, 31)), ("Bo", "Junior", date(2026, 12, 31)),
            ("Eve", "Junior", date(2027, 6, 30)), ("Flo", "Junior", date(2027, 6, 30)),
        ]  # fmt: skip
        assert [result for result in check_all() if result.faults] == []

    def test_nothing_is_imported_by_a_choice_whose_rows_nobody_saw(self, client, page, look, junior):
        answer = look(LIST)
        answer = client.post(page, confirmed(answer, 1, take="good", **{field("Family"): str(junior.pk)}))
        assert "look at what each row would do now, then import" in text_of(answer)
        assert "Import the 3 good rows" in text_of(answer)
        assert not Person.objects.exists()
        client.post(page, confirmed(answer, 2, take="good"))
        assert Person.objects.count() == 3

    def test_it_is_kept_for_the_next_file_with_the_same_headings_and_can_be_chosen_anew(
        self, client, page, look, junior
    ):
        said = {field("Family"): str(junior.pk), field("Social only"): "none"}
        client.post(page, confirmed(look(LIST), 1, take="look", **said))
        answer = look(LIST.replace("Ada", "Ede"))
        assert answer.context["meant"][anyroll.sign_of("FAMILY")].value() == str(junior.pk)
        assert "member by Junior" in row_of(answer, "Ede Mirabar").what
        answer = client.post(page, confirmed(answer, 2, take="look", **{field("Family"): ""}))
        assert "there is no plan “Family”" in row_of(answer, "Ede Mirabar").faults[0]
        assert "member" not in row_of(answer, "Dot Solano").what
        answer = look(LIST.replace("Carer", "Parent"))
        assert answer.context["meant"][anyroll.sign_of("Social only")].value() == ""

    def test_what_stood_in_the_list_is_not_kept_itself(self, client, page, look, junior):
        client.post(page, confirmed(look(LIST), 1, take="look", **{field("Social only"): "none"}))
        (kept,) = KeptColumns.objects.all()
        assert kept.of_plans == {anyroll.sign_of("social only"): "none"}
        assert "ocial" not in str(kept.columns)
        assert str(kept) == "family_name, given_name, birth_date, guardian, email, plan, expiry"

    def test_what_was_kept_before_plans_could_be_said_still_holds(self, client, page, look, junior):
        look(LIST, **{"column-3": ""})
        (kept,) = KeptColumns.objects.all()
        KeptColumns.objects.update(columns=kept.of_columns)
        assert sent(client, page, LIST.encode()).context["layout"]["column-3"].value() == ""
        answer = client.post(page, confirmed(look(LIST), 1, take="look", **{field("Family"): "none"}))
        assert "member" not in row_of(answer, "Ada Mirabar").what

    def test_a_plan_that_was_taken_away_since_is_asked_for_again(self, client, page, look, junior):
        other = Plan.objects.create(name="Household", fee_item=junior.fee_item)
        client.post(page, confirmed(look(LIST), 1, take="look", **{field("Family"): str(other.pk)}))
        other.delete()
        answer = look(LIST)
        assert answer.context["meant"][anyroll.sign_of("Family")].value() == ""
        assert "there is no plan “Family”" in row_of(answer, "Ada Mirabar").faults[0]
        client.post(page, confirmed(answer, 2, take="good"))
        assert Person.objects.count() == 1

    def test_a_column_that_holds_no_plans_at_all_lists_the_first_and_says_how_many_more(self, look, junior):
        rows = "".join(f"Mirabar,Ada{n},2/5/20{10 + n % 7},,,Tuft {n},30/6/2027\n" for n in range(23))
        answer = look("\n".join(LIST.splitlines()[:2]) + "\n" + rows)
        assert len(answer.context["meant"].fields) == 20
        assert "3 more are not listed; is that the column of the plans?" in text_of(answer)

    def test_a_file_with_the_rolls_own_columns_is_asked_too(self, client, page, junior):
        own = (
            "household,given_name,family_name,birth_date,plan,expiry\nMirabar,Ada,Mirabar,2014-05-02,Kids,2026-12-31\n"
        )
        answer = sent(client, page, own.encode())
        answer = client.post(page, confirmed(answer, 1, take="look", **{field("Kids"): str(junior.pk)}))
        client.post(page, confirmed(answer, 2))
        assert Membership.objects.get().plan == junior
        assert "Ada Mirabar is on the roll already" in row_of(sent(client, page, own.encode()), "Ada Mirabar").what


class TestRowsToPutRight:
    def rows(self, client, page, answer):
        left = client.post(page, confirmed(answer, 1, take="left")).content
        return left, list(csv.reader(io.StringIO(left.decode("utf-8-sig"))))

    def test_they_come_back_as_they_were_written_with_their_numbers_and_what_is_wrong(self, client, page, look, junior):
        _, (heads, *rows) = self.rows(client, page, look(LIST))
        assert heads == [
            "Surname", "First name", "DOB", "Carer", "E-mail", "Membership type", "Paid till",
            "Row in your file", "What is wrong",
        ]  # fmt: skip
        assert [(row[1], row[7]) for row in rows] == [
            ("Ada", "3"), ("Bo", "4"), ("Cai", "5"), ("Dot", "7"), ("Eve", "8"),
        ]  # fmt: skip
        assert rows[2][:7] == ["Quoll", "Cai", "31/02/2013", "Bea Quoll", "bea@example.org", "Junior", "30/6/2027"]
        assert "“31/02/2013” is not a date" in rows[2][8]

    def test_they_are_put_right_there_and_imported_again_as_they_are(self, client, page, look, junior):
        answer = look(LIST, **{"column-3": ""})
        left, _ = self.rows(client, page, answer)
        client.post(page, confirmed(answer, 1, take="good"))
        mended = left.replace(b"31/02/2013", b"28/02/2013")
        again = sent(client, page, mended)
        assert [each.label for each in again.context["layout"].columns()] == [
            "Surname", "First name", "DOB", "Carer", "E-mail", "Membership type", "Paid till",
        ]  # fmt: skip
        assert again.context["layout"]["column-3"].value() == ""
        answer = look(mended, **{"column-3": ""})
        answer = client.post(page, confirmed(answer, 2, take="look", **{field("Family"): "none"}))
        client.post(page, confirmed(answer, 3, take="good"))
        assert sorted(Person.objects.values_list("given_name", flat=True)) == ["Ada", "Bo", "Cai", "Flo"]

    def test_rows_of_a_workbook_come_back_with_the_headings_of_their_sheet(self, client, page, look, book):
        lines, file = Workbook(), io.BytesIO()
        for line in (["Our members"], ["Member", "Born", "Mobile"], [], ["Ada Mirabar", date(2014, 5, 2), 400000001],
                     ["Bo Quoll", "soon"]):  # fmt: skip
            lines.active.append(line)
        lines.save(file)
        left, rows = self.rows(client, page, look(file.getvalue()))
        assert [row[:4] for row in rows] == [
            ["Member", "Born", "Mobile", "Row in your file"], ["Bo Quoll", "soon", "", "5"],
        ]  # fmt: skip
        assert (look(left.replace(b"soon", b"2/5/2014")).context["good"]) == 1

    def test_rows_without_headings_come_back_by_their_own_numbers(self, client, page, look, book):
        text = "Ada,Mirabar,2/5/2014,\nBo,Mirabar,soon,\nCai,Mirabar,3/6/2013,\nDot,Mirabar,4/6/2013,\n"
        names = {"column-0": "given_name", "column-1": "family_name"}
        left, rows = self.rows(client, page, look(text, **names))
        assert [row[:-1] for row in rows] == [["", "", "", "", "Row in your file"], ["Bo", "Mirabar", "soon", "", "2"]]
        mended = look(left.replace(b"soon", b"2/5/2015"), **names)
        assert [row.who for row in mended.context["rows"]] == ["Bo Mirabar"]

    def test_a_sibling_never_joins_another_family_of_the_name_since_its_own_first_row_was_left(
        self, client, page, look, book
    ):
        text = NAMES + (
            "Quoll,Ada,soon,Ida Quoll,ida@example.org\nQuoll,Bo,21/11/2016,Ida Quoll,\n"
            "Quoll,Cai,3/6/2015,Bea Quoll,bea@example.org\nQuoll,Dot,4/6/2015,Bea Quoll,\n"
        )
        answer = look(text)
        assert row_of(answer, "Bo Quoll").faults == ["the family stands first in row 2, which must be put right."]
        client.post(page, confirmed(answer, 1, take="good"))
        assert sorted(str(each) for each in Household.objects.get().people.all()) == ["Cai Quoll", "Dot Quoll"]
        client.post(page, confirmed(look(text.replace("soon", "2/5/2014")), 2))
        ida = Guardian.objects.get(name="Ida Quoll").household
        assert sorted(str(each) for each in ida.people.all()) == ["Ada Quoll", "Bo Quoll"]

    def test_a_file_with_the_rolls_own_columns_comes_back_as_one(self, client, page, book):
        own = "household,given_name,family_name,birth_date\nMirabar,Ada,Mirabar,soon\nQuoll,Bo,Quoll,2014-05-02\n"
        left, rows = self.rows(client, page, sent(client, page, own.encode()))
        assert rows[1][:5] == ["Mirabar", "Ada", "Mirabar", "soon", "2"]
        answer = sent(client, page, left.replace(b"soon", b"2014-05-02"))
        assert (answer.context["good"], answer.context["faulty"]) == (1, 0)


class TestNamesInOneCase:
    @pytest.mark.parametrize(
        ("written", "tidied"),
        [("KESTLE", "Kestle"), ("kestle", "Kestle"), ("Kestle", "Kestle"), ("O'Brien", "O'Brien"), ("McKay", "McKay"),
         ("O'BRIEN", "O'Brien"), ("o’dell", "O’Dell"), ("MCKAY", "McKay"), ("VAN DER BERG", "van der Berg"),
         ("van der Berg", "van der Berg"), ("LA", "La"), ("SMITH-JONES", "Smith-Jones"), ("MacDonald", "MacDonald"),
         ("deSouza", "deSouza"), ("ZOË", "Zoë"), ("KESTLE III", "Kestle III"), ("Kestle family", "Kestle family"),
         ("NG", "Ng"), ("李", "李"), ("", "")],
    )  # fmt: skip
    def test_a_family_name_is_written_as_names_are_where_a_whole_word_is_in_one_case(self, written, tidied):
        assert tidy(written, is_family=True) == tidied

    @pytest.mark.parametrize(
        ("given", "family", "tidied"),
        [("AISHA", "Kestle", "Aisha"), ("aisha", "kestle", "Aisha"), ("AJ", "Kestle", "AJ"), ("BO", "KESTLE", "Bo"),
         ("ADA rose", "Kestle", "Ada Rose"), ("al", "Kestle", "Al"), ("J", "Kestle", "J")],
    )  # fmt: skip
    def test_a_given_name_too_though_two_capitals_beside_another_name_are_initials(self, given, family, tidied):
        assert tidy(given, beside=family) == tidied

    def test_the_row_says_how_a_name_is_written_and_so_it_comes_on_the_roll(self, client, page, look, book):
        answer = look(
            NAMES + "KESTLE,aisha,2/5/2014,SARAH KESTLE,s@example.org\nKestle,Bo,3/6/2015,,\nO'Brien,Mia,4/6/2015,,\n"
        )
        assert row_of(answer, "Aisha Kestle").what == (
            "new on the roll, born 2 May 2014, in a new family, Kestle, written as Aisha Kestle,"
            " guardian written as Sarah Kestle"
        )
        assert "written as" not in row_of(answer, "Bo Kestle").what + row_of(answer, "Mia O'Brien").what
        client.post(page, confirmed(answer, 1))
        assert sorted(map(str, Person.objects.all())) == ["Aisha Kestle", "Bo Kestle", "Mia O'Brien"]
        assert sorted(Household.objects.values_list("party__name", flat=True)) == ["Kestle", "O'Brien"]
        assert Guardian.objects.get(email="s@example.org").name == "Sarah Kestle"

    def test_who_is_on_the_roll_in_capitals_is_known_and_stays_as_written(self, client, page, look, book):
        home = factories.HouseholdFactory(name="NIGHTJAR", guardian="ZOË NIGHTJAR", email="zoe@example.org")
        factories.PersonFactory(household=home, given_name="IVY", family_name="NIGHTJAR", birth_date=date(2014, 5, 2))
        answer = look(NAMES + "NIGHTJAR,IVY,2/5/2014,ZOË NIGHTJAR,zoe@example.org\n")
        assert (
            row_of(answer, "Ivy Nightjar").what
            == "IVY NIGHTJAR is on the roll already, in the family NIGHTJAR of the roll"
        )
        client.post(page, confirmed(answer, 1))
        assert [str(each) for each in Person.objects.all()] == ["IVY NIGHTJAR"]
        assert [each.name for each in Guardian.objects.filter(household=home)] == ["ZOË NIGHTJAR"]

    def test_a_file_of_plans_and_names_to_tidy_changes_nothing_a_second_time(self, client, page, look, junior):
        text = LIST.replace("Mirabar,", "MIRABAR,").replace("Ada", "ada").replace("31/02", "28/02")
        said = {field("Family"): str(junior.pk), field("Social only"): "none", field(""): "none"}
        answer = client.post(page, confirmed(look(text), 1, take="look", **said))
        for number in (2, 3):
            client.post(page, confirmed(answer, number))
            counts = [each.objects.count() for each in (Household, Person, Guardian, Membership)]
            assert counts == [4, 6, 4, 4]
            answer = look(text)
            assert (answer.context["faulty"], answer.context["undecided"]) == (0, 0)


class TestMembershipsWithoutTheirLastDay:
    def test_of_300_harsh_rows_all_come_in_once_it_is_said_but_those_that_are_wrong_for_good(
        self, client, page, look, junior
    ):
        text, told = harsh_roll()
        columns = dict(zip(
            (f"column-{place}" for place in range(8)),
            ("given_name", "family_name", "birth_date", "guardian", "phone", "email", "plan", "expiry"),
            strict=True,
        ))  # fmt: skip
        answer = look(text, **columns)
        assert answer.context["meant"]["until"].label == "Memberships run until (58 rows with a plan and no last day)"
        faulty = {row.number for row in answer.context["rows"] if row.faults}
        assert faulty == {*told["undated"], *told["odd"], *told["wrong"]}
        assert (answer.context["good"], answer.context["faulty"]) == (215, 85)
        said = {"plan-until": "2027-06-30"} | dict.fromkeys(map(field, ODD_SORTS), "none")
        answer = client.post(page, confirmed(answer, 1, take="look", **said))
        assert {row.number for row in answer.context["rows"] if row.faults} == set(told["wrong"])
        assert (answer.context["good"], answer.context["faulty"]) == (293, 7)

    def test_the_day_is_kept_with_the_plans_and_what_has_its_own_keeps_it(self, client, page, look, junior):
        text = LIST.replace("Family,31/12/26", "Junior,").replace("family,31/12/26", "Junior,31/12/26")
        answer = look(text)
        assert "until when they are a member is missing" in row_of(answer, "Ada Mirabar").faults[0]
        answer = client.post(page, confirmed(answer, 1, take="look", **{"plan-until": "2027-03-31"}))
        assert "member by Junior to 31 Mar 2027" in row_of(answer, "Ada Mirabar").what
        assert "member by Junior to 31 Dec 2026" in row_of(answer, "Bo Mirabar").what
        client.post(page, confirmed(answer, 2, take="good"))
        assert Membership.objects.get(person__given_name="Ada").ends_on == date(2027, 3, 31)
        answer = look(text)
        assert answer.context["meant"]["until"].value() == "2027-03-31"
        assert "is on the roll already" in row_of(answer, "Ada Mirabar").what

    def test_a_day_that_has_passed_is_asked_for_again(self, client, page, look, junior):
        text = LIST.replace("Family,31/12/26", "Junior,")
        client.post(page, confirmed(look(text), 1, take="look", **{"plan-until": "2027-03-31"}))
        with clock.on(date(2027, 4, 1)):
            answer = look(text)
        assert answer.context["meant"]["until"].value() == ""
        assert row_of(answer, "Ada Mirabar").faults != []
