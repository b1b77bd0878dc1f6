"""The trial balance: each account's turnover by the journal, beside what the ledger says and where it ends."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from clubdesk.ledger.models import Account
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.journal import JournalAt
from clubdesk.reports.workbook.ledger import LedgerAt
from clubdesk.sheets import Formula, Heading, Jump, Look, Named, Rows, Sheet, Term, together

LOOK = Look(
    "Trial balance",
    (
        Heading("Code", 8), Heading("Account", 32, "name"), Heading("Kind", 11),
        Heading("Opening", 15, "amount"), Heading("Debits", 15, "formula"), Heading("Credits", 15, "formula"),
        Heading("Debit", 15, "formula"), Heading("Credit", 15, "formula"), Heading("Last year", 15, "amount"),
        Heading("Ledger", 15, "amount"), Heading("By hand", 15, "amount"), Heading("By account", 15, "formula"),
        Heading(""),
    ),
    landscape=True,
)  # fmt: skip


@dataclass(frozen=True)
class TrialAt:
    """Each account's opening, debit and credit by its id, and the totals of these columns.

    `from_ledger` and `from_accounts` are how far the balances are from those columns, added up account by account.
    """

    openings: Mapping[int, Term]
    debits: Mapping[int, Term]
    credits: Mapping[int, Term]
    opening: Term
    debit: Term
    credit: Term
    from_ledger: Term
    from_accounts: Term

    def opened(self, *accounts: Account) -> Term:
        """What these accounts stood at together when the year began, debit positive."""
        return together(self.openings[each.pk] for each in accounts if each.pk in self.openings)

    def moved(self, *accounts: Account) -> Term:
        """What these accounts moved by in the year, debit positive; zero where none stands here."""
        return self.balance(*accounts) - self.opened(*accounts)

    def balance(self, *accounts: Account) -> Term:
        """What these accounts come to together, debit positive; zero for one that does not stand here."""
        return together(self.debits[each.pk] - self.credits[each.pk] for each in accounts if each.pk in self.debits)


def write(context: Context, sheet: Sheet, journal: JournalAt, ledger: LedgerAt) -> TrialAt:
    note = (
        "Debit positive; closing entries left out. Ledger is what the ledger itself says; by hand what journals moved."
    )
    first = sheet.top(context.note(note)) + 1
    openings, debits, credits = dict[int, Term](), dict[int, Term](), dict[int, Term]()
    from_ledger = from_accounts = ZERO
    for account in context.accounts:
        _write_account(context, sheet, account, journal, ledger)
        openings[account.pk], debits[account.pk], credits[account.pk] = map(sheet.term, "DGH")
        balance = debits[account.pk].value - credits[account.pk].value
        from_ledger += abs(balance - context.figures.closing(account))
        from_accounts += abs(balance - ledger.closings[account.pk].value)
    sums = sheet.sums(first, "DEFGHIJKL")
    rows = sheet.rows(first)
    sheet.total(["", "Total", "", *sums])
    opening, debit, credit = map(sheet.term, "DGH")
    ledgers, of_accounts = _gaps(rows, "J", from_ledger), _gaps(rows, "L", from_accounts)
    return TrialAt(openings, debits, credits, opening, debit, credit, ledgers, of_accounts)


def _gaps(rows: Rows, column: str, known: Decimal) -> Term:
    columns = [rows.column(letter) for letter in ("G", "H", column)]
    return Term(f"SUMPRODUCT(ABS(ROUND({'-'.join(columns)},2)))", known)


def _write_account(context: Context, sheet: Sheet, account: Account, journal: JournalAt, ledger: LedgerAt) -> None:
    row, now = sheet.row + 1, context.figures
    debits, credits = context.turnover.get(account.pk, (ZERO, ZERO))
    opening, closing = now.figure(now.opening, account), now.closing(account)
    balance, reached = f"D{row}+E{row}-F{row}", opening + debits - credits
    sheet.line(
        [
            account.code,
            Named(account.name),
            account.get_kind_display(),
            opening,
            Formula(f"={journal.debited(f'A{row}')}", debits),
            Formula(f"={journal.credited(f'A{row}')}", credits),
            Formula(f"=MAX(ROUND({balance},2),0)", max(reached, ZERO)),
            Formula(f"=MAX(-ROUND({balance},2),0)", max(-reached, ZERO)),
            context.last_years(account),
            closing,
            now.by_hand.get(account.pk, ZERO),
            ledger.closings[account.pk].formula,
            Jump(ledger.headings[account.pk], "open"),
        ]
    )
