"""How the entry fund stands, on the home page: what is free in it, and the events whose entries close."""

from datetime import date, timedelta

from clubdesk.clock import day_text
from clubdesk.entryfund import selectors
from clubdesk.entryfund.models import ClaimState
from clubdesk.money import shown, total
from clubdesk.rooms import Card, Line

CLOSES_WITHIN = timedelta(days=28)


def fund(on: date) -> list[Line]:
    """What is in the fund, what of it is promised, what is asked for, and what is free for new requests."""
    balance = selectors.entry_fund_balance()
    amounts = selectors.amounts_to_decide()
    waiting, asked = len(amounts), total(amounts)
    return [
        Line("In the fund", shown(balance), "Approved refunds are taken off already."),
        Line(f"{waiting} refund request{'' if waiting == 1 else 's'} waiting", shown(-asked)),
        Line("Free for new requests", shown(balance - asked), is_total=True),
    ]


def closing(on: date) -> list[Line]:
    """The state events whose entries close within four weeks, with how many children may enter and have not claimed."""
    lines = []
    for event in selectors.events_closing(on, CLOSES_WITHIN).prefetch_related(None).prefetch_related("claims"):
        claimed = {claim.person_id for claim in event.claims.all() if claim.state != ClaimState.DECLINED}
        left = sum(person.pk not in claimed for person in selectors.eligible_children(event, on))
        note = f"{left} eligible child{'' if left == 1 else 'ren'} without a refund request"
        closes = f"closes {day_text(event.entries_close, year=False)}"
        lines.append(Line(event.name, closes, note, "admin:entryfund_stateevent_change", (event.pk,)))
    return lines


CARDS = (
    Card("Entry fund", "entryfund.view_entryclaim", fund, more="How the fund stands", page="admin:fund_statement"),
    Card("Entries close soon", "entryfund.view_stateevent", closing, week="entryfund.add_stateevent"),
)
