"""How duty stands, on the home page: the next range days, who is on duty, and whether that is enough."""

from datetime import date

from clubdesk.clock import day_text
from clubdesk.rooms import Card, Line, Waiting
from clubdesk.safety import selectors
from clubdesk.safety.selectors import Standing

MOST_DAYS = 3


def _next_days(on: date) -> list[Line]:
    return [_line(each) for each in selectors.coming_standings(on)[:MOST_DAYS]]


def _line(each: Standing) -> Line:
    names = list(dict.fromkeys(str(one.turn.person) for one in each.turns))
    said = ", ".join(names) or "Nobody is on duty yet."
    page, day = "admin:rangeday_rangeday_change", each.day
    return Line(day.place, day_text(day.date, weekday=True, year=False), said, page, (day.pk,))


def too_few(on: date) -> Waiting:
    """The days of the next week that have fewer on duty than the club asks for."""
    short = selectors.short_days(on)
    return Waiting(len(short), by=min((each.day.date for each in short), default=None), line=_said(short))


def _said(short: list[Standing]) -> str:
    return short[0].words if short else ""


CARDS = (
    Card(
        "On duty next", "safety.view_turn", _next_days, empty="No range day is in the calendar.", more="The roster",
        page="admin:safety_roster", week="safety.change_turn",
    ),
)  # fmt: skip
