"""What a formula of the workbook comes to beside it, though no program has worked it out yet."""

import io
import re
import zipfile
from decimal import Decimal

import pytest
from openpyxl import Workbook, load_workbook

from clubdesk.sheets import Formula, Heading, Jump, Sheet, Verdict


@pytest.fixture
def sheet():
    columns = [Heading("Name", 30), Heading("Owed", 30, "amount"), Heading("Paid", 9, "amount")]
    workbook = Workbook(write_only=True)
    yield Sheet(workbook, "Money", columns)
    workbook.save(io.BytesIO())


def worth(formulas):
    return [(str(each), each.value) for each in formulas]


def test_many_rows_come_to_the_sum_of_each_column_of_amounts(sheet):
    sheet.top("Who paid what")
    sheet.stream([("Ida", Decimal(30), None), ("Uma", Decimal(12), Decimal("2.50"))])
    assert worth(sheet.sums(5, "BC")) == [
        ("=ROUND(SUM(B5:B6),2)", 42), ("=ROUND(SUM(C5:C6),2)", Decimal("2.50")),
    ]  # fmt: skip
    assert sheet.sum_of("A", 5) == 0


def test_rows_above_the_first_and_totals_are_in_no_sum(sheet):
    sheet.line(["Before", Decimal(7), None])
    first = sheet.line(["Ida", Decimal(30), None])
    sheet.line(["Uma", Decimal(12), Decimal("2.50")])
    sheet.total(["Total", *sheet.sums(first, "BC")])
    assert [sheet.sum_of(letter, first) for letter in "BC"] == [42, Decimal("2.50")]


def test_one_row_is_its_own_sum(sheet):
    first = sheet.line(["Ida", Decimal(30), None])
    assert worth(sheet.sums(first, "B")) == [("=ROUND(SUM(B1:B1),2)", 30)]
    assert sheet.row == 1


def test_a_header_is_as_high_as_its_longest_heading_in_its_column_takes_lines(sheet):
    """“Paid so far” stands in a column of nine characters, so in two lines; as the name of the wide one, in one."""
    for place, names in enumerate((["Name", "Owed", "Paid so far"], ["Paid so far", "Owed", "Paid"]), 1):
        assert sheet.header(names) == place
    heights = [sheet.sheet.row_dimensions[row].height for row in (1, 2)]
    assert heights[0] == 2 * heights[1] > 0


def test_where_there_is_no_row_the_sum_is_that_of_an_empty_one(sheet):
    row = sheet.top("Nobody paid")
    assert worth(sheet.sums(row + 1, "B")) == [("=ROUND(SUM(B5:B5),2)", 0)]
    assert sheet.row == 5


@pytest.fixture
def written():
    """The sheet's part of the file, and the file, once rows stand in it."""

    def saved(write):
        workbook, file = Workbook(write_only=True), io.BytesIO()
        write(Sheet(workbook, "Money", [Heading("Name"), Heading("Owed", 0, "amount"), Heading("Left", 0, "formula")]))
        workbook.save(file)
        with zipfile.ZipFile(file) as parts:
            return re.sub(' s="[0-9]+"', "", parts.read("xl/worksheets/sheet1.xml").decode()), file

    return saved


# Source: ECMA-376 Part 1, 18.3.1.4 (CT_Cell: f, then v, then is) and 18.18.11 (ST_CellType: b, n, str; n where none is
# said), from memory.
@pytest.mark.parametrize(
    ("formula", "cell"),
    [
        (Formula("=1+2.5", Decimal("3.50")), '<c r="A1"><f>1+2.5</f><v>3.5</v></c>'),
        (Formula("=1-1", Decimal("0.00")), '<c r="A1"><f>1-1</f><v>0</v></c>'),
        (Formula("=0-99999999.99", Decimal("-99999999.99")), '<c r="A1"><f>0-99999999.99</f><v>-99999999.99</v></c>'),
        (Verdict("=1=1"), '<c r="A1" t="b"><f>1=1</f><v>1</v></c>'),
        (Verdict("=1=2", value=False), '<c r="A1" t="b"><f>1=2</f><v>0</v></c>'),
        (Verdict("=IF(1=2,TRUE,-5)", Decimal(-5)), '<c r="A1"><f>IF(1=2,TRUE,-5)</f><v>-5</v></c>'),
        (Jump("Proof!$A$5", "R&D"), '<c r="A1" t="str"><f>HYPERLINK("#Proof!A5","R&amp;D")</f><v>R&amp;D</v></c>'),
    ],
)  # fmt: skip
def test_a_formula_is_written_with_what_it_comes_to(written, formula, cell):
    part, file = written(lambda sheet: sheet.line([formula]))
    assert cell in part
    (found,) = load_workbook(file, data_only=True)["Money"].iter_rows(values_only=True)
    assert found[0] == (float(formula.value) if isinstance(formula.value, Decimal) else formula.value)


def test_so_is_each_of_many_rows_between_the_cells_beside_it(written):
    rows = [("Ida", Decimal(30), Formula("=B1", Decimal(30))), ("Uma", None, Formula("=C1+B2", Decimal(31)))]
    part, file = written(lambda sheet: sheet.stream(rows))
    assert '<v>30</v></c><c r="C1"><f>B1</f><v>30</v></c></row>' in part
    assert '<c r="C2"><f>C1+B2</f><v>31</v></c></row>' in part
    found = list(load_workbook(file, data_only=True)["Money"].iter_rows(values_only=True))
    assert found == [("Ida", 30, 30), ("Uma", None, 31)]


def test_how_far_a_column_is_from_zero_counts_both_sides(sheet):
    first = sheet.line(["Ida", Decimal(7), None])
    sheet.line(["Uma", Decimal(-5), None])
    apart = sheet.apart("B", first)
    assert (apart.text, apart.value) == ("SUMPRODUCT(ABS('Money'!$B$1:$B$2))", 12)
