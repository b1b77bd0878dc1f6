"""A workbook against the book: genuine, or which figure differs."""

import io
import re
import zipfile
from datetime import date

import pytest
from openpyxl import load_workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.chart.title import title_maker
from openpyxl.comments import Comment
from openpyxl.drawing.image import Image
from openpyxl.formatting.rule import CellIsRule
from openpyxl.styles import Alignment, Font
from openpyxl.styles.colors import Color

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Lodgement, Receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Fund, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.reports.papers import StatementsAsked
from clubdesk.reports.seal import Seal, Stamp, signed_pdf
from clubdesk.reports.statements import BASES
from clubdesk.reports.verify import verify
from clubdesk.reports.workbook.book import write_stamped
from clubdesk.roll.models import Household
from clubdesk.yearend import services as yearend
from tests import factories
from tests.reports.altering import FIRST, LAST, changed, made, of_the_season, raffle, year
from tests.reports.test_workbook import SHOWS, WORKS_OUT, recalculated
from tests.yearend.books import ready

pytestmark = [pytest.mark.either, pytest.mark.django_db]
CELL = '(<c r="{}"[^>]*><f>[^<]*</f>)'
"""A cell of a formula up to what it shows, by its place."""


def swapped_series(book):
    one, two = book["Committee"]._charts[1].series[:2]
    one.tx, two.tx = two.tx, one.tx


def white_runs(book):
    cell = book["Journal"]["C5"]
    cell.value = CellRichText(TextBlock(InlineFont(color="FFFFFF"), cell.value))


def part_of(content, title):
    """The part of the file that holds the sheet of that title."""
    return f"xl/worksheets/sheet{load_workbook(io.BytesIO(content), read_only=True).sheetnames.index(title) + 1}.xml"


def rewritten(content, part, change):
    """The file with the text of one of its parts changed."""
    again = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(again, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, change(text.decode()).encode() if name == part else text)
    return again.getvalue()


class TestWorkbook:
    def test_as_it_was_made_it_is_genuine(self, season):
        found = verify(of_the_season())
        assert found.is_genuine
        assert "year to 30 June 2027, made at entry" in found.what

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

        faults = verify(changed(of_the_season(), change)).faults
        assert any(sentence in fault for fault in faults), faults

    def test_a_figure_changed_in_the_part_of_one_sheet_alone_is_named(self, season):
        """The other sheets are to the byte what the book makes, and are not read again."""
        journal = part_of(of_the_season(), "Journal")
        content = rewritten(
            of_the_season(), journal, lambda text: re.sub(r'(<c r="H5"[^>]*><v>)[^<]*', r"\g<1>7.77", text, count=1)
        )
        faults = verify(content).faults
        assert "not as it was made" in faults[0]
        assert [fault for fault in faults[1:] if not fault.startswith("Journal!H5: the file has 7.77")] == []
        assert len(faults) == 2

    def test_a_name_changed_in_one_sheet_alone_is_no_rename(self, closed):
        def change(text):
            return text.replace("<t>Grants</t>", "<t>Gifts of the president</t>")

        found = verify(rewritten(made(closed), "xl/worksheets/sheet3.xml", change))
        assert any("the file has “Gifts of the president”, the book “Grants”" in fault for fault in found.faults)
        assert found.notes == []

    def test_a_part_that_stands_twice_in_the_file_is_read(self, season):
        twice, journal = io.BytesIO(of_the_season()), part_of(of_the_season(), "Journal")
        with zipfile.ZipFile(twice, "a") as file:
            spoilt = re.sub(r'(<c r="H5"[^>]*><v>)[^<]*', r"\g<1>7.77", file.read(journal).decode(), count=1)
            with pytest.warns(UserWarning, match="Duplicate name"):
                file.writestr(journal, spoilt)
        assert any("Journal!H5: the file has 7.77" in fault for fault in verify(twice.getvalue()).faults)

    def test_a_formula_that_shows_another_figure_is_named(self, season, tmp_path):
        """Another program may save a figure beside a formula; it is held against the book too."""
        recalculated(of_the_season(), tmp_path)
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
        faults = verify(again.getvalue()).faults
        assert "not as it was made" in faults[0]
        assert any("Summary!B5: the file shows 123456.78" in fault for fault in faults)

    @pytest.mark.parametrize(
        ("sheet", "cell", "spoilt", "sentence"),
        [
            ("Summary", CELL.format("B5") + "<v>[^<]*", r"\1<v>123456.78", "Summary!B5: the file shows 123456.78"),
            ("Summary", r'(<c r="B13" s="\d+") t="b"(><f>[^<]*</f>)<v>1', r"\1\2<v>7", "Summary!B13: the file shows 7"),
            ("Trial balance", CELL.format("M5") + "<v>open", r"\1<v>paid", "Trial balance!M5: the file shows “paid”"),
            ("Ledger by account", CELL.format("H7") + "<v>[^<]*", r"\1<v>0.5", "account!H7: the file shows 0.5"),
            ("Receipts and payments", CELL.format(r"E\d+") + "<v>[^<]*</v>", r"\1", "not as it was made"),
        ],
    )  # fmt: skip
    def test_a_result_changed_beside_its_formula_is_named(self, season, sheet, cell, spoilt, sentence):
        """Whoever only shows the file would show it, and so does LibreOffice unless it is told to work it out."""

        def change(text):
            changed, count = re.subn(cell, spoilt, text, count=1)
            assert count
            return changed

        faults = verify(rewritten(of_the_season(), part_of(of_the_season(), sheet), change)).faults
        assert any(sentence in fault for fault in faults), faults

    def test_a_copy_that_shows_no_result_at_all_shows_no_wrong_one(self, season):
        assert verify(changed(of_the_season(), lambda book: None)).faults == []

    @pytest.mark.parametrize("on_load", [WORKS_OUT, SHOWS])
    def test_saved_by_libreoffice_that_worked_it_out_or_believed_it_is_the_same(self, season, tmp_path, on_load):
        recalculated(of_the_season(), tmp_path, on_load)
        assert verify((tmp_path / "out" / "year.xlsx").read_bytes()).faults == []

    def test_a_sheet_taken_away_or_added_is_named(self, season):
        def change(book):
            del book["Changes and reversals"]
            book.create_sheet("Extra")

        faults = verify(changed(of_the_season(), change)).faults
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
            paper = StatementsAsked(basis, FIRST, LAST).pdf(date(2027, 7, 1))
            assert verify(paper).is_genuine

    def test_of_an_open_year_that_went_on_its_journal_is_compared_and_that_is_said(self, season, by):
        content = of_the_season()
        raffle(by)
        found = verify(content)
        assert found.faults == []
        assert "every cell is as it was made" in found.said
        assert "The book has 1 entries of this year that came after the file" in found.notes[0]
        for sheet, cell, value, sentence in (
            ("Journal", "H5", 7.77, "Journal!H5: the file has 7.77"),
            ("Journal", "C5", "Other", "Journal!C5: the file has “Other”"),
            ("Trial balance", "J6", 0.01, "Trial balance!J6: the file has 0.01, which is not what entry"),
            ("Trial balance", "G6", 0.01, "not as it was made"),
            ("Summary", "B5", 0.01, "not as it was made"),
        ):
            spoilt = changed(content, lambda book: setattr(book[sheet][cell], "value", value))  # noqa: B023
            assert any(sentence in fault for fault in verify(spoilt).faults)

    def test_one_made_before_the_close_is_genuine_up_to_its_entry(self, season, by):
        content = of_the_season()
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        ledger.close_year(year=year(), by=by, on=date(2027, 7, 1))
        assert verify(content).faults == []

    @pytest.mark.parametrize(
        ("change", "sentence"),
        [
            (lambda b: setattr(b["Summary"]["B5"], "number_format", '"9,999.00"'), "Summary!B5: it looks otherwise"),
            (lambda b: setattr(b["Vouchers"]["I5"], "number_format", ";;;"), "Vouchers!I5: it looks otherwise"),
            (lambda b: setattr(b["Journal"]["H5"], "font", Font(color="FFFFFF")), "Journal!H5: it looks otherwise"),
            (lambda b: setattr(b["Journal"]["H5"], "font", Font(size=1)), "Journal!H5: it looks otherwise"),
            (lambda b: setattr(b["Journal"].row_dimensions[6], "hidden", True), "Journal: row 6 cannot be seen"),
            (lambda b: setattr(b["Journal"].row_dimensions[6], "height", 0.5), "Journal: row 6 cannot be seen"),
            (lambda b: setattr(b["Journal"].column_dimensions["H"], "hidden", True), "Journal: column H cannot"),
            (lambda b: setattr(b["Proof"], "sheet_state", "hidden"), "Sheets are hidden: Proof."),
            (lambda b: b["Summary"].add_image(Image(io.BytesIO(factories.photo())), "B5"), "a picture was added"),
            (lambda b: setattr(b["Summary"]["B5"], "comment", Comment("but", "me")), "comments was added"),
            (lambda b: b["Proof"].conditional_formatting.add("D5:D9", CellIsRule("equal", ["TRUE"])),
             "a format by condition was added"),
            (lambda b: b["Summary"].merge_cells("B5:C6"), "merged cells was added"),
            (lambda b: setattr(b["Committee"], "_charts", []), "a chart was taken away"),
            (lambda b: setattr(b["Summary"].oddFooter.left, "text", "Audited"), "printed at the head or foot"),
            (swapped_series, "a chart draws other cells"),
            (lambda b: setattr(b["Committee"]._charts[1], "title", title_maker("Twice")), "says something else"),
            (lambda b: setattr(b["Journal"]["H5"], "alignment", Alignment(horizontal="fill")), "Journal!H5: it looks"),
            (lambda b: setattr(b["Journal"]["C5"], "font", Font(color=Color(theme=1, tint=1.0))), "Journal!C5: it"),
            (lambda b: setattr(b["Journal"]["H5"], "font", Font(name="Wingdings")), "Journal!H5: it looks"),
            (white_runs, "several looks"),
        ],
    )  # fmt: skip
    def test_a_figure_that_is_made_to_read_otherwise_is_named(self, season, change, sentence):
        faults = verify(changed(of_the_season(), change)).faults
        assert any(sentence in fault for fault in faults), faults

    def test_a_theme_that_makes_text_white_is_named(self, season):
        content = rewritten(
            of_the_season(),
            "xl/theme/theme1.xml",
            lambda text: re.sub(
                r"<a:dk1>.*?</a:dk1>", '<a:dk1><a:srgbClr val="FFFFFF"/></a:dk1>', text, flags=re.DOTALL
            ),
        )
        assert any("theme" in fault for fault in verify(content).faults)

    def test_a_text_inside_a_formula_stays_as_it_is(self, closed):
        def change(book):
            for row in book["Trial balance"].iter_rows():
                for cell in row:
                    if isinstance(cell.value, str):
                        cell.value = cell.value.replace('"<>closing"', '"<>clos ing"')

        assert any("clos ing" in fault for fault in verify(changed(made(closed), change)).faults)

    def test_a_draft_is_not_called_sealed_nor_emptied(self, season):
        entry = JournalEntry.objects.filter(year=year()).order_by("-number").first()
        stamp = Stamp(date(2026, 9, 12), Seal(entry.number, entry.digest, True), "the tests")
        file = io.BytesIO()
        write_stamped(year(), file, stamp)
        assert "sealed with its last entry; in the book that is not so" in verify(file.getvalue()).faults[0]
        paper = signed_pdf(StatementsAsked("accrual", FIRST, LAST).stamped(stamp))
        assert "sealed with its last entry; in the book that is not so" in verify(paper).faults[0]

        def emptied(book):
            book["Journal"].delete_rows(5, 5000)
            book.properties.keywords = "fletchbook workbook 2027 2026-09-12 0 - open - x"

        assert verify(changed(of_the_season(), emptied)).faults

    def test_a_name_that_the_book_never_had_is_not_taken_for_a_rename(self, closed):
        def change(book):
            for sheet in book:
                for row in sheet.iter_rows():
                    for cell in row:
                        if isinstance(cell.value, str) and "Grants" in cell.value:
                            cell.value = cell.value.replace("Grants", "Loan from the president")

        assert not verify(changed(made(closed), change)).is_genuine

    def test_of_two_families_of_one_name_one_may_be_renamed(self, closed):
        homes = list(Household.objects.filter(charges__isnull=False).distinct()[:2])
        for name, home in (("Mirabar", homes[0]), ("Mirabar", homes[1]), (None, None)):
            if home:
                home.name = home.party.name = name
                home.party.save()
                home.save()
        content = made(closed)
        homes[0].name = homes[0].party.name = "Mirabar-Lund"
        homes[0].party.save()
        homes[0].save()
        assert verify(content).faults == []

    def test_what_goes_on_after_the_close_is_told_and_leaves_it_genuine(self, book, by):
        """A month of the bank opened again is no figure of the year; it stays a note."""
        ready(by)
        with clock.on(date(2027, 7, 1)):
            shut = yearend.close_books(year=year(), on=date(2027, 7, 1), by=by)
            content = made(shut)
            signed = BankAccount.objects.get().reconciliations.latest("month_end")
            bank.reopen_month(reconciliation=signed, on=date(2027, 7, 1), reason="to look again", by=by)
            found = verify(content)
        assert found.faults == []
        assert any("Bank reconciliation!" in note for note in found.notes)

    def test_a_chart_of_other_cells_is_named(self, season):
        def change(book):
            series = book["Committee"]._charts[0].series[0]
            series.val.numRef.f = "'Committee'!$C$5:$C$16"

        assert any("draws other cells" in fault for fault in verify(changed(of_the_season(), change)).faults)

    def test_rows_beyond_what_a_sheet_says_of_its_size_are_read(self, season):
        content = changed(of_the_season(), lambda book: setattr(book["Summary"]["A90"], "value", "one more"))
        spoilt = rewritten(
            content,
            "xl/worksheets/sheet1.xml",
            lambda text: re.sub(r'<dimension ref="[^"]*"', '<dimension ref="A1:C9"', text),
        )
        assert any("Summary!A90: the file has “one more”" in fault for fault in verify(spoilt).faults)

    def test_a_shown_figure_of_a_proof_is_held_against_the_book(self, season, tmp_path):
        recalculated(of_the_season(), tmp_path)
        content = (tmp_path / "out" / "year.xlsx").read_bytes()
        spoilt = rewritten(
            content,
            part_of(content, "Proof"),
            lambda text: re.sub(r"(<f[^>]*>[^<]*</f>)<v>[^<]*", r"\1<v>1234.56", text, count=1),
        )
        assert any("Proof!B5: the file shows 1234.56" in fault for fault in verify(spoilt).faults)

    def test_who_made_it_is_attested_by_the_sites_key(self, season):
        content = of_the_season()
        assert verify(content).notes == []

        def change(book):
            book.properties.subject = "somebody else"
            for row in book["Summary"].iter_rows():
                for cell in row:
                    if isinstance(cell.value, str) and "the tests" in cell.value:
                        cell.value = cell.value.replace("the tests", "somebody else")

        assert "not signed with the secret key of this site" in verify(changed(content, change)).faults[0]

    def test_what_was_renamed_since_is_told_and_is_no_difference(self, closed):
        content = made(closed)
        home = Household.objects.filter(charges__isnull=False).first()
        old_home, old_fund = home.name, Fund.objects.get(pk="entry").name
        home.name = home.party.name = "Mirabar-Lund"
        home.party.save()
        home.save()
        Account.objects.filter(code="1010").update(name="Everyday account")
        Fund.objects.filter(pk="entry").update(name="Championship fund")
        found = verify(content)
        assert found.faults == []
        assert f"“{old_home}” in the file is called “Mirabar-Lund” in the book now." in found.notes
        assert "“Bank” in the file is called “Everyday account” in the book now." in found.notes
        assert f"“{old_fund}” in the file is called “Championship fund” in the book now." in found.notes

    def test_a_name_put_in_the_place_of_another_is_no_rename(self, closed):
        def once(book):
            book["Trial balance"]["B6"].value = "Petty cash"

        def swapped(book):
            for sheet in book:
                for row in sheet.iter_rows():
                    for cell in row:
                        if cell.value in ("Beginner courses", "Memberships"):
                            cell.value = "Memberships" if cell.value == "Beginner courses" else "Beginner courses"

        content = made(closed)
        assert any(
            "Trial balance!B6: the file has “Petty cash”" in fault for fault in verify(changed(content, once)).faults
        )
        assert any("“Memberships”" in fault for fault in verify(changed(content, swapped)).faults)

    def test_one_of_another_book_is_none_of_ours(self, season):
        content = of_the_season()

        def change(book):
            words = book.properties.keywords.split()
            book.properties.keywords = " ".join([*words[:-4], "f" * 64, *words[-3:]])

        assert "was not made from this book" in verify(changed(content, change)).faults[0]

    def test_a_file_too_large_to_be_ours_is_not_read(self):
        """At a hundred megabytes, or at a gigabyte unpacked, it is looked at; a byte more is refused."""
        small = io.BytesIO()
        with zipfile.ZipFile(small, "w") as archive:
            archive.writestr("a", "b")
        head, mark, directory = small.getvalue().rpartition(b"PK\x01\x02")

        def claiming(size):
            return head + mark + directory[:20] + size.to_bytes(4, "little") + directory[24:]

        for content, sentence in (
            (bytes(100 * 1024**2), "neither a PDF nor a workbook"), (bytes(100 * 1024**2 + 1), "larger than 100 MB"),
            (claiming(1024**3), "neither a PDF nor a workbook"), (claiming(1024**3 + 1), "more than a gigabyte"),
        ):  # fmt: skip
            with pytest.raises(Refused, match=sentence):
                verify(content)

    def test_junk_is_refused_in_a_sentence(self, season):
        bare = changed(of_the_season(), lambda book: setattr(book.properties, "keywords", ""))
        for content, sentence in (
            (b"", "neither a PDF nor a workbook"), (b"PK\x03\x04junk", "neither a PDF nor a workbook"),
            (b"%PDF-1.4 junk", "cut short"), (factories.pdf("x"), "no workbook or statement"), (bare, "no workbook"),
        ):  # fmt: skip
            with pytest.raises(Refused, match=sentence):
                verify(content)


def test_the_seal_that_a_page_prints_is_read_out_in_fours():
    assert Seal(7, "9f2c07ab51d0e3" + "0" * 50, True).short == "9F2C-07AB-51D0"
