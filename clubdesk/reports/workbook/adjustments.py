"""Every journal written by hand, line by line, and the equipment register."""

from collections.abc import Iterator
from typing import Any

from clubdesk.ledger.models import FinancialYear, Journal, JournalOrigin, Posting
from clubdesk.ledger.selectors import BY_HAND
from clubdesk.money import figure_of
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Formula, Heading, Look, Sheet
from clubdesk.yearend.register import Register

LOOK = Look(
    "Adjustments",
    (
        Heading("Entry", 8, "number"), Heading("Date", 13, "date"), Heading("Kind", 20),
        Heading("Narration", 54), Heading("Code", 8), Heading("Account", 28, "name"),
        Heading("Fund", 15, "name"), Heading("Debit", 14, "amount"), Heading("Credit", 14, "amount"),
        Heading("Undoes", 12),
    ),
    landscape=True,
)  # fmt: skip
REGISTER = ["", "Bought", "", "Equipment", "", "", "Cost", "Lost before", "Lost this year", "Worth"]


def write(context: Context, sheet: Sheet) -> None:
    year = context.year
    sheet.top(context.note("Every journal written by hand or from a file, and its reversals."))
    sheet.stream(_by_hand(year))
    sheet.blank()
    sheet.header(REGISTER)
    first = sheet.row + 1
    register = Register.at(year.last_day, as_posted_on=year.last_day, known_at=year.closed_at)
    for thing in register.things:
        this_year = register.posted_between(thing, year.first_day, year.last_day)
        before = register.posted_until(thing, year.last_day) - this_year
        row, cost = sheet.row + 1, thing.cost.amount
        worth = Formula(f"=G{row}-H{row}-I{row}", cost - before - this_year)
        sheet.line([None, thing.bought_on, None, thing.name, None, None, cost, before, this_year, worth])
    sheet.total(["", "", "", "Total", "", "", *sheet.sums(first, "GHIJ")])


def _by_hand(year: FinancialYear) -> Iterator[tuple[Any, ...]]:
    origins = dict(Journal.objects.values_list("pk", "origin"))
    rows = Posting.objects.filter(BY_HAND, entry__year=year, entry__is_closing=False)
    values = rows.order_by("entry__number", "pk").values_list(
        "entry__number", "entry__date", "entry__source_id", "entry__reverses__source_id", "entry__narration",
        "account__code", "account__name", "fund__name", figure_of("amount"), "entry__reverses__number",
    )  # fmt: skip
    for number, on, own, undone, narration, code, name, fund, amount, reverses in values.iterator(chunk_size=2000):
        origin = JournalOrigin(origins.get(undone or own, JournalOrigin.HAND)).label
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        undoes = f"entry {reverses}" if reverses else None
        yield number, on, origin, narration, code, name, fund, debit, credit, undoes
