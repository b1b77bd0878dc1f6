"""What each association was owed, got and is owed, by the ledger."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet

from clubdesk.ledger.models import Party, Posting, Role
from clubdesk.ledger.selectors import ZERO, balances
from clubdesk.money import sum_of
from clubdesk.reports.selectors import day_before
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Formula, Heading, Look, Named, Proved, Sheet

LOOK = Look(
    "Affiliation",
    (
        Heading("Association", 40, "name"), Heading("Owed at the start", 16, "amount"),
        Heading("Members' shares", 16, "amount"), Heading("Remitted", 16, "amount"),
        Heading("Owed at the end", 16, "formula"),
    ),
)  # fmt: skip


def write(context: Context, sheet: Sheet, trial: TrialAt) -> Proved:
    first = sheet.top(context.note("Shares of members' fees passed on.")) + 1
    before, after = _by_party(day_before(context.figures.first)), _by_party(context.figures.last)
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        entry__year=context.year, account__role=Role.AFFILIATION_PAYABLE, entry__is_closing=False
    )
    moved = rows.order_by().values_list("party")
    moved = moved.annotate(debits=sum_of("amount", Q(amount__gt=0)), credits=sum_of("amount", Q(amount__lt=0)))
    turned = {party: (debits, -credits) for party, debits, credits in moved}
    names = Party.objects.in_bulk([pk for pk in before.keys() | after.keys() | turned.keys() if pk])
    for party in sorted(names.values(), key=lambda each: each.name):
        debits, credits = turned.get(party.pk, (ZERO, ZERO))
        row = sheet.row + 1
        owed = Formula(f"=B{row}+C{row}-D{row}", after.get(party.pk, ZERO))
        sheet.line([Named(party.name), before.get(party.pk, ZERO), credits, debits, owed])
    sheet.total(["Total", *sheet.sums(first, "BCDE")])
    payable = -trial.balance(*context.of_roles(Role.AFFILIATION_PAYABLE))
    return Proved("Affiliation by association equals the account", sheet.term("E"), payable)


def _by_party(day: date) -> dict[int, Decimal]:
    """What each association is owed at the end of the day; above zero."""
    found = balances(day, ["party_id"], account__role=Role.AFFILIATION_PAYABLE).after_closing
    return {party: -figure for (party,), figure in found.items() if figure}
