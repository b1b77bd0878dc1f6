"""What a formula of the workbook comes to beside it, though no program has worked it out yet."""

import io
from decimal import Decimal

import pytest
from openpyxl import Workbook

from clubdesk.sheets import Heading, Sheet


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
