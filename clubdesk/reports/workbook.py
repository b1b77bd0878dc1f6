"""The treasurer's workbook: a financial year as an auditor can follow it, its totals live, its proofs formulas."""

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, BinaryIO

from openpyxl import Workbook

from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Kind, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.selectors import Figures
from clubdesk.reports.sheets import Formula, Sheet, Verdict

ORDINARY, CLOSING = "", "closing"
JOURNAL_KINDS = ("number", "date", "text", "text", "text", "text", "text", "amount", "amount", "text")


@dataclass
class Places:
    """Where the sheets put what other sheets refer to."""

    journal_first: int = 0
    journal_last: int = 0
    trial_first: int = 0
    trial_last: int = 0
    trial_total: int = 0
    surplus: int = 0
    net_assets: int = 0
    funds_total: int = 0
    fund_rows: dict[str, int] = field(default_factory=dict)
    owing_total: int = 0
    fund_closing: int = 0
    fund_opening: int = 0
    fund_promised: int = 0
    proof_first: int = 0
    proof_last: int = 0


class TreasurersWorkbook:
    """Writes the sheets of one year; the order of writing is the order of the tabs."""

    def __init__(self, year: FinancialYear, made_on: date, made_by: str):
        self.year = year
        self.made_on = made_on
        self.made_by = made_by
        self.figures = Figures.of_year(year)
        previous = selectors.previous_year(year)
        self.last_year = Figures.of_year(previous) if previous else None
        self.club = ledger.club_name()
        self.at = Places()
        self.book = Workbook(write_only=True)
        self.entry_fund = next(fund for fund in self.figures.funds if fund.pk == FundRole.ENTRY)

    def write(self, file: BinaryIO) -> None:
        """Write the workbook to `file`. Rows of the journal are streamed, never held together in memory."""
        funds = self.figures.funds
        money = [14] * (len(funds) + 2)
        self.summary = Sheet(self.book, "Summary", [46, 18, 18], amounts="BC")
        self.trial = Sheet(self.book, "Trial balance", [8, 32, 11, *[15] * 7], amounts="DEFGHIJ", landscape=True)
        self.income = Sheet(self.book, "Income and expenditure", [8, 34, *money], amounts="CDEFGH")
        self.position = Sheet(self.book, "Assets and liabilities", [8, 38, 18, 18], amounts="CD")
        self.journal = Sheet(self.book, "Journal", [8, 13, 62, 8, 28, 15, 32, 14, 14, 11], amounts="HI", landscape=True)
        self.owing = Sheet(self.book, "Members owing", [44, 16, 16], amounts="BC")
        self.fund = Sheet(self.book, "Entry fund", [8, 13, 64, 14, 14, 14], amounts="DEF", landscape=True)
        self.proof = Sheet(self.book, "Proof", [62, 15, 15, 10], amounts="BCD")
        self.book.properties.title = f"{self.club}: {self.year}"
        self.book.properties.creator = "Fletchbook"
        self.write_journal()
        self.write_trial_balance()
        self.write_income()
        self.write_position()
        self.write_owing()
        self.write_entry_fund()
        self.write_proof()
        self.write_summary()
        self.book.save(file)

    def note(self, text: str) -> str:
        state = "closed" if self.year.is_closed else "not closed yet"
        return f"{self.club}, {self.year} ({state}). {text}"

    def write_journal(self) -> None:
        header = ["Entry", "Date", "Narration", "Code", "Account", "Fund", "Who", "Debit", "Credit", "Kind"]
        self.at.journal_first = self.journal.top("Journal", self.note("Every line of every entry."), header) + 1
        self.at.journal_last = self.journal.stream(self.journal_rows(), JOURNAL_KINDS)

    def journal_rows(self) -> Iterator[tuple[Any, ...]]:
        for number, on, text, code, name, fund, who, amount, closing, reverses in selectors.lines_of_year(
            self.year
        ).iterator(chunk_size=2000):
            debit, credit = (amount, None) if amount > 0 else (None, -amount)
            kind = CLOSING if closing else f"undoes {reverses}" if reverses else None
            yield number, on, text, code, name, fund, who, debit, credit, kind

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

    def write_trial_balance(self) -> None:
        header = ["Code", "Account", "Kind", "Opening", "Debits", "Credits", "Debit", "Credit", "Last year", "Ledger"]
        note = "Debit positive; closing entries left out. The column Ledger is what the ledger itself says."
        sheet = self.trial
        first = sheet.top("Trial balance", self.note(note), header) + 1
        accounts = self.figures.used(self.figures.accounts, self.last_year)
        for account in accounts:
            row = sheet.row + 1
            moved = f"D{row}+E{row}-F{row}"
            sheet.line(
                [
                    account.code,
                    account.name,
                    account.get_kind_display(),
                    self.figures.figure(self.figures.opening, account),
                    Formula(f"={self.in_journal('H', f'A{row}')}"),
                    Formula(f"={self.in_journal('I', f'A{row}')}"),
                    Formula(f"=MAX(ROUND({moved},2),0)"),
                    Formula(f"=MAX(-ROUND({moved},2),0)"),
                    self.last_years(account),
                    self.figures.closing(account),
                ]
            )
        total = sheet.total(["", "Total", "", *sheet.sums(first, "DEFGHIJ")])
        last = total - 1
        self.at.trial_first, self.at.trial_last, self.at.trial_total = first, last, total

    def last_years(self, account: Account) -> Decimal:
        return self.last_year.closing(account) if self.last_year else ZERO

    def write_income(self) -> None:
        sheet, funds = self.income, self.figures.funds
        header = ["Code", "Account", *[fund.name for fund in funds], "Total", "Last year"]
        header_row = sheet.top("Income and expenditure", self.note("Accrual basis, by fund."), header)
        letters = [chr(ord("C") + index) for index in range(len(funds) + 2)]
        totals = []
        for kind, title, sign in ((Kind.INCOME, "Income", 1), (Kind.EXPENSE, "Expenditure", -1)):
            sheet.heading(title)
            first = sheet.row + 1
            for account in self.figures.used(self.figures.of_kind(kind), self.last_year):
                sheet.line(self.income_line(account, sheet.row + 1, header_row, letters, sign))
            totals.append(sheet.total(["", f"Total {title.lower()}", *sheet.sums(first, letters)]))
            sheet.blank()
        came, went = totals
        self.at.surplus = sheet.total(["", "Surplus (deficit)", *[Formula(f"={c}{came}-{c}{went}") for c in letters]])

    def income_line(self, account: Account, row: int, header_row: int, letters: list[str], sign: int) -> list[Any]:
        plus, minus = ("I", "H") if sign > 0 else ("H", "I")
        funds = [
            Formula(
                f"={self.in_journal(plus, f'$A{row}', f'{c}${header_row}')}"
                f"-{self.in_journal(minus, f'$A{row}', f'{c}${header_row}')}"
            )
            for c in letters[:-2]
        ]
        last = -sign * self.last_year.figure(self.last_year.movement, account) if self.last_year else ZERO
        return [account.code, account.name, *funds, Formula(f"=SUM({letters[0]}{row}:{letters[-3]}{row})"), last]

    def write_position(self) -> None:
        sheet = self.position
        header = ["Code", "Account", f"{self.year.last_day:%-d %b %Y}", "Last year"]
        sheet.top("Assets and liabilities", self.note("What the club holds and owes at the year's end."), header)
        totals = []
        for kind, title, sign in ((Kind.ASSET, "Assets", 1), (Kind.LIABILITY, "Liabilities", -1)):
            sheet.heading(title)
            first = sheet.row + 1
            for account in self.figures.used(self.figures.of_kind(kind), self.last_year):
                row = sheet.row + 1
                sheet.line([account.code, account.name, self.from_trial(row, sign), sign * self.last_years(account)])
            totals.append(sheet.total(["", f"Total {title.lower()}", *sheet.sums(first, "CD")]))
            sheet.blank()
        assets, liabilities = totals
        net = ["", "Net assets", *[Formula(f"={c}{assets}-{c}{liabilities}") for c in "CD"]]
        self.at.net_assets = sheet.total(net)
        sheet.blank()
        self.write_funds(sheet)

    def from_trial(self, row: int, sign: int) -> Formula:
        first, last = self.at.trial_first, self.at.trial_last
        codes = self.trial.range("A", first, last)
        debit = f"SUMIFS({self.trial.range('G', first, last)},{codes},$A{row})"
        credit = f"SUMIFS({self.trial.range('H', first, last)},{codes},$A{row})"
        return Formula(f"={debit}-{credit}" if sign > 0 else f"={credit}-{debit}")

    def write_funds(self, sheet: Sheet) -> None:
        """Net assets again, as the funds they are kept in: what each began with and this year's surplus."""
        sheet.heading("Kept in these funds")
        first = sheet.row + 1
        for index, fund in enumerate(self.figures.funds):
            capital = self.capital_of(fund)
            surplus = self.income.at(chr(ord("C") + index), self.at.surplus)
            last = self.last_year.net_assets(fund) if self.last_year else ZERO
            self.at.fund_rows[fund.pk] = sheet.line(["", fund.name, Formula(f"={capital}+{surplus}"), last])
        self.at.funds_total = sheet.total(["", "Total of the funds", *sheet.sums(first, "CD")])

    def capital_of(self, fund: Fund) -> Decimal:
        """What the fund began the year with, and what was brought into it beside income, such as a first opening."""
        return -sum((self.figures.closing(account, fund) for account in self.figures.of_kind(Kind.EQUITY)), ZERO)

    def opening_of(self, fund: Fund) -> Decimal:
        kinds = self.figures.of_kind(Kind.EQUITY)
        return -sum((self.figures.figure(self.figures.opening, account, fund) for account in kinds), ZERO)

    def write_owing(self) -> None:
        sheet = self.owing
        first = (
            sheet.top("Members owing", self.note("Households at the year's end."), ["Household", "Owes", "In credit"])
            + 1
        )
        for party, figure in selectors.households_owing(self.year.last_day):
            sheet.line([party.name, max(figure, ZERO) or None, max(-figure, ZERO) or None])
        self.at.owing_total = sheet.total(["Total", *sheet.sums(first, "BC")])

    def write_entry_fund(self) -> None:
        sheet = self.fund
        header = ["Entry", "Date", "What", "In", "Out", "Balance"]
        sheet.top("Entry fund", self.note("Containers in, entry fees refunded."), header)
        opening = self.opening_of(self.entry_fund)
        self.at.fund_opening = sheet.line([None, self.year.first_day, "Opening balance", None, None, opening])
        for move in selectors.fund_moves(self.year, FundRole.ENTRY):
            row = sheet.row + 1
            came, went = move.came_in or None, move.went_out or None
            balance = Formula(f"=F{row - 1}+N(D{row})-N(E{row})")
            sheet.line([move.number, move.on, move.narration, came, went, balance])
        first, last = self.at.fund_opening, sheet.row
        sums = sheet.sums(first, "DE")
        self.at.fund_closing = sheet.total(
            ["", "", "Closing balance", *sums, Formula(f"=F{first}+D{last + 1}-E{last + 1}")]
        )
        sheet.blank()
        payable = next((each for each in self.figures.accounts if each.role == Role.REFUNDS_PAYABLE), None)
        promised = -self.figures.closing(payable, self.entry_fund) if payable else ZERO
        self.at.fund_promised = sheet.line(["", "", "Of which approved and not yet paid out", None, None, promised])

    def write_proof(self) -> None:
        sheet, at = self.proof, self.at
        note = "Each line compares two figures of this workbook: TRUE, or the difference in cents."
        at.proof_first = sheet.top("Proof", self.note(note), ["What is proved", "One side", "Other side", "Result"]) + 1
        trial, journal = self.trial, self.journal
        lines = (at.journal_first, at.journal_last)
        fees = self.of_role(Role.FEES_OWED)
        capital = sum((self.capital_of(fund) for fund in self.figures.funds), ZERO)
        self.prove("Trial balance: debits equal credits", trial.at("G", at.trial_total), trial.at("H", at.trial_total))
        self.prove(
            "Journal: debits equal credits", f"SUM({journal.range('H', *lines)})", f"SUM({journal.range('I', *lines)})"
        )
        self.prove("Opening balances sum to nil", trial.at("D", at.trial_total), "0")
        self.prove(
            "Journal and openings give what the ledger itself says, account by account",
            self.sum_of_differences(),
            "0",
        )
        self.prove(
            "Every line of the ledger is in the journal", f"COUNT({journal.range('A', *lines)})/100", self.lines()
        )
        self.prove(
            "Income less expenditure is what net assets grew by",
            self.income.at(self.total_column(), at.surplus),
            f"{self.position.at('C', at.net_assets)}-({capital})",
        )
        self.prove(
            "Net assets equal the funds they are kept in",
            self.position.at("C", at.net_assets),
            self.position.at("C", at.funds_total),
        )
        self.prove(
            "Members owing less credits equal the account Fees owed",
            f"{self.owing.at('B', at.owing_total)}-{self.owing.at('C', at.owing_total)}",
            fees,
        )
        self.prove(
            "Entry fund by its movements equals the entry fund among the funds",
            self.fund.at("F", at.fund_closing),
            self.position.at("C", at.fund_rows[self.entry_fund.pk]),
        )
        if self.last_year:
            last = self.position.at("D", at.net_assets)
            self.prove("Last year's net assets are this year's opening", last, str(self.opening_net_assets()))
        at.proof_last = sheet.row

    def prove(self, what: str, one: str, other: str) -> None:
        row = self.proof.row + 1
        difference = f"ROUND((B{row}-C{row})*100,0)"
        self.proof.line(
            [what, Formula(f"={one}"), Formula(f"={other}"), Verdict(f"=IF({difference}=0,TRUE,{difference})")]
        )

    def of_role(self, role: Role) -> str:
        """What the trial balance shows for the account with `role`, debit positive."""
        first, last = self.at.trial_first, self.at.trial_last
        code = next((account.code for account in self.figures.accounts if account.role == role), "")
        codes = self.trial.range("A", first, last)
        debit, credit = self.trial.range("G", first, last), self.trial.range("H", first, last)
        return f'SUMIFS({debit},{codes},"{code}")-SUMIFS({credit},{codes},"{code}")'

    def sum_of_differences(self) -> str:
        first, last = self.at.trial_first, self.at.trial_last
        column = {c: self.trial.range(c, first, last) for c in "GHJ"}
        return f"SUMPRODUCT(ABS(ROUND({column['G']}-{column['H']}-{column['J']},2)))"

    def lines(self) -> str:
        """How many lines the ledger has in the year; a hundredth each, so that a missing one reads as a cent."""
        return f"{selectors.lines_of_year(self.year).count()}/100"

    def opening_net_assets(self) -> Decimal:
        kinds = self.figures.of_kind(Kind.ASSET, Kind.LIABILITY)
        return sum((self.figures.figure(self.figures.opening, account) for account in kinds), ZERO)

    def total_column(self) -> str:
        return chr(ord("C") + len(self.figures.funds))

    def write_summary(self) -> None:
        sheet, at = self.summary, self.at
        sheet.top(f"{self.club}", f"{self.year}: the treasurer's workbook", ["", "This year", "Last year"])
        income = self.income
        column, last_column = self.total_column(), chr(ord(self.total_column()) + 1)
        sheet.line(
            [
                "Surplus (deficit)",
                Formula(f"={income.at(column, at.surplus)}"),
                Formula(f"={income.at(last_column, at.surplus)}"),
            ]
        )
        for label, roles in (
            ("Money in hand: bank, till and card takings", (Role.BANK, Role.TILL, Role.CARD_TAKINGS)),
            ("Owed by families", (Role.FEES_OWED,)),
            ("Owed for vouchers", (Role.VOUCHERS_OWED,)),
        ):
            last = sum((self.last_years(each) for each in self.figures.accounts if each.role in roles), ZERO)
            sheet.line([label, Formula("=" + "+".join(self.of_role(role) for role in roles)), last])
        fund_row = at.fund_rows[self.entry_fund.pk]
        for label, row in (("Entry fund", fund_row), ("Net assets", at.net_assets)):
            position = self.position
            sheet.line([label, Formula(f"={position.at('C', row)}"), Formula(f"={position.at('D', row)}")])
        sheet.blank()
        results = self.proof.range("D", at.proof_first, at.proof_last)
        proofs = at.proof_last - at.proof_first + 1
        sheet.total(["Every check on the sheet Proof is TRUE", Verdict(f"=COUNTIF({results},TRUE)={proofs}"), None])
        sheet.blank()
        last_entry = selectors.last_entry()
        if last_entry:
            sheet.line([f"Last entry in the book: {last_entry.number}. Its digest:", last_entry.digest[:16], None])
        sheet.line([f"Made on {self.made_on:%-d %B %Y} by {self.made_by}.", None, None])
        sheet.line(
            ["Figures follow from the club's own records. What the club must publish, and who audits", None, None]
        )
        sheet.line(
            ["it, is for the law of its place, its rules and a licensed accountant or auditor to say.", None, None]
        )


def write_workbook(year: FinancialYear, file: BinaryIO, *, made_on: date, made_by: str) -> None:
    """Write the treasurer's workbook of `year` to `file`."""
    TreasurersWorkbook(year, made_on, made_by).write(file)


def workbook_bytes(year: FinancialYear, *, made_on: date, made_by: str) -> bytes:
    file = io.BytesIO()
    write_workbook(year, file, made_on=made_on, made_by=made_by)
    return file.getvalue()
