"""Lines that the bank only announces, without a balance where others have one: they wait, and come in once."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from clubdesk.bank import services
from clubdesk.bank.models import StatementLine
from clubdesk.bank.reading import read
from clubdesk.errors import Refused

pytestmark = pytest.mark.django_db
HEAD = "Date,Details,Amount,Balance\n"
ANNOUNCED = HEAD + "14/09/2026,CARD HARDWARE,-20.00,\n13/09/2026,CASH,50.00,150.00\n12/09/2026,TFR IDA,100.00,100.00\n"
SETTLED = HEAD + "15/09/2026,CARD HARDWARE PTY,-20.00,130.00\n13/09/2026,CASH,50.00,150.00\n"


def words(statement):
    return [line.text for line in statement.lines], [line.text for line in statement.pending]


def read_csv(rows):
    return read((HEAD + rows).encode(), currency="AUD")


def bring(account, by, content):
    return services.import_statement(bank_account=account, content=content.encode(), file_name="a.csv", by=by)


def test_it_waits_and_is_taken_once_when_it_has_a_balance(account, by):
    first = bring(account, by, ANNOUNCED)
    assert (first.brought, first.closing.amount) == (2, 150)
    assert first.note == (
        "1 line has no balance yet: it is pending, and taken when a later file has a balance beside it."
    )
    assert bring(account, by, SETTLED).brought == 1
    assert bring(account, by, SETTLED).brought == 0
    assert bring(account, by, ANNOUNCED).brought == 0
    assert [line.text for line in StatementLine.objects.order_by("date")] == ["TFR IDA", "CASH", "CARD HARDWARE PTY"]


def test_one_that_is_dated_between_settled_ones_waits_too():
    rows = "12/09/2026,A,100.00,100.00\n12/09/2026,PENDING,-7.00,\n13/09/2026,B,50.00,150.00\n"
    assert words(read_csv(rows)) == (["A", "B"], ["PENDING"])


def test_one_that_stands_before_all_others_waits_too():
    rows = "12/09/2026,PENDING,-7.00,\n12/09/2026,A,100.00,100.00\n13/09/2026,B,50.00,150.00\n"
    assert words(read_csv(rows)) == (["A", "B"], ["PENDING"])


def test_a_bank_that_prints_its_balance_once_a_day_announces_nothing():
    """Common practice, no source: the balance stands beside the last line of a day."""
    first = "12/09/2026,A,10.00,\n12/09/2026,B,20.00,30.00\n"
    rows = f"{first}13/09/2026,C,-5.00,\n13/09/2026,D,-6.00,\n13/09/2026,E,1.00,20.00\n"
    assert words(read_csv(rows)) == (["A", "B", "C", "D", "E"], [])


def test_a_file_without_any_balance_announces_nothing():
    assert words(read(b"12/09/2026,A,10.00\n13/09/2026,B,20.00\n", currency="AUD")) == (["A", "B"], [])


def test_a_balance_that_jumps_beside_an_announced_line_is_still_a_gap():
    with pytest.raises(Refused, match=r"the balance jumps by \$3.00"):
        read_csv("12/09/2026,A,100.00,100.00\n12/09/2026,PENDING,-7.00,\n13/09/2026,B,50.00,153.00\n")


def test_the_page_says_that_a_line_waits(client, account, treasurer):
    client.force_login(treasurer)
    sent = {"bank_account": account.pk, "file": SimpleUploadedFile("a.csv", ANNOUNCED.encode())}
    page = client.post(reverse("admin:import_statement"), sent).content.decode()
    assert "2 new lines, 0 known before." in page
    assert "1 line has no balance yet" in page
    assert "CARD HARDWARE" not in page
