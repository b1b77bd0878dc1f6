"""Tables of few columns fold on a phone: each cell knows its heading, and stays a cell to a screen reader."""

import re

import pytest

from clubdesk.tables import MOST_FOLDED, Column, Table
from tests import factories

CELL = re.compile(r'<(t[dh]) role="(cell|rowheader)" data-label="([^"]*)"( data-nothing)?[^>]*>(.*?)</t[dh]>', re.S)
HEADING = re.compile(r'<th scope="col" role="columnheader".*?<div class="text">(.*?)</div>', re.S)


def table_of(columns):
    titles = [f"T{number}" for number in range(columns)]
    return Table("Some", {title: Column(title, lambda row: row) for title in titles}, ["x"])


def test_a_table_of_few_columns_folds_and_a_wide_one_does_not():
    assert table_of(MOST_FOLDED).folds
    assert not table_of(MOST_FOLDED + 1).folds


def test_each_cell_has_the_heading_of_its_column():
    [row] = table_of(3).shown_rows
    assert [cell.label for cell in row.cells] == ["T0", "T1", "T2"]


def bare(html):
    return re.sub(r"<[^>]+>", "", html).strip()


def list_at(client, address):
    shown = client.get(address).content.decode()
    return shown[shown.index('id="result_list"') :].split("</table>")[0]


@pytest.mark.django_db
def test_a_list_has_a_name_and_its_cells_their_headings_and_parts(client, coordinator):
    factories.PersonFactory(given_name="Ada")
    client.force_login(coordinator)
    table = list_at(client, "/roll/person/")
    assert '<caption class="visually-hidden">People</caption>' in table
    headings = {bare(each) for each in HEADING.findall(table)}
    cells = CELL.findall(table)
    assert len(cells) == table.count("<td") + table.count("<th ") - len(HEADING.findall(table))
    assert {label for _, _, label, _, _ in cells} - {""} <= headings
    assert {(tag, part) for tag, part, *_ in cells} == {("th", "rowheader"), ("td", "cell")}


@pytest.mark.django_db
def test_what_is_empty_is_marked_so_that_it_needs_no_line(client, coordinator):
    factories.HouseholdFactory()
    client.force_login(coordinator)
    cells = CELL.findall(list_at(client, "/roll/household/"))
    assert [bare(inner) for *_, nothing, inner in cells if nothing] == ["-"] * sum(bool(each[3]) for each in cells)
    assert "-" not in [bare(inner) for *_, nothing, inner in cells if not nothing]
