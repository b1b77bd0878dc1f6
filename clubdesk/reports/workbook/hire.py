"""Hire and visitors' fees by the day they were earned, by the ledger, with how many people were there."""

from collections import defaultdict
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, QuerySet

from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import sum_of
from clubdesk.rangeday.models import SignOn
from clubdesk.rangeday.selectors import STANDS
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Formula, Heading, Look, Named, Proved, Sheet, letters

LOOK = Look(
    "Hire takings", (Heading("Date", 13, "date"), Heading("People", 10, "number"), *[Heading("", 15, "amount")] * 3)
)


def write(context: Context, sheet: Sheet, trial: TrialAt) -> Proved:
    accounts, now = context.of_roles(Role.HIRE, Role.VISITORS), context.figures
    header = ["Date", "People", *(Named(account.name) for account in accounts), "Total"]
    first = sheet.top(context.note("By the day, as the ledger has it."), header) + 1
    *columns, total = letters(len(accounts) + 1)
    earned: dict[date, dict[int, Decimal]] = defaultdict(dict)
    rows: QuerySet[Any, Any] = Posting.objects.filter(entry__year=context.year, entry__is_closing=False)
    rows = rows.filter(account__in=accounts).order_by()
    for day, account, figure in rows.values_list("entry__date", "account").annotate(figure=sum_of("amount")):
        earned[day][account] = -figure
    came = SignOn.objects.filter(STANDS, range_day__date__range=(now.first, now.last)).order_by()
    people = dict(came.values_list("range_day__date").annotate(figure=Count("pk")))
    for day in sorted(earned.keys() | people.keys()):
        figures, row = [earned[day].get(account.pk, ZERO) for account in accounts], sheet.row + 1
        together = Formula(f"=SUM({columns[0]}{row}:{columns[-1]}{row})", sum(figures, ZERO))
        sheet.line([day, people.get(day, 0), *figures, together])
    sheet.total(["Total", None, *sheet.sums(first, [*columns, total])])
    return Proved("Hire takings day by day equal their income", sheet.term(total), -trial.balance(*accounts))
