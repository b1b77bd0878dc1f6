"""A table told once reads alike on a page, in a file and on paper."""

import io
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pytest
from django.template.loader import render_to_string

from clubdesk import paper
from clubdesk.money import as_amount
from clubdesk.tables import Column, Columns, Labelled, Table, in_file, labelled, pick, together, write_csv
from tests.papers import words_of


@dataclass(frozen=True)
class Bow:
    name: str
    bought: date | None
    cost: Decimal


COLUMNS: Columns[Bow] = {
    "name": Column("Bow", lambda bow: bow.name, width=60, in_files="what", link=lambda bow: f"/bows/{bow.name}/"),
    "bought": Column("Bought", lambda bow: bow.bought, "date", 40),
    "cost": Column("Cost", lambda bow: bow.cost, "amount", 40),
}
BOWS = [Bow("Ash", date(2026, 7, 5), Decimal("1200.5")), Bow("=Elm", None, Decimal("-3.00"))]


def table(**changes):
    return Table("Bows", COLUMNS, BOWS, [together("Together", COLUMNS, BOWS, "cost")], **changes)


def test_a_file_has_plain_amounts_days_by_iso_and_no_formula():
    file = io.StringIO(newline="")
    write_csv(table(), file)
    assert file.getvalue() == "what,bought,cost\r\nAsh,2026-07-05,1200.50\r\n'=Elm,,-3.00\r\n"


def test_a_page_has_amounts_to_the_right_and_what_they_come_to_below():
    page = render_to_string("screens/table.html", {"table": table()})
    assert '<th scope="col" role="columnheader" class="figure">Cost</th>' in page
    assert '<th scope="row" role="rowheader"><a href="/bows/Ash/">Ash</a></th>' in page
    assert '<td role="cell" class="figure" data-label="Cost">$1,200.50</td>' in page
    total = page[page.index('<tr role="row" class="total">') :]
    assert total.index("Together") < total.index('class="figure" data-label="Cost">$1,197.50<')


def test_paper_shows_the_same_words():
    paper.use_fonts()
    words = words_of(paper.pdf("Bows", "Reedbank Archers", [paper.table(table())]))
    assert words.index("Bow") < words.index("5 Jul 2026") < words.index("$1,200.50") < words.index("$1,197.50")


def test_a_table_without_a_row_says_so_where_it_is_to():
    empty = Table("Bows", COLUMNS, [], empty="No bow yet.")
    assert [[cell.text for cell in row.cells] for row in empty.shown_rows] == [["No bow yet.", "", ""]]
    assert list(Table("Bows", COLUMNS, []).shown_rows) == []


def test_columns_are_chosen_and_changed_by_name():
    chosen = Table("Bows", pick(COLUMNS, "cost", "name"), BOWS, heads="name").changed("cost", title="Price")
    assert [column.title for column in chosen.headings] == ["Price", "Bow"]
    first = next(chosen.shown_rows).cells
    assert [(cell.text, cell.heads, cell.is_right) for cell in first] == [
        ("$1,200.50", False, True),
        ("Ash", True, False),
    ]
    with pytest.raises(KeyError, match="colour"):
        pick(COLUMNS, "colour")


def test_a_zero_may_stay_blank_but_is_written_in_a_file():
    free = {"cost": Column[Bow]("Cost", lambda bow: bow.cost, "amount", hides_zero=True)}
    nothing = Table("Bows", free, [Bow("Oak", None, Decimal(0))])
    assert next(nothing.shown_rows).cells[0].text == ""
    file = io.StringIO(newline="")
    write_csv(nothing, file, ends="\n")
    assert file.getvalue() == "cost\n0.00\n"


def test_rows_of_words_have_their_figures_by_name():
    rows = [Labelled("Income", {"now": Decimal(5)}), Labelled("Surplus", {"now": Decimal(5), "last": Decimal(7)})]
    told = Table("Result", labelled("What", {"now": "This year", "last": "Last year"}), rows)
    assert [[cell.text for cell in row.cells] for row in told.shown_rows] == [
        ["Income", "$5.00", ""], ["Surplus", "$5.00", "$7.00"],
    ]  # fmt: skip


def test_money_and_text_in_a_file():
    assert in_file(as_amount("12.5")) == "12.50"
    assert in_file("@home") == "'@home"
    assert in_file(None) == ""
