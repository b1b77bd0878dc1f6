"""What the workbook shows of the entry fund: containers in, entry fees refunded."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from clubdesk.clock import day_before
from clubdesk.ledger.models import YEARLY_KINDS, FinancialYear, FundRole, Kind, Posting, Role
from clubdesk.ledger.selectors import ZERO, balances, held_in
from clubdesk.money import figure_of
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Formula, Heading, Look, Proved, Sheet

FUND = Look(
    "Entry fund",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("What", 64),
        Heading("In", 14, "amount"), Heading("Out", 14, "amount"), Heading("Balance", 14, "formula"),
    ),
    landscape=True,
)  # fmt: skip
KINDS = (*YEARLY_KINDS, Kind.EQUITY)
"""What a fund grows by: what was brought straight into it, such as a first opening balance, has come in too."""


def write_fund(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    sheet.top(beside.note("Containers in, entry fees refunded."))
    balance = _before(year)
    first = sheet.line([None, year.first_day, "Opening balance", None, None, balance])
    for number, on, narration, amount in fund_moves(year):
        row = sheet.row + 1
        balance += amount
        running = Formula(f"=F{row - 1}+N(D{row})-N(E{row})", balance)
        sheet.line([number, on, narration, max(amount, ZERO) or None, max(-amount, ZERO) or None, running])
    sums, last = sheet.sums(first, "DE"), sheet.row
    closing = Formula(f"=F{first}+D{last + 1}-E{last + 1}", balance)
    sheet.total(["", "", "Closing balance", *sums, closing])
    reached = sheet.term("F")
    sheet.blank()
    promised = -held_in(Role.REFUNDS_PAYABLE, FundRole.ENTRY, year.last_day)
    sheet.line(["", "", "Of which approved and not yet paid out", None, None, promised])
    stands = beside.funds[FundRole.ENTRY]
    return Proved("Entry fund by its movements equals the entry fund among the funds", reached, stands)


def _before(year: FinancialYear) -> Decimal:
    """What the fund began the year with."""
    found = balances(day_before(year.first_day), ["fund"], fund=FundRole.ENTRY, account__kind__in=KINDS).after_closing
    return -sum(found.values(), ZERO)


def fund_moves(year: FinancialYear) -> Iterator[tuple[int, date, str, Decimal]]:
    """By entry what came into the fund in the year, or went out of it (below nil), closing entries left out."""
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        entry__year=year, entry__is_closing=False, fund=FundRole.ENTRY, account__kind__in=KINDS
    )
    rows = rows.order_by("entry__number", "pk")
    for number, on, text, amount in rows.values_list(
        "entry__number", "entry__date", "entry__narration", figure_of("amount")
    ):
        yield number, on, text, -amount


SHEETS = (SheetOf(FUND, write_fund, tab=20),)
