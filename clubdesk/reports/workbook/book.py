"""The workbook as a whole: which sheets there are, where they put what others refer to, and in which order."""

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any, BinaryIO

from openpyxl import Workbook

from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import Account, FinancialYear, FundRole, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.canonical import Contents
from clubdesk.reports.seal import Stamp, seal_of
from clubdesk.reports.selectors import Figures, a_year_earlier
from clubdesk.reports.sheets import Named, Sheet
from clubdesk.reports.workbook import details, journal, proof, statements
from clubdesk.reports.workbook.journal import CLOSING

MARK = "fletchbook workbook"


@dataclass
class Places:
    """Where the sheets put what other sheets refer to: numbers of rows, of accounts by their ids."""

    journal_first: int = 0
    journal_last: int = 0
    trial_first: int = 0
    trial_last: int = 0
    trial_total: int = 0
    trial_rows: dict[int, int] = field(default_factory=dict)
    ledger_headings: dict[int, int] = field(default_factory=dict)
    ledger_closings: dict[int, int] = field(default_factory=dict)
    income_rows: dict[int, int] = field(default_factory=dict)
    surplus: int = 0
    net_assets: int = 0
    funds_total: int = 0
    fund_rows: dict[str, int] = field(default_factory=dict)
    owing_total: int = 0
    fund_closing: int = 0
    fund_opening: int = 0
    money_after: int = 0
    net_money: int = 0
    bridge_difference: int = 0
    bridge_first: int = 0
    bridge_last: int = 0
    bridge_column: str = ""
    vouchers_owed: int = 0
    hire_total: int = 0
    courses_total: int = 0
    affiliation_total: int = 0
    bank_first: int = 0
    bank_last: int = 0
    budget_left: int = 0
    budget_actual: str = ""
    proof_first: int = 0
    proof_last: int = 0


Copies = Callable[[str], Callable[[list[Any]], object]]
"""For the name of a sheet, what takes its rows."""


class TreasurersWorkbook:
    """Writes the sheets of one year; the order of making is the order of the tabs."""

    def __init__(self, year: FinancialYear, stamp: Stamp, copies: Copies | None = None):
        self.year = year
        self.stamp = stamp
        self.seal = stamp.seal
        self.copies = copies
        self.sheets: list[Sheet] = []
        self.figures = Figures.of_year(year)
        self.last_year = a_year_earlier(self.figures)
        self.club = ledger.club_name()
        self.at = Places()
        self.turnover = journal.turnover(year)
        self.book = Workbook(write_only=True)
        self.entry_fund = next(fund for fund in self.figures.funds if fund.pk == FundRole.ENTRY)

    def write(self, file: BinaryIO) -> None:
        """Write the workbook to `file`. Rows of the journal are streamed, never held together in memory."""
        self._make_sheets()
        journal.write_journal(self)
        journal.write_ledger(self)
        statements.write_trial_balance(self)
        statements.write_income(self)
        statements.write_position(self)
        statements.write_receipts(self)
        statements.write_bridge(self)
        details.write_all(self)
        proof.write_proof(self)
        proof.write_summary(self)
        self._describe()
        self.book.save(file)

    def _make_sheets(self) -> None:
        wide, funds = True, self.figures.funds
        money = [14] * (len(funds) + 4)
        self.summary = self.sheet("Summary", [46, 18, 18], "BC")
        self.committee = self.sheet("Committee", [12, *[15] * (len(funds) + 4)], "BCDEFG", one_page=True)
        self.trial = self.sheet("Trial balance", [8, 32, 11, *[15] * 9], "DEFGHIJKL", wide)
        self.income = self.sheet("Income and expenditure", [8, 34, *money], "CDEFGHIJ")
        self.position = self.sheet("Assets and liabilities", [8, 38, 18, 18], "CD")
        self.receipts = self.sheet("Receipts and payments", [8, 38, *money], "CDEFGHIJ")
        self.bridge = self.sheet("Bridge", [8, 40, *[12] * 24], "".join(map(chr, range(67, 91))), wide)
        self.journal = self.sheet("Journal", [8, 13, 62, 8, 28, 15, 32, 14, 14, 11], "HI", wide)
        self.ledger = self.sheet("Ledger by account", [8, 13, 62, 15, 32, 14, 14, 15, 11], "FGH", wide)
        self.owing = self.sheet("Members owing", [44, 16, 16], "BC")
        self.fund = self.sheet("Entry fund", [8, 13, 64, 14, 14, 14], "DEF", wide)
        self.vouchers = self.sheet("Vouchers", [13, 26, 10, 30, 10, 13, 13, 13, 13, 13, 13], "FGHI", wide)
        self.hire = self.sheet("Hire takings", [13, 10, 15, 15, 15], "CDE")
        self.courses = self.sheet("Courses", [46, 14, 10, 10, 16], "E")
        self.affiliation = self.sheet("Affiliation", [40, 16, 16, 16, 16], "BCDE")
        self.bank = self.sheet("Bank reconciliation", [24, 13, 15, 15, 15, 15, 13, 13, 20], "CDEFG", wide)
        self.budget = self.sheet("Budget", [8, 28, *[10] * 12, 12, 12, 12], "CDEFGHIJKLMNOPQ", wide)
        self.adjustments = self.sheet("Adjustments", [8, 13, 20, 54, 8, 28, 15, 14, 14, 12], "HI", wide)
        self.changes = self.sheet("Changes and reversals", [8, 13, 9, 13, 60, 14, 18, 13], "F", wide)
        self.proof = self.sheet("Proof", [66, 15, 15, 10], "BCD")

    def sheet(
        self, name: str, widths: list[float], amounts: str, landscape: bool = False, one_page: bool = False
    ) -> Sheet:
        copy = self.copies(name) if self.copies else None
        made = Sheet(
            self.book, name, widths, amounts=amounts, landscape=landscape, foot=self.seal.in_words, one_page=one_page,
            copy=copy,
        )  # fmt: skip
        self.sheets.append(made)
        return made

    def _describe(self) -> None:
        """What a check of the file needs to make it again."""
        properties = self.book.properties
        properties.title = f"{self.club}: {self.year}"
        properties.creator = "Fletchbook"
        properties.subject = self.stamp.made_by
        contents = str(Contents.of(sheet.digest for sheet in self.sheets))
        properties.keywords = self.stamp.keywords(f"{MARK} {self.year.last_day.year}", contents)

    @cached_property
    def accounts(self) -> list[Account]:
        """Those with a figure this year or last, and those whose lines of the year come to nil."""
        used = {account.pk for account in self.figures.used(self.figures.accounts, self.last_year)}
        return [each for each in self.figures.accounts if each.pk in used or each.pk in self.turnover]

    def note(self, text: str) -> str:
        state = "closed" if self.seal.is_final else "not closed yet"
        return Named(f"{self.club}, {self.year} ({state}). {text}", self.club)

    def in_journal(self, column: str, code_cell: str, fund_cell: str = "") -> str:
        """The sum of a journal column for an account (and fund), closing entries left out."""
        first, last = self.at.journal_first, self.at.journal_last
        parts = [
            self.journal.range(column, first, last),
            self.journal.range("D", first, last),
            code_cell,
            self.journal.range("J", first, last),
            f'"<>{CLOSING}"',
        ]
        if fund_cell:
            parts += [self.journal.range("F", first, last), fund_cell]
        return f"SUMIFS({','.join(parts)})"

    def last_years(self, account: Account) -> Decimal:
        return self.last_year.closing(account) if self.last_year else ZERO

    def balance_of(self, *accounts: Account) -> str:
        """What the trial balance shows for these accounts together, debit positive; nil for one it does not have."""
        rows = [self.at.trial_rows[account.pk] for account in accounts if account.pk in self.at.trial_rows]
        return "+".join(f"{self.trial.at('G', row)}-{self.trial.at('H', row)}" for row in rows) or "0"

    def of_role(self, role: Role) -> str:
        account = self.figures.by_role.get(role)
        return self.balance_of(account) if account else "0"

    def total_column(self) -> str:
        """The letter of the column of all funds on the sheets that have a column a fund."""
        return chr(ord("C") + len(self.figures.funds))


def write_workbook(
    year: FinancialYear, file: BinaryIO, *, made_on: date, made_by: str, copies: Copies | None = None
) -> None:
    """Write the treasurer's workbook of `year` to `file`. `copies` gets the rows too, formulas by their value."""
    write_stamped(year, file, Stamp(made_on, seal_of(year), made_by), copies)


def write_stamped(year: FinancialYear, file: BinaryIO, stamp: Stamp, copies: Copies | None = None) -> None:
    """The same with the stamp of an earlier making."""
    TreasurersWorkbook(year, stamp, copies).write(file)


def workbook_bytes(year: FinancialYear, *, made_on: date, made_by: str) -> bytes:
    file = io.BytesIO()
    write_workbook(year, file, made_on=made_on, made_by=made_by)
    return file.getvalue()
