"""Which other names in a file are renames, and which cells of an open year's file are not the book's."""

import pytest
from openpyxl import Workbook

from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount, shown
from clubdesk.reports.comparison import Comparison
from clubdesk.sheets import Named
from clubdesk.sheets.reading import Cell
from tests.reports.altering import raffle, year


def compared(*cells):
    """Of cells told as what the file has and what the book has: who is renamed, and whose other name is none."""
    book, file = ([Cell(cell[side], cell[side], 0) for cell in cells] for side in (1, 0))
    found = Comparison()
    assert list(found.row("Roll", 1, file, book, [Named(cell.value) for cell in book])) == []
    return found.renamed(), list(found.names_that_differ())


@pytest.mark.parametrize(
    "cells",
    [
        pytest.param([("Ida", "Uma"), ("Ada", "Uma")], id="two other names for one"),
        pytest.param([("Ida", "Uma"), ("Uma", "Uma")], id="the name stands elsewhere as it is"),
        pytest.param([("Ida", "Uma"), ("Ida", "Ida")], id="the other name is somebody's who kept it"),
        pytest.param([("Ida", "Uma"), ("Ida", "Ada")], id="one other name for two"),
        pytest.param([("Ida", "Uma"), ("Uma", "Ida")], id="two changed places"),
    ],
)
def test_what_is_no_rename(cells):
    renamed, others = compared(*cells)
    assert renamed == []
    assert others == [
        f"Roll!{letter}1: the file has “{theirs}”, the book “{ours}”."
        for letter, (theirs, ours) in zip("AB", cells, strict=True)
        if theirs != ours
    ]


def test_a_name_that_is_another_wherever_it_stands_is_a_rename():
    assert compared(("Ida", "Uma"), ("Ida", "Uma"), ("Ada", "Ada")) == (
        ["“Ida” in the file is called “Uma” in the book now."], [],
    )  # fmt: skip


def test_of_three_names_that_moved_up_the_last_alone_is_a_rename():
    """Uma is called Ida in the file and Ida is called Ada: Ida is a name that the book knows, Ada is nobody's."""
    renamed, others = compared(("Ida", "Uma"), ("Ada", "Ida"))
    assert renamed == ["“Ada” in the file is called “Ida” in the book now."]
    assert others == ["Roll!A1: the file has “Ida”, the book “Uma”."]


@pytest.mark.django_db
class TestAnOpenYear:
    """Ten came for a raffle by entry 1; ten more came after the file was made."""

    @pytest.fixture
    def faults(self, book, by):
        raffle(by)
        raffle(by)

        def found(balances, sheets=("Journal", "Trial balance")):
            file = Workbook()
            for name in sheets:
                sheet = file.create_sheet(name)
                for _ in range(4):
                    sheet.append(["above"])
            for code, figure in balances if "Trial balance" in sheets else ():
                sheet.append([code, *[None] * 8, figure])
            said = Comparison().journal(file, year(), 1)
            return [each for each in said if not each.startswith("Journal!")]

        return found

    @pytest.fixture
    def codes(self, book):
        return account(Role.BANK).code, account(Role.DONATIONS).code

    def test_its_trial_balance_is_held_against_what_its_last_entry_left(self, faults, codes):
        bank, gifts = codes
        assert faults([(bank, 10), (None, 99), (gifts, -10), ("9999", None)]) == []
        assert faults([(bank, 20), (gifts, -10)]) == [
            "Trial balance!J5: the file has 20, which is not what entry 1 left."
        ]
        assert faults([(bank, 10)]) == [f"Trial balance: the account {gifts} with {shown(as_amount(-10))} is missing."]

    def test_a_sheet_that_is_compared_and_is_missing_is_named(self, faults):
        assert faults([], ["Journal"]) == ["Sheets are missing: Trial balance."]
