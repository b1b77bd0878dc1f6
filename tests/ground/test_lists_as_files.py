"""Every list comes as a file, narrowed and ordered as it is on the page."""

import csv
import io
from decimal import Decimal

import pytest
from django.contrib import admin
from openpyxl import load_workbook

from clubdesk.fees import services as fees
from clubdesk.screens.exporting import KINDS
from clubdesk.screens.rooms import RoomAdmin
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = "2026-09-12"


@pytest.fixture
def families(book, by, today):
    price = factories.price(amount="1126.00")
    found = [factories.HouseholdFactory(name=name) for name in ("Ölund", "=SUM(1)", "Mirabar")]
    fees.charge(household=found[0], price=price, on=today, starts_on=today, by=by)
    return found


def rows_of(answer):
    assert answer["Content-Type"].startswith("text/csv")
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_a_list_as_csv_holds_amounts_without_signs_and_no_formula(client, coordinator, families):
    client.force_login(coordinator)
    header, *rows = rows_of(client.get("/roll/household/?as=csv"))
    assert header == ["family", "who", "owes"]
    assert ["Ölund", "", "1126.00"] in rows
    assert ["'=SUM(1)", "", "0.00"] in rows


def test_it_holds_only_what_was_looked_for(client, coordinator, families):
    client.force_login(coordinator)
    page = client.get("/roll/household/?q=Mirabar").content.decode()
    assert 'href="?as=csv&amp;q=Mirabar"' in page
    _, *rows = rows_of(client.get("/roll/household/?q=Mirabar&as=csv"))
    assert [row[0] for row in rows] == ["Mirabar"]


def test_all_pages_are_in_it_in_the_order_of_the_list(client, coordinator):
    for number in range(60):
        factories.HouseholdFactory(name=f"F{number:02}")
    client.force_login(coordinator)
    _, *rows = rows_of(client.get("/roll/household/?o=-1&as=csv"))
    assert [row[0] for row in rows] == [f"F{number:02}" for number in reversed(range(60))]


def test_as_a_workbook_figures_are_figures_and_days_are_days(client, coordinator, families, today):
    client.force_login(coordinator)
    answer = client.get("/fees/charge/?as=xlsx")
    assert answer["Content-Disposition"] == f'attachment; filename="charges-{TODAY}.xlsx"'
    sheet = load_workbook(io.BytesIO(answer.content)).active
    header, row = ([cell.value for cell in each] for each in sheet.iter_rows())
    told = dict(zip(header, row, strict=True))
    assert Decimal(str(told["Amount"])) == Decimal(1126)
    assert told["Charged on"].date() == today
    assert told["Family"] == "Ölund"


def test_it_asks_as_often_for_many_rows_as_for_few(client, coordinator, families, django_assert_max_num_queries):
    client.force_login(coordinator)
    client.get("/roll/household/?as=csv")
    for number in range(80):
        factories.HouseholdFactory(name=f"F{number:02}")
    with django_assert_max_num_queries(12):
        client.get("/roll/household/?as=csv")


def test_who_may_not_see_a_list_gets_no_file_of_it(client, range_helper, families):
    client.force_login(range_helper)
    assert client.get("/fees/charge/?as=csv").status_code == 403


def lists(client):
    """The addresses of the lists that this club has; GST has none where the club is not registered."""
    screens = [model for model, screen in admin.site._registry.items() if isinstance(screen, RoomAdmin)]
    found = [f"/{model._meta.app_label}/{model._meta.model_name}/" for model in screens]
    return [address for address in found if client.get(address).context.get("cl")]


def test_every_list_comes_as_both_files(client, keeper, season):
    client.force_login(keeper)
    found = {f"{address}?as={kind}": client.get(f"{address}?as={kind}") for address in lists(client) for kind in KINDS}
    assert len(found) > 60
    assert {answer.status_code for answer in found.values()} == {200}
    assert [address for address, answer in found.items() if "attachment" not in answer["Content-Disposition"]] == []
    assert [address for address, answer in found.items() if b"<span" in answer.content] == []
