"""The proofs: each compares two figures of the workbook by a formula."""

from collections.abc import Iterator
from dataclasses import dataclass
from operator import itemgetter

from clubdesk.ledger.models import Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.workbook.bridge import BridgeAt
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.funds import FundsAt
from clubdesk.reports.workbook.income import IncomeAt
from clubdesk.reports.workbook.journal import JournalAt
from clubdesk.reports.workbook.ledger import LedgerAt
from clubdesk.reports.workbook.moves import MoneyAt
from clubdesk.reports.workbook.parties import PartiesAt
from clubdesk.reports.workbook.position import PositionAt
from clubdesk.reports.workbook.receipts import ReceiptsAt
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Count, Heading, Look, Proved, Rows, Sheet, Term, Verdict

LOOK = Look(
    "Proof",
    (
        Heading("What is proved", 66), Heading("One side", 15, "formula"), Heading("Other side", 15, "formula"),
        Heading("Result", 10, "formula"),
    ),
)  # fmt: skip
NOTHING = Term.of(ZERO)
OF_MONEY = 25
"""Where the proofs of money stand among those of the rooms."""


@dataclass(frozen=True)
class ProofAt:
    """The rows of the proofs, and whether the book says that all of them are true."""

    rows: Rows
    is_proven: bool

    @property
    def all_true(self) -> Verdict:
        count = self.rows.last - self.rows.first + 1
        return Verdict(f"=COUNTIF({self.rows.column('D')},TRUE)={count}", self.is_proven)


def write(
    context: Context, sheet: Sheet, *, journal: JournalAt, ledger: LedgerAt, trial: TrialAt, income: IncomeAt,
    position: PositionAt, money: MoneyAt, receipts: ReceiptsAt, bridge: BridgeAt, parties: PartiesAt, funds: FundsAt,
    by_month: Term, of_rooms: list[tuple[int, Proved]],
) -> ProofAt:  # fmt: skip
    note = "Each line compares two figures of this workbook: TRUE, or the difference in cents."
    first = sheet.top(context.note(note)) + 1
    began_with = trial.opened(*context.figures.of_kind(Kind.ASSET, Kind.LIABILITY))
    of_money = [(OF_MONEY, proved) for proved in _of_money(context, trial, money, receipts, bridge, by_month)]
    proofs = [
        *_of_the_ledger(journal, ledger, trial),
        *_of_net_assets(began_with, income, position, funds),
        *parties.proofs(trial),
        *(proved for _, proved in sorted([*of_rooms, *of_money], key=itemgetter(0))),
        *_of_last_year(began_with, position),
    ]
    for proof in proofs:
        row = sheet.row + 1
        gap = f"ROUND((B{row}-C{row})*100,0)"
        result = Verdict(f"=IF({gap}=0,TRUE,{gap})", proof.result)
        one, other = (proof.of(side.formula, side.value) for side in (proof.one, proof.other))
        sheet.line([proof.what, one, other, result])
    return ProofAt(sheet.rows(first), all(proof.result is True for proof in proofs))


def _of_the_ledger(journal: JournalAt, ledger: LedgerAt, trial: TrialAt) -> Iterator[Proved]:
    yield Proved("Trial balance: debits equal credits", trial.debit, trial.credit)
    yield Proved("Journal: debits equal credits", journal.debits, journal.credits)
    yield Proved("Opening balances sum to 0.00", trial.opening, NOTHING)
    yield Proved(
        "Journal and openings give what the ledger itself says, account by account", trial.from_ledger, NOTHING
    )
    ends = "The ledger by account ends where the trial balance does, account by account"
    yield Proved(ends, trial.from_accounts, NOTHING)
    yield Proved("Every line of the ledger is in the journal, by their number", journal.count, ledger.count, Count)


def _of_net_assets(began_with: Term, income: IncomeAt, position: PositionAt, funds: FundsAt) -> Iterator[Proved]:
    yield Proved("What the funds began with is what the accounts opened with", funds.start, began_with)
    added, grew = income.surplus + funds.corrections, position.net_assets - began_with
    yield Proved("Income less expenditure, and corrections, are what net assets grew by", added, grew)
    yield Proved("Net assets equal the funds they are kept in", position.net_assets, position.all_funds)


def _of_money(
    context: Context, trial: TrialAt, money: MoneyAt, receipts: ReceiptsAt, bridge: BridgeAt, by_month: Term
) -> Iterator[Proved]:
    in_hand, moved = trial.balance(*context.figures.money), trial.moved(*context.figures.money)
    yield Proved("Money by line, row by row, comes to what the accounts of money moved", money.whole, moved)
    yield Proved("Receipts less payments come to the rows of money", receipts.net, money.whole)
    yield Proved("Money in hand by receipts and payments equals the accounts of money", receipts.money_after, in_hand)
    yield Proved("Money of the committee's last month is the money in hand", by_month, in_hand)
    yield Proved("The bridge from cash to accrual closes to 0.00", bridge.difference, NOTHING)
    yield Proved("The bridge closes to 0.00 line by line", bridge.gaps, NOTHING)
    yield Proved("The bridge by line comes to what each account moved", bridge.columns, NOTHING)


def _of_last_year(began_with: Term, position: PositionAt) -> Iterator[Proved]:
    if position.net_assets_last_year:
        yield Proved("Last year's net assets are this year's opening", position.net_assets_last_year, began_with)
