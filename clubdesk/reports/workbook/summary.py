"""The summary: the year in a few figures, whether every proof is true, and what the workbook was made from."""

from clubdesk.clock import long_day
from clubdesk.ledger.models import Kind, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.income import IncomeAt
from clubdesk.reports.workbook.parties import PartiesAt
from clubdesk.reports.workbook.position import PositionAt
from clubdesk.reports.workbook.proof import ProofAt
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term

LOOK = Look("Summary", (Heading("", 46), Heading("This year", 18, "amount"), Heading("Last year", 18, "amount")))


OWED = (
    ("Fees owed", Role.FEES_OWED, Kind.ASSET),
    ("Families in credit", Role.FEES_OWED, Kind.LIABILITY),
    ("Owed for vouchers", Role.VOUCHERS_OWED, Kind.ASSET),
)


def write(
    context: Context, sheet: Sheet, *, trial: TrialAt, income: IncomeAt, position: PositionAt, proof: ProofAt,
    parties: PartiesAt,
) -> None:  # fmt: skip
    now, fund = context.figures, context.entry_fund.pk
    sheet.top(f"{context.year}: the treasurer's workbook", title=Named(context.club))
    sheet.line(["Surplus (deficit)", income.surplus.formula, _of(income.surplus_last_year)])
    last = context.last_year
    earlier = sum((last.closing(each) for each in now.money), ZERO) if last else None
    sheet.line(["Money in hand: bank, cash box and card takings", trial.balance(*now.money).formula, earlier])
    for label, role, among in OWED:
        for account in context.of_roles(role):
            sign = 1 if among == Kind.ASSET else -1
            stands = parties.at_the_end(account, among)
            earlier = sign * last.stands(account, among) + ZERO if last else None
            sheet.line([label, (stands if sign > 0 else -stands).formula, earlier])
    sheet.line(["Entry fund", position.funds[fund].formula, _of(position.funds_last_year[fund])])
    sheet.line(["Net assets", position.net_assets.formula, _of(position.net_assets_last_year)])
    sheet.blank()
    sheet.total(["Every check on the sheet Proof is TRUE", proof.all_true, None])
    sheet.blank()
    seal = context.stamp.seal
    if seal.number:
        state = "Sealed; the last entry" if seal.is_final else "Not closed; the last entry of the year"
        sheet.line([f"{state} is {seal.number}. Its digest:", seal.short, None])
    sheet.line([f"Made on {long_day(context.stamp.made_on)} by {context.stamp.made_by}.", None, None])
    sheet.line(["Figures follow from the club's own records. What the club must publish, and who audits", None, None])
    sheet.line(["it, is for the law of its place, its rules and a licensed accountant or auditor to say.", None, None])


def _of(term: Term | None) -> Formula | None:
    return term.formula if term else None
