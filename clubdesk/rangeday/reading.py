"""The page that says who comes: for the coordinator, each table of it as a file too."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.contrib.admin import AdminSite
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.http import urlencode

from clubdesk import clock
from clubdesk.clock import day_text, months_later
from clubdesk.ledger.selectors import year_start
from clubdesk.rangeday import coming, forecast
from clubdesk.rangeday.cards import next_day
from clubdesk.rangeday.models import RangeDay
from clubdesk.rangeday.selectors import name_of
from clubdesk.screens.exporting import ASKED, KINDS, file_of
from clubdesk.screens.fields import SpanForm
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, page_of
from clubdesk.tables import Column, Table

TITLE = "Who comes"
LIST = "list"
"""What in the address names the table that is asked for as a file."""
MOST_SHOWN = 100
A_TERM = 3
"""Months; the club's own terms are typed."""


def page(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """Who came how often in the days asked for, who stopped, who is fresh from a course, and what comes next."""
    today = clock.today()
    form = SpanForm(request.GET if "since" in request.GET else {"since": year_start(today), "until": today})
    form.label_suffix = ""
    parent = Link("Range days", reverse("admin:rangeday_rangeday_changelist"))
    if not form.is_valid():
        return site_page(request, site, "rangeday/coming.html", TITLE, parent=parent, form=form)
    since, until = form.cleaned_data["since"], form.cleaned_data["until"]
    tables = tables_of(since, until, today)
    if (kind := request.GET.get(ASKED)) in KINDS and request.GET.get(LIST) in tables:
        return file_of(request, tables[request.GET[LIST]], kind)
    lists = [(_shown(table), _files(name, since, until), len(table.rows)) for name, table in tables.items()]
    spans = _spans(today)
    return site_page(request, site, "rangeday/coming.html", TITLE, parent=parent, form=form, lists=lists, spans=spans)


def tables_of(since: date, until: date, today: date) -> Mapping[str, Table[Any]]:
    """Each table of the page, whole, by the name that its file is asked for by."""
    day = next_day(today)
    return {
        "stopped": stopped_table(today),
        "fresh": fresh_table(today),
        "came": came_table(since, until),
        "next": next_table(day),
        "gear": gear_table(day),
        "volunteers": volunteers_table(since, until),
    }


def _shown(table: Table[Any]) -> Table[Any]:
    return Table(table.title, table.columns, table.rows[:MOST_SHOWN], empty=table.empty, note=table.note)


def _files(name: str, since: date, until: date) -> list[Link]:
    about = {"since": since.isoformat(), "until": until.isoformat(), LIST: name}
    address = reverse("admin:range_coming")
    return [Link(kind.upper(), f"{address}?{urlencode({**about, ASKED: kind})}") for kind in KINDS]


def _spans(today: date) -> list[Link]:
    """The usual spans of days, each by one tap."""
    year = year_start(today)
    spans = {
        "The last three months": (months_later(today, -A_TERM), today),
        "This year": (year, today),
        "The last twelve months": (months_later(today, -12), today),
    }
    address = reverse("admin:range_coming")
    return [
        Link(words, f"{address}?{urlencode({'since': first.isoformat(), 'until': last.isoformat()})}")
        for words, (first, last) in spans.items()
    ]


def came_table(since: date, until: date) -> Table[Any]:
    held = coming.held(since, until).values("date").distinct().count()
    columns = {
        "who": Column[Any]("Who", lambda row: str(row.person), "name", link=lambda row: page_of(row.person)),
        "days": Column[Any]("Days", lambda row: row.days, "figure"),
        "last": Column[Any]("Last", lambda row: row.last, "date"),
    }
    return Table(
        f"Who came how often, {day_text(since)} to {day_text(until)}", columns, coming.who_came(since, until),
        empty="Nobody on the roll signed on in this time.", note=f"The range was open on {held} days in this time.",
    )  # fmt: skip


def stopped_table(today: date) -> Table[Any]:
    def of_guardian(name: str) -> Any:
        return lambda row: getattr(row.guardian, name) if row.guardian else ""

    columns = {
        "who": Column[Any]("Who", lambda row: str(row.person), "name", link=lambda row: page_of(row.person)),
        "last": Column[Any]("Last came", lambda row: row.last, "date"),
        "guardian": Column[Any](
            "Guardian", of_guardian("name"), "name", link=lambda row: page_of(row.person.household)
        ),
        "phone": Column[Any]("Phone", of_guardian("phone")),
        "mail": Column[Any]("E-mail", of_guardian("email")),
    }
    return Table(
        "Came weekly, and was missed three times or more", columns, coming.stopped_coming(today),
        empty="Nobody who came weekly is missing.",
        note="A kind word, not a reminder: ask how they are. Who came on another day since does not stand here.",
    )  # fmt: skip


def fresh_table(today: date) -> Table[Any]:
    columns = {
        "who": Column[Any]("Who", lambda row: str(row.person), "name", link=lambda row: page_of(row.person)),
        "completed": Column[Any]("Completed the course", lambda row: row.completed_on, "date"),
        "days": Column[Any]("Came since", lambda row: row.days or "not yet", "figure"),
        "first": Column[Any]("First on", lambda row: row.first, "date"),
    }
    return Table(
        "Fresh from a course, in the last twelve weeks", columns, coming.fresh_from_a_course(today),
        empty="Nobody completed a course lately.",
    )  # fmt: skip


def next_table(day: RangeDay | None) -> Table[Any]:
    """Who is likely to come next, and how far such a forecast was off before."""
    counts = list(forecast.came_to_days_alike(day).values()) if day else []
    band = forecast.band(counts) if len(counts) >= forecast.FEWEST else None
    columns = {
        "day": Column[Any]("Day", lambda row: row[0]),
        "likely": Column[Any]("Most likely", lambda row: row[1].likely, "figure"),
        "between": Column[Any]("Eight of ten such days", lambda row: str(row[1]), "figure"),
    }
    tried, note = forecast.tried(counts), ""
    if tried:
        note = (
            f"Tried on {tried.days} such days, each by the days before it alone: off by {tried.ours:.1f} people on "
            f"average; “as many as the time before” was off by {tried.as_before:.1f}."
        )
    rows = [(day_text(day.date, weekday=True), band)] if day and band else []
    empty = "After four range days of a weekday it says here how many are likely to come."
    return Table("Who is likely to come next", columns, rows, empty=empty, note=note)


def gear_table(day: RangeDay | None) -> Table[Any]:
    columns = {
        "kind": Column[Any]("Kit", lambda row: row.kind.label),
        "hand": Column[Any]("Hand", lambda row: row.hand.label if row.hand else "either"),
        "wanted": Column[Any]("Asked for", lambda row: str(row.wanted), "figure"),
        "there": Column[Any]("Fit for use", lambda row: row.there, "figure"),
        "lacking": Column[Any]("Too few by", lambda row: row.lacking or "", "figure"),
    }
    return Table(
        "Kit that the next day will want", columns, forecast.gear_needed(day) if day else [],
        empty="After four range days with numbered kit it says here what will be asked for.",
        note="By what was lent on such days; on eight of ten of them it lay between the two.",
    )  # fmt: skip


def volunteers_table(since: date, until: date) -> Table[Any]:
    rows = coming.volunteers(since, until)
    columns = {
        "who": Column[Any]("Volunteer", lambda row: name_of(row.user), "name"),
        "days": Column[Any]("Range days", lambda row: row.days, "figure"),
        "hours": Column[Any]("Hours", lambda row: f"{row.hours:.1f}", "figure"),
    }
    together = sum(row.hours for row in rows)
    return Table(
        "Hours of volunteers, as a grant report asks", columns, rows, empty="Nobody made an entry in this time.",
        note=f"Together {together:.1f} hours. Counted are those who signed people on, gave kit out or counted; each of "
        "them the hours of the day, or where it has none those from the first phone entry to the last. "
        "Whoever helped without an entry is not in it.",
    )  # fmt: skip
