"""That two workbooks of one book are the same, and that what differs between two is named."""

import io
from datetime import date

import pytest
from openpyxl import load_workbook
from openpyxl.styles import PatternFill

from clubdesk.ledger.models import FinancialYear
from clubdesk.reports.workbook import workbook_bytes
from tests.reports.same_workbook import differences
from tests.worlds.season import Season

pytestmark = [pytest.mark.either, pytest.mark.django_db]


def made():
    return workbook_bytes(FinancialYear.objects.get(), made_on=date(2026, 9, 12), made_by="the tests")


def test_the_workbook_of_a_season_made_twice_is_the_same_and_a_change_is_named(by, approver):
    Season(by, approver).grow(4)
    content = made()
    assert differences(content, made()) == []

    def changed(change):
        book = load_workbook(io.BytesIO(content))
        change(book)
        file = io.BytesIO()
        book.save(file)
        return differences(content, file.getvalue())

    assert changed(lambda book: None) == []
    old = load_workbook(io.BytesIO(content))["Members owing"]["B5"].value
    assert changed(lambda book: book["Members owing"].__setitem__("B5", 7)) == [
        f"Members owing!B5: the value is 7; it was {old}."
    ]
    (fault,) = changed(lambda book: book["Proof"].__setitem__("D5", "=TRUE"))
    assert fault.startswith("Proof!D5: the formula is “=TRUE”; it was “=IF(ROUND((B5-C5)*100,0)=0")
    assert changed(lambda book: setattr(book["Journal"]["H5"], "number_format", "0")) == [
        'Journal!H5: the number format is “0”; it was “"$"#,##0.00;[Red]-"$"#,##0.00”.'
    ]
    (fault,) = changed(lambda book: setattr(book["Budget"]["A4"], "fill", PatternFill("solid", fgColor="FF0000")))
    assert fault.startswith("Budget!A4: the fill is ('solid', '00FF0000')")
    assert changed(lambda book: setattr(book["Courses"].column_dimensions["A"], "width", 12)) == [
        "Courses: the width of column A is 12.0; it was 46.0."
    ]
    assert changed(lambda book: setattr(book["Bridge"].page_setup, "orientation", "portrait")) == [
        "Bridge: the paper is ('portrait', 9); it was ('landscape', 9)."
    ]
    (fault,) = changed(lambda book: book["Committee"]._charts.pop())
    assert fault.startswith("Committee: chart 3 is nothing; it was ('lineChart', 'A")
    (fault,) = changed(lambda book: book.remove(book["Vouchers"]))
    assert fault.startswith("The sheets are Summary, Committee,")
    assert "Vouchers" not in fault.partition(";")[0]
