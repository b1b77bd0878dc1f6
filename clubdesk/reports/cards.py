"""How the years stand, on the home page: which are closed, by what seal, and when the books were last checked."""

from collections.abc import Mapping
from datetime import date

from clubdesk.clock import day_text
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.remembering import until_the_next_entry
from clubdesk.ledger.selectors import all_years
from clubdesk.reports.seal import seal_of
from clubdesk.rooms import Card, Line
from clubdesk.upkeep import last_done

MOST_YEARS = 4


def years(on: date) -> list[Line]:
    """The latest financial years: closed with their seal, or open with what is locked; when all was last checked."""
    found = all_years()[-MOST_YEARS:]
    if not found:
        return []
    seals, checked = _seals(*(year.pk for year in found if year.is_closed)), last_done().get("check")
    lines = [
        Line(
            str(year),
            "closed" if year.is_closed else "open",
            seals.get(year.pk) or (f"Locked to {day_text(year.locked_through)}" if year.locked_through else ""),
            "admin:ledger_financialyear_change",
            (year.pk,),
        )
        for year in reversed(found)
    ]
    return [*lines, Line("Books last checked whole", day_text(checked) if checked else "never")]


@until_the_next_entry
def _seals(*closed: int) -> Mapping[int, str]:
    """The seals of closed years in words, by their ids."""
    return {pk: seal_of(year).in_words for pk, year in FinancialYear.objects.in_bulk(closed).items()}


CARDS = (
    Card(
        "Years and their seals", "ledger.view_financialyear", years, more="Statements and workbooks",
        page="admin:reports", leads="desk.view_actrecord",
    ),
)  # fmt: skip
