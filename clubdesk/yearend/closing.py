"""What a year needs of the register of equipment before it is closed."""

from datetime import date
from decimal import Decimal

from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.ledger.closing import listed, locked_whole
from clubdesk.ledger.models import FinancialYear, Role
from clubdesk.ledger.selectors import ZERO, balances, is_registered
from clubdesk.money import shown
from clubdesk.rooms import Check, Item
from clubdesk.screens.tables import page_of
from clubdesk.yearend import found
from clubdesk.yearend.register import Register

DEPRECIATED = "Equipment is depreciated"
TAXED = "GST is posted"
AGREES = "The register of equipment agrees with the ledger"


def equipment_depreciated(year: FinancialYear) -> Item:
    known = Register.at(year.last_day)
    behind = [thing for thing, _ in known.behind(year.last_day)]
    said = f"Not up to {day_text(year.last_day)}: {listed(behind)}." if behind else "The register is up to date."
    later = next((line for thing in behind if (line := known.posted_later(thing, year.last_day))), None)
    if later:
        said += f" Later months were posted first; reverse “{later.journal}”, then post in the order of the months."
    url = page_of(later.journal) if later else reverse("admin:ledger_journal_depreciation")
    return Item(DEPRECIATED, not behind, said, url, "ledger.add_journal")


def register_agrees(year: FinancialYear) -> Item:
    """What the register says the equipment cost and has lost is what the ledger says, fund by fund.

    Once the last day is locked, what was put right after it counts.
    """
    url = reverse("admin:yearend_equipment_changelist")
    gaps = _register_gaps(year.last_day)
    if gaps and locked_whole(year) and not _register_gaps(max(clock.today(), year.last_day)):
        return Item(AGREES, True, f"{listed(gaps)}; it was put right after the lock.")
    said = listed(gaps) + "." if gaps else "Cost and depreciation are the same in both."
    return Item(AGREES, not gaps, said, url, "yearend.add_equipment")


def _register_gaps(on: date) -> list[str]:
    known, by_register = Register.at(on, as_posted_on=on), dict[tuple[str, str], Decimal]()
    for thing in known.things:
        for role, figure in (
            (Role.EQUIPMENT, thing.cost.amount),
            (Role.DEPRECIATED, -known.posted_until(thing, date.max)),
        ):
            key = (role.value, thing.fund.name)
            by_register[key] = by_register.get(key, ZERO) + figure
    roles = (Role.EQUIPMENT, Role.DEPRECIATED)
    by_ledger = balances(on, ["account__role", "fund__name"], account__role__in=roles).after_closing
    return [
        f"{Role(role).label} is {shown(by_ledger.get((role, fund), ZERO))} by the ledger and"
        f" {shown(by_register.get((role, fund), ZERO))} by the register in the {fund}"
        for role, fund in sorted(by_ledger.keys() | by_register.keys())
        if by_ledger.get((role, fund), ZERO) != by_register.get((role, fund), ZERO)
    ]


def gst_is_posted(year: FinancialYear) -> Item | None:
    """Nothing is left that should have been posted by the year's end; it can be posted also once that day is locked."""
    if not is_registered():
        return None
    there = found.find(year.last_day)
    url = reverse("admin:yearend_gstreturn_found")
    said = (
        f"{shown(there.collected)} of GST in sales and {shown(there.credits)} in bills are not posted yet."
        if there.postings
        else "What is taxed has its GST."
    )
    return Item(TAXED, not there.postings, said, url, "yearend.add_gstreturn")


CHECKS = (
    Check(DEPRECIATED, "ledger.add_journal", equipment_depreciated),
    Check(AGREES, "yearend.add_equipment", register_agrees),
    Check(TAXED, "yearend.add_gstreturn", gst_is_posted),
)
