"""The audit pack of a year."""

import csv
import io
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.evidence import examine
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from clubdesk.reports.pack import evidence_of, write_pack
from clubdesk.reports.verify import verify
from tests import factories
from tests.reports.altering import year

pytestmark = pytest.mark.django_db
NEXT = date(2027, 7, 1)


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
        rows = list(csv.reader(io.StringIO(pack.read("sheets/03 Trial balance.csv").decode("utf-8-sig"))))
        assert not [cell for row in rows for cell in row if cell.startswith("=")]
        total = next(row for row in rows if len(row) > 1 and row[1] == "Total")
        assert total[6] == total[7]
        assert Decimal(total[6]) > 0
        name = next(name for name in names if name.endswith(" Proof.csv"))
        proofs = list(csv.reader(io.StringIO(pack.read(name).decode("utf-8-sig"))))[4:]
        assert {row[3] for row in proofs} == {"True"}

    def test_text_from_users_is_no_formula_in_a_csv(self, pack):
        """Source: OWASP, CSV injection."""
        (journal,) = (pack.read(name).decode() for name in pack.namelist() if name.endswith(" Journal.csv"))
        assert "'=Repair" in journal
        assert ",=Repair" not in journal

    def test_evidence_is_named_by_the_number_of_its_entry(self, pack):
        entry = JournalEntry.objects.get(narration="=Repair")
        found = [name for name in pack.namelist() if name.startswith(f"evidence/entry-{entry.number:06}-journal")]
        assert found
        assert pack.read(found[0]).startswith(b"\xff\xd8")
        assert pack.testzip() is None

    def test_evidence_stands_in_the_order_of_its_documents_and_of_the_year_alone(self, book, by):
        ledger.open_year(first_day=NEXT, by=by)
        lines = [debit(Role.BANK_FEES, as_amount(10)), credit(Role.BANK, as_amount(10))]
        journals = [
            ledger.record_journal(
                on=on, narration="Bill", lines=lines, by=by, evidence=examine(io.BytesIO(factories.photo(f"{on}")))
            )
            for on in (date(2026, 9, 1), date(2026, 8, 1), NEXT)
        ]
        ledger.record_journal(on=date(2026, 9, 3), narration="No bill", lines=lines, by=by)
        ledger.undo_entries_of(document=journals[0], on=date(2026, 9, 2), reason="paid twice", by=by)
        first, second = (
            f"entry-{number:06}-journal-{journal.pk}.jpg" for number, journal in enumerate(journals[:2], 1)
        )
        assert [each.name for each in evidence_of(year())] == [first, second]

    def test_the_months_and_lines_of_the_bank_are_the_years_own(self, book, by):
        """June and July were signed off, and May was opened again."""
        ledger.open_year(first_day=NEXT, by=by)
        account = BankAccount.objects.get()
        for month, text in ((5, "MAY"), (6, "JUNE"), (7, "JULY")):
            on = date(2027, month, 9)
            journal = ledger.record_journal(
                on=on, narration=text, lines=[debit(Role.BANK, as_amount(5)), credit(Role.GRANTS, as_amount(5))], by=by
            )
            line = bank.record_statement_line(bank_account=account, on=on, amount=as_amount(5), text=text, by=by)
            posting = entries_of(journal).get().postings.get(account=account.account)
            bank.clear(lines=[line], postings=[posting], reasons="seen", by=by)
        known = {"bank_account": account, "by": by, "on": date(2027, 8, 1)}
        with clock.on(date(2027, 8, 1)):
            may = bank.sign_off_month(until=date(2027, 5, 31), statement_balance=as_amount(5), **known)
            bank.reopen_month(reconciliation=may, on=date(2027, 8, 1), reason="a cheque", by=by)
            bank.sign_off_month(until=date(2027, 6, 30), statement_balance=as_amount(10), **known)
            bank.sign_off_month(until=date(2027, 7, 31), statement_balance=as_amount(15), **known)
        file = io.BytesIO()
        write_pack(year(), file, made_on=date(2026, 9, 12), made_by="the tests")
        pack = zipfile.ZipFile(file)
        names = [name for name in pack.namelist() if name.startswith("bank/")]
        assert [name[-12:] for name in names] == ["-2027-06.pdf", "nt-lines.csv"]
        told = pack.read("bank/statement-lines.csv").decode("utf-8-sig")
        assert [text in told for text in ("MAY", "JUNE", "JULY")] == [True, True, False]

    def test_its_workbook_is_genuine(self, pack):
        assert verify(pack.read("treasurer-2027.xlsx")).faults == []

    def test_who_may_export_downloads_it(self, client, auditor, season):
        client.force_login(auditor)
        answer = client.get(reverse("admin:audit_pack", args=[2027]))
        assert zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))).testzip() is None
