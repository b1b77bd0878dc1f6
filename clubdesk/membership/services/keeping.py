"""What the columns of a roll's spreadsheet were said to be, kept for the next file with the same headings."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.ledger.spreadsheets import Sheet
from clubdesk.membership.anyroll import FIELDS, NO_MEMBERSHIP, UNTIL, Layout
from clubdesk.membership.models import KeptColumns, Plan
from clubdesk.verbs import verb


def as_kept(layout: Layout, sheets: Sequence[Sheet]) -> Layout:
    """The layout that is proposed, its columns as they were said to be where the same headings came before."""
    kept = _kept(headings(sheets, layout))
    columns = kept.of_columns if kept else []
    if len(columns) != len(layout.columns) or not set(columns) <= {"", *FIELDS}:
        return layout
    return replace(layout, columns=tuple(columns))


def plans_said(headings: Sequence[str]) -> dict[str, str]:
    """What values that are no plan were said to mean below these headings, by their signs; of plans that stand.

    Beside them until when memberships without a last day run, while that day is still to come.
    """
    kept, today = _kept(headings), clock.today().isoformat()
    stand = {NO_MEMBERSHIP, *(str(number) for number in Plan.objects.values_list("pk", flat=True))}
    said = kept.of_plans.items() if kept else ()
    return {sign: meant for sign, meant in said if (meant >= today if sign == UNTIL else meant in stand)}


@verb(permission="roll.add_household", title="Keep what the columns are")
def keep_columns(
    *, headings: Sequence[str], columns: Sequence[str], by: User, plans: Mapping[str, str] | None = None
) -> KeptColumns:
    """For the next file with these headings; what was kept for them before is replaced, of plans where some are given.

    `plans` are the numbers of plans, or no membership, by the signs of the values that mean them; and `UNTIL`.
    """
    said = {"columns": list(columns), "plans": plans_said(headings) if plans is None else dict(plans)}
    kept, _ = KeptColumns.objects.update_or_create(headings=_digest(headings), defaults={"columns": said})
    return kept


def _kept(headings: Sequence[str]) -> KeptColumns | None:
    return KeptColumns.objects.filter(headings=_digest(headings)).first()


def headings(sheets: Sequence[Sheet], layout: Layout) -> Sequence[str]:
    rows = next(each.rows for each in sheets if each.name == layout.sheet)
    return next((cells for number, cells in rows if number == layout.head), [])


def _digest(headings: Sequence[str]) -> str:
    """The digest of the headings, whether or not empty ones stand behind them, as a CSV has them."""
    told = "\x1f".join(head.strip().casefold() for head in headings).rstrip("\x1f")
    return hashlib.sha256(told.encode()).hexdigest()
