"""The roll that a club keeps today, in any spreadsheet: columns are told, rows read as people write them."""

import csv
import io
from datetime import date, timedelta

import pytest
from openpyxl import Workbook, load_workbook

from clubdesk.errors import Refused
from clubdesk.fees.models import Charge
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.spreadsheets import as_day, sheets_of
from clubdesk.membership import anyroll
from clubdesk.membership.models import Membership
from clubdesk.roll.models import Guardian, Household, Person
from tests import factories
from tests.membership.rolls import chosen, confirmed, sent

UNTIDY = """Wattle Flat juniors;;;;;;
kept by the secretary, 3 Sept;;;;;;
;;;;;;
First;Surname;D.O.B.;Mum or dad;Parent's e-mail;Paid to;Owing
Ada;Mirabar;27 May 2011;Ida Mirabar;ida@example.org;31/12/26;$45.00
Bela;Quoll;15.04.08;Bea Quoll;bea@example.org;;-
Zoë;Nightjar;12/05/2015;Per Nightjar;per@example.org;30/6/2027;(12.50)
Cai;Solano;31/02/2013;;;;
Dot;Solano;9-Mar-2013;;;;7
;;;;;;
Total;;;;;;$52.00
"""


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("27 May 2011", date(2011, 5, 27)),
        ("27th May 2011", date(2011, 5, 27)),
        ("May 27, 2011", date(2011, 5, 27)),
        ("15.04.08", date(2008, 4, 15)),
        ("31/12/26", date(2026, 12, 31)),
        ("3/9/2014", date(2014, 9, 3)),
        ("9-Mar-2013", date(2013, 3, 9)),
        ("2014-03-09", date(2014, 3, 9)),
        ("2014-03-09T00:00:00", date(2014, 3, 9)),
        ("31/02/2013", None),
        ("May 2011", None),
        ("2014", None),
        ("20140309", None),
        ("about ten", None),
        ("", None),
    ],
)
def test_days_are_read_as_people_write_them_the_day_before_the_month(written, day):
    assert as_day(written) == day


@pytest.mark.parametrize(
    ("written", "amount"),
    [("$7.00", "7.00"), ("$ 1,200.50", "1200.50"), ("(12.50)", "-12.50"), ("-12.5", "-12.5"), ("45", "45"),
     ("forty", "forty"), ("", "")],
)  # fmt: skip
def test_amounts_are_read_as_people_write_them(written, amount):
    assert anyroll.as_amount_text(written) == amount


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("whole", "given", "family"),
    [("Ada Mirabar", "Ada", "Mirabar"), ("Mirabar, Ada Rose", "Ada Rose", "Mirabar"),
     ("Ada van der Berg", "Ada", "van der Berg"), ("Ada Rose Mirabar", "Ada Rose", "Mirabar")],
)  # fmt: skip
def test_a_whole_name_is_parted(whole, given, family):
    rows = csv.DictReader(io.StringIO(laid(f'Name,DOB\n"{whole}",2 May 2014\n')))
    assert [(row["given_name"], row["family_name"]) for row in rows] == [(given, family)]


def laid(text):
    sheets = sheets_of(text.encode())
    return anyroll.laid_out(sheets, anyroll.propose(sheets)).content.decode("utf-8-sig")


@pytest.mark.django_db
def test_columns_are_told_by_their_headings_in_any_encoding_below_any_title():
    for encoding in ("utf-8", "utf-8-sig", "cp1252", "utf-16"):
        layout = anyroll.propose(sheets_of(UNTIDY.encode(encoding)))
        assert layout.head == 4
        assert layout.columns == (
            "given_name", "family_name", "birth_date", "", "email", "expiry", "opening_balance",
        )  # fmt: skip


@pytest.mark.django_db
def test_columns_without_headings_are_told_by_what_stands_in_them():
    text = "Ada,x,2/5/2014,ida@example.org,0400 000 001\nBo,y,3/6/2013,ida@example.org,0400 000 002\n"
    assert anyroll.propose(sheets_of(text.encode())).columns == ("", "", "birth_date", "email", "phone")


def workbook():
    book, file = Workbook(), io.BytesIO()
    book.active.title = "Notes"
    book.active.append(["Ring the council about the gate"])
    sheet = book.create_sheet("Members 2026")
    for row in (["Our members"], [], ["Member", "Born", "Mobile"], ["Ada Mirabar", date(2014, 5, 2), 400000001],
                ["Bo Quoll", date(2013, 6, 3), None], ["2 members"]):  # fmt: skip
        sheet.append(row)
    book.save(file)
    return file.getvalue()


@pytest.mark.django_db
def test_of_several_sheets_the_one_that_looks_like_a_roll_is_proposed():
    layout = anyroll.propose(sheets_of(workbook()))
    assert (layout.sheet, layout.head, layout.columns) == ("Members 2026", 3, ("name", "birth_date", "phone"))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"", "The file is empty"), (b"\n\n", "The file is empty"), (b"\x00\x01\x02" * 90, "binary data"),
     (b"PK not a workbook", "no workbook that can be read")],
)  # fmt: skip
def test_what_is_no_roll_is_refused_in_a_sentence(content, sentence):
    with pytest.raises(Refused, match=sentence):
        sheets_of(content)


@pytest.mark.django_db
def test_an_untidy_file_is_taken_as_far_as_it_is_good_and_the_rest_comes_back_with_its_reasons(client, page, book):
    factories.plan()
    answer = sent(client, page, UNTIDY.encode("cp1252"))
    assert "ida@example.org" in answer.content.decode()
    columns = chosen(answer, **{"column-3": "guardian", "column-5": "", "owed_for": "Memberships"})
    answer = client.post(page, columns)
    text = answer.content.decode()
    assert (answer.context["good"], answer.context["faulty"]) == (4, 1)
    assert "Left out, since they name nobody: row 11." in " ".join(text.split())
    assert "date of birth “31/02/2013” is not a date" in text
    again = confirmed(answer, 1)
    left = client.post(page, again | {"take": "left"}).content.decode("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(left))
    assert (row["First"], row["D.O.B."]) == ("Cai", "31/02/2013")
    assert "is not a date" in row["What is wrong"]
    for _ in range(2):
        client.post(page, again | {"take": "good"})
    assert sorted(Person.objects.values_list("given_name", "birth_date")) == [
        ("Ada", date(2011, 5, 27)), ("Bela", date(2008, 4, 15)), ("Dot", date(2013, 3, 9)), ("Zoë", date(2015, 5, 12)),
    ]  # fmt: skip
    assert sorted(Guardian.objects.values_list("name", flat=True)) == ["Bea Quoll", "Ida Mirabar", "Per Nightjar"]
    assert {str(charge.amount.amount) for charge in Charge.objects.all()} == {"45.00", "7.00"}
    assert [result for result in check_all() if result.faults] == []


@pytest.mark.django_db
def test_what_the_columns_were_said_to_be_is_proposed_for_the_next_file_with_the_same_headings(client, page, book):
    factories.plan()
    said = {"column-3": "guardian", "column-5": "", "owed_for": "Memberships"}
    client.post(page, chosen(sent(client, page, UNTIDY.encode("cp1252")), **said))
    later = UNTIDY.replace("Ada", "Ede").encode("cp1252")
    form = sent(client, page, later).context["layout"]
    assert (form["column-3"].value(), form["column-5"].value()) == ("guardian", "")
    other = UNTIDY.replace("Mum or dad", "Mum, dad").encode("cp1252")
    assert sent(client, page, other).context["layout"]["column-3"].value() != "guardian"


@pytest.mark.django_db
def test_the_same_file_a_second_time_changes_nothing(client, page, book):
    text = "Name,DOB,Parent,Email\n" + "".join(
        f"Nara{n:03d} Solano{h:02d},{date(2010, 1, 1) + timedelta(n):%d/%m/%Y},Pat Solano{h:02d},s{h}@example.org\n"
        for n, h in ((n, n % 90) for n in range(300))
    )
    for number in (2, 3):
        answer = sent(client, page, text.encode())
        answer = client.post(page, chosen(answer))
        assert (answer.context["good"], answer.context["faulty"], answer.context["undecided"]) == (300, 0, 0)
        client.post(page, confirmed(answer, number))
        assert (Person.objects.count(), Household.objects.count(), Membership.objects.count()) == (300, 90, 0)


@pytest.mark.django_db
def test_columns_that_cannot_be_are_refused_and_what_was_chosen_stays(client, page, book):
    answer = sent(client, page, UNTIDY.encode())
    for changes, sentence in (
        ({"column-1": "given_name"}, "Two columns cannot both be the given name"),
        ({"column-0": ""}, "Say which column holds the given names, or the whole names."),
        ({"column-2": ""}, "Say which column holds the dates of birth."),
    ):
        refused = client.post(page, chosen(answer, **{"column-3": "guardian"}, **changes))
        assert refused.status_code == 422
        assert sentence in refused.content.decode()
        assert refused.context["layout"]["column-3"].value() == "guardian"


@pytest.mark.django_db
def test_another_sheet_is_read_where_somebody_asks_for_it(client, page, book):
    answer = sent(client, page, workbook(), "roll.xlsx")
    other = client.post(page, chosen(answer, sheet="Notes", again="yes"))
    assert other.context["layout"].layout.sheet == "Notes"


@pytest.mark.django_db
def test_the_example_is_a_roll_that_comes_in_as_it_is(client, page, book):
    example = client.get(page, {"example": "yes"})
    head = [cell.value for cell in load_workbook(io.BytesIO(example.content))["Roll"][1]]
    assert head == list(anyroll.ALL[:-1])
    answer = sent(client, page, example.content, "roll.xlsx")
    assert (answer.context["good"], answer.context["faulty"]) == (2, 0)
