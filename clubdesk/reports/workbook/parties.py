"""Who owes the club and whom it owes, account by account: what the balance sheet never nets is added up from here."""

from dataclasses import dataclass

from clubdesk.ledger.models import Account, Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Heading, Look, Named, Proved, Rows, Sheet, Term

LOOK = Look(
    "Owed and owing",
    (
        Heading("Code", 8), Heading("Account", 28, "name"), Heading("Who", 36, "name"), Heading("Fund", 16, "name"),
        Heading("At the start", 15, "amount"), Heading("At the end", 15, "amount"),
    ),
)  # fmt: skip
SIGN = {Kind.ASSET: ">0", Kind.LIABILITY: "<0"}


@dataclass(frozen=True)
class PartiesAt:
    """The rows of whoever owes (above nil) or is owed (below)."""

    rows: Rows
    context: Context

    def at_the_end(self, account: Account, among: Kind) -> Term:
        """What of the account stands among the assets or among the liabilities on the last day, debit positive."""
        return Term(self._sum("F", account, among), self.context.figures.stands(account, among))

    def at_the_start(self, account: Account, among: Kind) -> Term:
        return Term(self._sum("E", account, among), self.context.figures.stood(account, among))

    def _sum(self, column: str, account: Account, among: Kind) -> str:
        figures = self.rows.column(column)
        return f'SUMIFS({figures},{self.rows.column("A")},"{account.code}",{figures},"{SIGN[among]}")'

    def proofs(self, trial: TrialAt) -> list[Proved]:
        """Account by account, who owes and who is owed come to what the trial balance says."""
        together = f"SUMIFS({self.rows.column('F')},{self.rows.column('A')},"
        return [
            Proved(
                f"{account.name}: person by person as by the ledger",
                Term(f'{together}"{account.code}")', closing),
                balance,
            )
            for account in self.context.accounts
            if account.needs_party
            for closing, balance in [(self.context.figures.closing(account), trial.balance(account))]
        ]


def write(context: Context, sheet: Sheet) -> PartiesAt:
    note = "Each balance of an account that names who owes: above zero it is owed to the club, below zero by the club."
    first = sheet.top(context.note(note)) + 1
    of_accounts = {account.pk: account for account in context.accounts}
    funds = {fund.pk: fund.name for fund in context.figures.funds}
    for (account, party, fund), start, end in selectors.by_party(context.figures):
        each = of_accounts[account]
        sheet.line([each.code, Named(each.name), Named(party), Named(funds[fund]), start + ZERO, end + ZERO])
    return PartiesAt(sheet.rows(first), context)
