"""Members owing: each household with what it owes, or has in credit, at the year's end."""

from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Heading, Look, Named, Proved, Sheet

LOOK = Look(
    "Members owing",
    (Heading("Household", 44, "name"), Heading("Owes", 16, "amount"), Heading("In credit", 16, "amount")),
)


def write(context: Context, sheet: Sheet, trial: TrialAt) -> Proved:
    first = sheet.top(context.note("Households at the year's end.")) + 1
    for party, figure in selectors.households_owing(context.year.last_day):
        sheet.line([Named(party.name), max(figure, ZERO) or None, max(-figure, ZERO) or None])
    sheet.total(["Total", *sheet.sums(first, "BC")])
    owed = trial.balance(*context.of_roles(Role.FEES_OWED))
    return Proved("Members owing less credits equal the account Fees owed", sheet.term("B") - sheet.term("C"), owed)
