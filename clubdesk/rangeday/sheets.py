"""What the workbook shows of range days: hire and visitors' fees by the day, and how many people were there."""

from collections import defaultdict
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, QuerySet

from clubdesk.ledger.models import FinancialYear, Posting, Role
from clubdesk.ledger.selectors import ZERO, accounts_of
from clubdesk.money import sum_of
from clubdesk.rangeday.models import SignOn
from clubdesk.rangeday.selectors import STANDS
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Formula, Heading, Look, Named, Proved, Sheet, letters

HIRE = Look(
    "Hire takings", (Heading("Date", 13, "date"), Heading("People", 10, "number"), *[Heading("", 15, "amount")] * 3)
)
ROLES = (Role.HIRE, Role.VISITORS)


def write_hire(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    accounts = accounts_of(*ROLES)
    header = ["Date", "People", *(Named(account.name) for account in accounts), "Total"]
    first = sheet.top(beside.note("By the day, as the ledger has it."), header) + 1
    *columns, total = letters(len(accounts) + 1)
    earned, people = _earned(year), _people(year)
    for day in sorted(earned.keys() | people.keys()):
        figures, row = [earned[day].get(account.pk, ZERO) for account in accounts], sheet.row + 1
        together = Formula(f"=SUM({columns[0]}{row}:{columns[-1]}{row})", sum(figures, ZERO))
        sheet.line([day, people.get(day, 0), *figures, together])
    sheet.total(["Total", None, *sheet.sums(first, [*columns, total])])
    return Proved("Hire takings day by day equal their income", sheet.term(total), -beside.balance(*ROLES))


def _earned(year: FinancialYear) -> dict[date, dict[int, Decimal]]:
    """What each day earned by the ledger, by the account's id."""
    found: dict[date, dict[int, Decimal]] = defaultdict(dict)
    rows: QuerySet[Any, Any] = Posting.objects.filter(entry__year=year, entry__is_closing=False)
    rows = rows.filter(account__role__in=ROLES).order_by().values_list("entry__date", "account")
    for day, account, figure in rows.annotate(figure=sum_of("amount")):
        found[day][account] = -figure
    return found


def _people(year: FinancialYear) -> dict[date, int]:
    came = SignOn.objects.filter(STANDS, range_day__date__range=(year.first_day, year.last_day)).order_by()
    return dict(came.values_list("range_day__date").annotate(figure=Count("pk")))


SHEETS = (SheetOf(HIRE, write_hire, tab=40, goes_on=True),)
