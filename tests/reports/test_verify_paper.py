"""A PDF against the book, and the command and the page that ask for either."""

import io
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse

from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.reports.papers import CommitteeAsked, StatementsAsked
from clubdesk.reports.statements import BASES
from clubdesk.reports.verify import verify
from tests.reports.altering import FIRST, LAST, changed, made, raffle, year

pytestmark = pytest.mark.django_db


class TestPaper:
    def test_of_a_closed_year_it_stays_genuine_when_an_account_is_renamed(self, closed):
        content = StatementsAsked("accrual", FIRST, LAST).pdf(date(2027, 7, 1))
        Account.objects.filter(role=Role.MEMBERSHIPS).update(name="Member subscriptions")
        found = verify(content)
        assert found.faults == []
        assert any("Member subscriptions" in note for note in found.notes)

    def test_of_days_that_nothing_touched_it_stays_genuine_while_the_book_goes_on(self, season, by):
        content = StatementsAsked("accrual", FIRST, date(2026, 8, 31)).pdf(date(2026, 9, 12))
        raffle(by)
        assert verify(content).is_genuine
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        ledger.close_year(year=year(), by=by, on=date(2027, 7, 1))
        assert verify(content).is_genuine

    @pytest.mark.parametrize("basis", BASES)
    def test_statements_as_they_were_printed_are_genuine(self, season, basis):
        assert verify(StatementsAsked(basis, FIRST, date(2026, 8, 31)).pdf(date(2026, 9, 12))).is_genuine

    def test_the_committees_page_too(self, season):
        assert verify(CommitteeAsked(FIRST, date(2026, 9, 12)).pdf(date(2026, 9, 12))).is_genuine

    def test_a_line_that_differs_is_named(self, season, by):
        content = StatementsAsked("accrual", FIRST, LAST).pdf(date(2026, 9, 12))
        lines = [debit(Role.BANK, as_amount("123.45")), credit(Role.DONATIONS, as_amount("123.45"))]
        ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=by)
        found = verify(content)
        assert found.is_genuine  # as it was made; the book went on
        grown = "The file has “$500.00”, the book “$123.45”."
        assert grown in found.notes
        spoilt = verify(content.replace(b"%%EOF", b"%%EOF\n%"))
        assert "another than the one that was signed" in spoilt.faults[0]
        assert grown in spoilt.faults
        assert "The book has 1 entries of these days that came after the file" in spoilt.faults[-1]

    def test_the_same_words_with_something_laid_over_them_are_not_the_books_own(self, season):
        from pypdf import PdfReader, PdfWriter

        writer = PdfWriter(
            clone_from=PdfReader(io.BytesIO(StatementsAsked("cash", FIRST, LAST).pdf(date(2026, 9, 12))))
        )
        writer.add_blank_page()
        file = io.BytesIO()
        writer.write(file)
        assert "something lies over it" in verify(file.getvalue()).faults[0]


class TestCommandAndPage:
    def test_the_command_says_genuine_or_names_each_figure_and_exits_1(self, season, tmp_path, capsys):
        path = tmp_path / "year.xlsx"
        path.write_bytes(made(year()))
        call_command("verify_export", str(path))
        assert capsys.readouterr().out.startswith("Genuine. Treasurer's workbook")
        path.write_bytes(changed(made(year()), lambda book: setattr(book["Journal"]["H5"], "value", 7.77)))
        for name, sentence in ((str(path), "Journal!H5"), (str(tmp_path / "none"), "cannot be read")):
            with pytest.raises(SystemExit, match="1"):
                call_command("verify_export", name)
            assert sentence in capsys.readouterr().err

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
