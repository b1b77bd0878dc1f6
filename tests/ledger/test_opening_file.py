"""What a club had before, from a file: read into lines that are looked at, or refused with a sentence a row."""

import io
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook

from clubdesk.errors import Refused
from clubdesk.ledger import services
from clubdesk.ledger.models import Account, Fund, FundRole, Journal, JournalOrigin, Role
from clubdesk.ledger.openingfile import read_opening
from clubdesk.ledger.selectors import balance, opening_day

pytestmark = pytest.mark.django_db
HEADER = "account,fund,who,debit,credit\n"


def lines_of(text):
    """The lines of a file as (account's code, debit, credit)."""
    codes = dict(Account.objects.values_list("pk", "code"))
    return [(codes[line["account"]], line["debit"], line["credit"]) for line in read_opening(text.encode())]


def sent(client, content, name="before.csv"):
    file = SimpleUploadedFile(name, content)
    return client.post(reverse("admin:opening_file"), {"file": file})


class TestReading:
    def test_an_account_is_known_by_its_code_or_name_and_amounts_as_people_write_them(self, book):
        text = HEADER + '1010,,,"$1,085.00",\ncash box,,,20,-\n2210,,,,35.50\n'
        assert lines_of(text) == [("1010", "1085.00", ""), ("1020", "20.00", ""), ("2210", "", "35.50")]

    @pytest.mark.parametrize("separator", [",", ";", "\t"])
    def test_columns_come_in_any_order_and_with_any_separator(self, book, separator):
        rows = [("credit", "debit", "account"), ("", "85.00", "1010")]
        assert lines_of("\n".join(separator.join(row) for row in rows)) == [("1010", "85.00", "")]

    def test_what_is_worked_out_and_what_is_zero_is_left_out(self, book):
        text = HEADER + "1010,,,85.00,\n1020,,,0.00,\n3010,,,,85.00\n"
        assert lines_of(text) == [("1010", "85.00", "")]

    def test_a_workbook_is_read_like_text(self, book):
        workbook, file = Workbook(), io.BytesIO()
        for row in (("Account", "Debit", "Credit", "Fund"), (1010, 85, None, "General fund"), ("Cash box", 20.5, None)):
            workbook.active.append(row)
        workbook.save(file)
        assert [line["debit"] for line in read_opening(file.getvalue())] == ["85.00", "20.50"]

    def test_the_fund_is_known_by_its_name(self, book):
        entry = Fund.objects.get(code=FundRole.ENTRY)
        (line,) = read_opening(f"{HEADER}1010,{entry.name},,40.00,\n".encode())
        assert line["fund"] == entry.pk

    @pytest.mark.parametrize(
        ("row", "sentence"),
        [
            ("9999,,,5,", "row 2: the account “9999” is not in the chart"),
            ("1100,,,5,", "row 2: .* is kept family by family"),
            ("4010,,,,5", "row 2: .* counted from the first day of the year"),
            ("1010,nowhere,,5,", "row 2: the fund “nowhere” is unknown"),
            ("1010,,Nobody,5,", "row 2: “Nobody” is not among the people and organisations"),
            ("1010,,,5,5", "row 2: there is an amount on both sides"),
            ("1010,,,-5,", "row 2: -5 is below 0.00"),
            ('1010,,,"85,5",', "row 2: .*a comma where a point"),
            ("1110,,,5,", "row 2: say in the column who"),
            ("1010,,,,", "Every row of the file is 0.00"),
        ],
    )
    def test_a_fault_is_told_with_its_row(self, book, row, sentence):
        with pytest.raises(Refused, match=sentence):
            read_opening((HEADER + row + "\n").encode())

    def test_every_fault_is_told_at_once(self, book):
        with pytest.raises(Refused, match="row 2") as refusal:
            read_opening(f"{HEADER}9999,,,5,\n1010,,,5,\n8888,,,5,\n".encode())
        assert [each[:6] for each in refusal.value.messages] == ["row 2:", "row 4:"]

    @pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"PK\x03\x04 junk", b"account\n1010\n"])
    def test_what_is_no_such_file_is_refused(self, book, content):
        with pytest.raises(Refused, match="row 1|The file is empty"):
            read_opening(content)


class TestThePage:
    @pytest.fixture
    def treasuring(self, client, treasurer):
        client.force_login(treasurer)
        return client

    def test_its_lines_are_looked_at_and_then_recorded(self, treasuring):
        answer = sent(treasuring, f"{HEADER}1010,,,85.00,\n1020,,,20.00,\n".encode())
        assert answer.status_code == 302
        assert not Journal.objects.exists()
        page = treasuring.get(answer["Location"])
        form = page.context["form"]
        assert "2 lines read from before.csv" in page.content.decode()
        assert [line.initial["debit"] for line in form.lines.forms[:2]] == ["85.00", "20.00"]
        typed = {"narration": "Books of before", "key": form["key"].value(), "opened": page.context["opened"]}
        typed |= {f"line-{name}": value for name, value in form.lines.management_form.initial.items()}
        for line in form.lines.forms:
            typed |= {f"{line.prefix}-{name}": line.initial.get(name, "") for name in ("account", "debit", "credit")}
        assert treasuring.post(answer["Location"], typed).status_code == 302
        assert Journal.objects.get().origin == JournalOrigin.OPENING
        assert balance(Role.BANK, opening_day()) == 85
        assert balance(Role.TILL, opening_day()) == 20

    def test_faults_stand_on_the_page_and_nothing_is_read(self, treasuring):
        answer = sent(treasuring, f"{HEADER}9999,,,5,\n".encode())
        assert answer.status_code == 422
        assert "Row 2: the account “9999” is not in the chart." in answer.content.decode()
        assert "opening_lines" not in treasuring.session

    def test_once_the_first_month_is_locked_the_page_says_so_and_asks_for_no_file(self, treasuring, by):
        services.lock_month(month_end=date(2026, 7, 31), reason="a test", by=by)
        page = treasuring.get(reverse("admin:opening_file")).content.decode()
        assert "The first month is locked" in page
        assert 'type="file"' not in page

    def test_an_auditor_reads_none(self, client, auditor):
        client.force_login(auditor)
        assert client.get(reverse("admin:opening_file")).status_code == 403
