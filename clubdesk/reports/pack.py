"""The audit pack: the workbook, each of its sheets as CSV, and the evidence by the number of its entry, in one ZIP."""

import csv
import io
import re
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO

from clubdesk.bank.models import Reconciliation, StatementLine
from clubdesk.bank.papers import LINES, reconciliation_pdf
from clubdesk.bank.reconciling import reconcile
from clubdesk.clock import long_day
from clubdesk.entryfund.models import ContainerReturn, EntryClaim
from clubdesk.expenses.models import Expense
from clubdesk.ledger.models import Document, FinancialYear, Journal, JournalEntry
from clubdesk.ledger.selectors import club_name, source_type
from clubdesk.moment import one_moment
from clubdesk.reports.workbook import write_workbook
from clubdesk.tables import Table, in_file, write_csv

WITH_EVIDENCE: tuple[type[Document], ...] = (Expense, EntryClaim, ContainerReturn, Journal)
ENDINGS = {"application/pdf": "pdf", "image/jpeg": "jpg", "image/png": "png"}
README = """{club}, {year}: the audit pack, made on {made_on} by {made_by}.

treasurer-{ending}.xlsx    the treasurer's workbook, totals as live formulas, with its proofs
sheets/                each sheet of it as CSV (UTF-8); formulas stand as their figures, the two
                       sides of a proof are worked out in the workbook alone
evidence/              receipts and documents, by the number of the entry they stand behind
bank/                  each month that was signed off as PDF, and the lines of the bank's statements as CSV

The statement files themselves are not kept, only their lines. The pack holds names of families and what they owe and
paid. Give it to nobody but whoever examines the books, and delete it when that is done. `verify_export` says whether
the workbook is the book's own.
"""


@one_moment()
def write_pack(year: FinancialYear, file: BinaryIO, *, made_on: date, made_by: str) -> None:
    """Write the audit pack of `year` to `file`."""
    ending = year.last_day.year
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as pack:
        words = README.format(club=club_name(), year=year, made_on=long_day(made_on), made_by=made_by, ending=ending)
        pack.writestr("READ-ME.txt", words)
        _write_sheets(pack, year, made_on, made_by)
        for each in evidence_of(year):
            with each.stored.open("rb") as stored:
                pack.writestr(f"evidence/{each.name}", stored.read())
        _write_bank(pack, year)


def _write_sheets(pack: zipfile.ZipFile, year: FinancialYear, made_on: date, made_by: str) -> None:
    with TemporaryDirectory() as folder:
        with ExitStack() as opened:
            names: list[str] = []

            def copies(name: str) -> Any:
                names.append(f"{len(names) + 1:02} {name}.csv")
                out = opened.enter_context((Path(folder) / names[-1]).open("w", newline="", encoding="utf-8-sig"))
                writer = csv.writer(out)
                return lambda row: writer.writerow([in_file(value) for value in row])

            workbook = Path(folder) / f"treasurer-{year.last_day.year}.xlsx"
            with workbook.open("wb") as target:
                write_workbook(year, target, made_on=made_on, made_by=made_by, copies=copies)
        pack.write(workbook, workbook.name)
        for name in names:
            pack.write(Path(folder) / name, f"sheets/{name}")


@dataclass(frozen=True)
class Stored:
    """A file that stands behind an entry, and what it is called in the pack."""

    name: str
    stored: Any


def evidence_of(year: FinancialYear) -> Iterator[Stored]:
    """Every stored file whose document has an entry in the year; one that was blanked or lost is left out."""
    for model in WITH_EVIDENCE:
        entries = JournalEntry.objects.filter(year=year, source_type=source_type(model))
        numbers: dict[int, int] = {}
        for source, number in entries.order_by("number").values_list("source_id", "number"):
            numbers.setdefault(source, number)
        documents: Any = model._default_manager
        for document in documents.filter(pk__in=numbers).exclude(receipt="").order_by("pk"):
            if document.receipt.storage.exists(document.receipt.name):
                kind = re.sub(r"\W+", "-", str(model._meta.verbose_name))
                ending = ENDINGS.get(document.receipt_type, "bin")
                yield Stored(f"entry-{numbers[document.pk]:06}-{kind}-{document.pk}.{ending}", document.receipt)


def _write_bank(pack: zipfile.ZipFile, year: FinancialYear) -> None:
    months = Reconciliation.objects.filter(reopened_on=None, month_end__range=(year.first_day, year.last_day))
    for month in months.select_related("bank_account", "recorded_by").order_by("bank_account", "month_end"):
        figures = reconcile(month.bank_account, month.month_end, month.statement_balance)
        signed = f"Signed off on {long_day(month.signed_on)} by {month.recorded_by}."
        name = re.sub(r"\W+", "-", str(month.bank_account))
        pack.writestr(f"bank/{name}-{month.month_end:%Y-%m}.pdf", reconciliation_pdf(figures, club_name(), signed))
    lines = StatementLine.objects.filter(date__range=(year.first_day, year.last_day)).select_related("bank_account")
    out = io.StringIO(newline="")
    write_csv(Table("Lines", LINES, list(lines.order_by("bank_account", "date", "pk"))), out)
    pack.writestr("bank/statement-lines.csv", out.getvalue().encode("utf-8-sig"))
