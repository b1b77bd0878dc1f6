"""A workbook or a PDF against the book: genuine, or which figure differs; and the audit pack."""

import csv
import io
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.fees import services as fees
from clubdesk.fees.models import Lodgement, Receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.reports.pack import write_pack
from clubdesk.reports.papers import CommitteeAsked, StatementsAsked
from clubdesk.reports.statements import BASES
from clubdesk.reports.verify import verify
from clubdesk.reports.workbook import workbook_bytes
from tests import factories
from tests.season import Season
from tests.test_workbook import recalculated

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 7, 1), date(2027, 6, 30)


@pytest.fixture
def season(by, approver):
    return Season(by, approver).grow(6)


@pytest.fixture
def closed(season, by):
    """The season's year, closed, and the next one open."""
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    year = FinancialYear.objects.get(first_day=FIRST)
    return ledger.close_year(year=year, by=by, on=date(2027, 7, 1))


def made(year):
    return workbook_bytes(year, made_on=date(2026, 9, 12), made_by="the tests")


def changed(content, change):
    book = load_workbook(io.BytesIO(content))
    change(book)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def year():
    return FinancialYear.objects.get(first_day=FIRST)


class TestWorkbook:
    def test_as_it_was_made_it_is_genuine(self, season):
        found = verify(made(year()))
        assert found.is_genuine
        assert "year to 30 June 2027, made at entry" in found.what

    def test_saved_again_by_another_program_it_still_is(self, season, tmp_path):
        content = made(year())
        recalculated(content, tmp_path)
        assert verify((tmp_path / "out" / "year.xlsx").read_bytes()).faults == []

    @pytest.mark.parametrize(
        ("sheet", "cell", "value", "sentence"),
        [
            ("Journal", "H5", 7.77, "Journal!H5: the file has 7.77, the book"),
            ("Journal", "C5", "Something else", "Journal!C5: the file has “Something else”"),
            ("Trial balance", "D6", 0.01, "Trial balance!D6"),
            ("Receipts and payments", "E20", 1, "Receipts and payments!E20"),
            ("Income and expenditure", "E6", 4711, "Income and expenditure!E6: the file has 4711, the book “=SUM("),
            ("Proof", "D5", True, "Proof!D5"),
            ("Vouchers", "B900", "one more", "Vouchers!B900"),
            ("Ledger by account", "H7", "=H6+1000", "Ledger by account!H7"),
        ],
    )
    def test_a_changed_cell_is_named(self, season, sheet, cell, value, sentence):
        def change(book):
            book[sheet][cell].value = value

        faults = verify(changed(made(year()), change)).faults
        assert any(sentence in fault for fault in faults), faults

    def test_a_formula_that_shows_another_figure_is_named(self, season, tmp_path):
        """Another program may save a figure beside a formula; it is held against the book too."""
        recalculated(made(year()), tmp_path)
        path = tmp_path / "out" / "year.xlsx"
        parts = {}
        with zipfile.ZipFile(path) as file:
            for name in file.namelist():
                parts[name] = file.read(name)
        for name, content in parts.items():
            if name == "xl/worksheets/sheet1.xml":
                text = content.decode()
                place = text.index("<v>", text.index("<f"))
                end = text.index("</v>", place)
                parts[name] = (text[:place] + "<v>123456.78" + text[end:]).encode()
        again = io.BytesIO()
        with zipfile.ZipFile(again, "w") as file:
            for name, content in parts.items():
                file.writestr(name, content)
        assert "Summary!B5: the file shows 123456.78" in verify(again.getvalue()).faults[0]

    def test_a_sheet_taken_away_or_added_is_named(self, season):
        def change(book):
            del book["Changes and reversals"]
            book.create_sheet("Extra")

        faults = verify(changed(made(year()), change)).faults
        assert "Sheets are missing: Changes and reversals." in faults
        assert "Sheets were added: Extra." in faults

    def test_of_a_closed_year_it_stays_genuine_while_the_next_goes_on(self, closed, by):
        content = made(closed)
        with clock.on(date(2027, 8, 20)):
            for each in Lodgement.objects.filter(paid_on=None):
                fees.record_lodgement_paid(lodgement=each, on=date(2027, 8, 2), by=by)
            receipt = Receipt.objects.filter(cancelled_on=None).exclude(allocations__repayment__isnull=False).first()
            fees.cancel_receipt(receipt=receipt, on=date(2027, 8, 3), reason="bounced", by=by)
            lines = [debit(Role.BANK, as_amount(10)), credit(Role.DONATIONS, as_amount(10))]
            ledger.record_journal(on=date(2027, 8, 4), narration="Raffle", lines=lines, by=by)
        assert verify(content).faults == []
        for basis in BASES:
            paper = StatementsAsked(basis, FIRST, LAST).pdf("made on 1 Jul 2027")
            assert verify(paper).is_genuine

    def test_of_an_open_year_what_came_since_is_said(self, season, by):
        content = made(year())
        lines = [debit(Role.BANK, as_amount(10)), credit(Role.DONATIONS, as_amount(10))]
        ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=by)
        assert "The book has 1 entries of this year that came after the file" in verify(content).faults[-1]

    def test_one_of_another_book_is_none_of_ours(self, season):
        content = made(year())

        def change(book):
            words = book.properties.keywords.split()
            book.properties.keywords = " ".join([*words[:-1], "f" * 64])

        assert "was not made from this book" in verify(changed(content, change)).faults[0]

    def test_junk_is_refused_in_a_sentence(self, season):
        bare = changed(made(year()), lambda book: setattr(book.properties, "keywords", ""))
        for content, sentence in (
            (b"", "neither a PDF nor a workbook"), (b"PK\x03\x04junk", "neither a PDF nor a workbook"),
            (b"%PDF-1.4 junk", "not whole"), (factories.pdf("x"), "no workbook or statement"), (bare, "no workbook"),
        ):  # fmt: skip
            with pytest.raises(Refused, match=sentence):
                verify(content)


class TestPaper:
    @pytest.mark.parametrize("basis", BASES)
    def test_statements_as_they_were_printed_are_genuine(self, season, basis):
        assert verify(StatementsAsked(basis, FIRST, date(2026, 8, 31)).pdf("made on 12 Sep 2026")).is_genuine

    def test_the_committees_page_too(self, season):
        assert verify(CommitteeAsked(FIRST, date(2026, 9, 12)).pdf("made on 12 Sep 2026")).is_genuine

    def test_a_line_that_differs_is_named(self, season, by):
        content = StatementsAsked("accrual", FIRST, LAST).pdf("made on 12 Sep 2026")
        lines = [debit(Role.BANK, as_amount("123.45")), credit(Role.DONATIONS, as_amount("123.45"))]
        ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=by)
        faults = verify(content).faults
        assert any("Donations" in fault or "123.45" in fault for fault in faults)

    def test_the_same_words_with_something_laid_over_them_are_not_the_books_own(self, season):
        from pypdf import PdfReader, PdfWriter

        writer = PdfWriter(
            clone_from=PdfReader(io.BytesIO(StatementsAsked("cash", FIRST, LAST).pdf("made on 12 Sep 2026")))
        )
        writer.add_blank_page()
        file = io.BytesIO()
        writer.write(file)
        assert "changed otherwise" in verify(file.getvalue()).faults[0]


class TestCommandAndPage:
    def test_the_command_says_genuine_or_names_each_figure_and_exits_1(self, season, tmp_path, capsys):
        path = tmp_path / "year.xlsx"
        path.write_bytes(made(year()))
        call_command("verify_export", str(path))
        assert capsys.readouterr().out.startswith("Genuine. Treasurer's workbook")
        path.write_bytes(changed(made(year()), lambda book: setattr(book["Journal"]["H5"], "value", 7.77)))
        for name, sentence in ((str(path), "Journal!H5"), (str(tmp_path / "none"), "cannot be read")):
            with pytest.raises((CommandError, SystemExit)) as stopped:
                call_command("verify_export", name)
            assert sentence in capsys.readouterr().err or sentence in str(stopped.value)

    def test_a_file_is_checked_on_the_site_by_who_may_export(self, client, auditor, coordinator, season):
        url, content = reverse("admin:verify"), made(year())
        client.force_login(auditor)
        good = client.post(
            url, {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "file": SimpleUploadedFile("y.xlsx", content)}
        )
        assert "Genuine." in good.content.decode()
        bad = client.post(
            url, {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "file": SimpleUploadedFile("y.xlsx", b"x")}
        )
        assert bad.status_code == 422
        assert "neither a PDF nor a workbook" in bad.content.decode()
        client.force_login(coordinator)
        assert client.get(url).status_code == 403
        assert client.get(reverse("admin:audit_pack", args=[2027])).status_code == 403


class TestAuditPack:
    @pytest.fixture
    def pack(self, season, by):
        lines = [debit(Role.BANK_FEES, as_amount(10)),
                 credit(Role.BANK, as_amount(10))]  # fmt: skip
        evidence = examine(io.BytesIO(factories.photo("bill")))
        ledger.record_journal(on=date(2026, 9, 1), narration="=Repair", lines=lines, by=by, evidence=evidence)
        file = io.BytesIO()
        write_pack(year(), file, made_on=date(2026, 9, 12), made_by="the tests")
        return zipfile.ZipFile(file)

    def test_it_holds_a_csv_a_sheet_with_figures_for_formulas(self, pack):
        book = load_workbook(io.BytesIO(pack.read("treasurer-2027.xlsx")))
        names = [name for name in pack.namelist() if name.startswith("sheets/")]
        assert [name[len("sheets/00 ") : -len(".csv")] for name in names] == book.sheetnames
        rows = list(csv.reader(io.StringIO(pack.read("sheets/03 Trial balance.csv").decode())))
        assert not [cell for row in rows for cell in row if cell.startswith("=")]
        total = next(row for row in rows if len(row) > 1 and row[1] == "Total")
        assert total[6] == total[7]
        assert Decimal(total[6]) > 0
        proofs = list(csv.reader(io.StringIO(pack.read("sheets/20 Proof.csv").decode())))[4:]
        assert {row[3] for row in proofs} == {"True"}

    def test_text_from_users_is_no_formula_in_a_csv(self, pack):
        """Source: OWASP, CSV injection."""
        journal = pack.read("sheets/08 Journal.csv").decode()
        assert "'=Repair" in journal
        assert ",=Repair" not in journal

    def test_evidence_is_named_by_the_number_of_its_entry(self, pack):
        entry = JournalEntry.objects.get(narration="=Repair")
        found = [name for name in pack.namelist() if name.startswith(f"evidence/entry-{entry.number:06}-journal")]
        assert found
        assert pack.read(found[0]).startswith(b"\xff\xd8")
        assert pack.testzip() is None

    def test_its_workbook_is_genuine(self, pack):
        assert verify(pack.read("treasurer-2027.xlsx")).faults == []

    def test_who_may_export_downloads_it(self, client, auditor, season):
        client.force_login(auditor)
        answer = client.get(reverse("admin:audit_pack", args=[2027]))
        assert zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))).testzip() is None
