"""What the workbook shows of memberships: what each association was owed, got and is owed, by the ledger."""

from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet

from clubdesk.clock import day_before
from clubdesk.ledger.models import FinancialYear, Party, Posting, Role
from clubdesk.ledger.selectors import ZERO, party_balances
from clubdesk.money import sum_of
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Formula, Heading, Look, Named, Proved, Sheet

AFFILIATION = Look(
    "Affiliation",
    (
        Heading("Association", 40, "name"), Heading("Owed at the start", 16, "amount"),
        Heading("Members' shares", 16, "amount"), Heading("Passed on", 16, "amount"),
        Heading("Owed at the end", 16, "formula"),
    ),
)  # fmt: skip


def write_affiliation(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    first = sheet.top(beside.note("Shares of members' fees passed on.")) + 1
    before, after = (
        party_balances(Role.AFFILIATION_PAYABLE, day) for day in (day_before(year.first_day), year.last_day)
    )
    turned = _turned(year)
    parties = Party.objects.filter(pk__in=before.keys() | after.keys() | turned.keys())
    for party in sorted(parties, key=lambda each: each.name):
        debits, credits = turned.get(party.pk, (ZERO, ZERO))
        row = sheet.row + 1
        owed = Formula(f"=B{row}+C{row}-D{row}", -after.get(party.pk, ZERO))
        sheet.line([Named(party.name), -before.get(party.pk, ZERO), credits, debits, owed])
    sheet.total(["Total", *sheet.sums(first, "BCDE")])
    payable = -beside.balance(Role.AFFILIATION_PAYABLE)
    return Proved("Affiliation by association equals the account", sheet.term("E"), payable)


def _turned(year: FinancialYear) -> dict[int, tuple[Decimal, Decimal]]:
    """What was debited and credited in the year for each association."""
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        entry__year=year, account__role=Role.AFFILIATION_PAYABLE, entry__is_closing=False
    )
    moved = rows.order_by().values_list("party")
    moved = moved.annotate(debits=sum_of("amount", Q(amount__gt=0)), credits=sum_of("amount", Q(amount__lt=0)))
    return {party: (debits, -credits) for party, debits, credits in moved}


SHEETS = (SheetOf(AFFILIATION, write_affiliation, tab=60),)
