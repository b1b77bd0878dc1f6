"""The roster by week: who is on duty on each coming range day, and whether that is enough."""

from django.contrib.admin import AdminSite
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.safety import selectors, services
from clubdesk.safety.models import Duty
from clubdesk.safety.selectors import OnDuty, Standing
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, page_of
from clubdesk.verbs import may, verb_of

INTRO = (
    "Who has no current working with children check may be on duty where the law of your place allows that, and does"
    " not count. That law comes first; it may ask for more than the club’s own rules."
)


def roster(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """A row for each range day of the coming weeks."""
    found = selectors.standings(selectors.coming_days(clock.today()))
    plans = may(request.user, verb_of(services.plan_turns).permission)
    acts = [("Plan the roster", reverse("admin:safety_turn_plan"))] if plans else []
    section = Section(
        "The next eight weeks",
        ["Range day", "On duty", "Enough"],
        [(_day(each), _names(each), enough(each)) for each in found],
        "No range day is in the calendar; plan range days first.",
    )
    parent = Link("Turns on duty", reverse("admin:safety_turn_changelist"))
    return site_page(
        request, site, "screens/figures.html", "Who is on duty", parent=parent, sections=[section], verbs=acts,
        intro=INTRO,
    )  # fmt: skip


def _day(each: Standing) -> Link:
    return Link(f"{day_text(each.day.date, weekday=True)}, {each.day.place}", page_of(each.day))


def _names(each: Standing) -> str:
    duties = {duty: [_name(one) for one in each.turns if one.turn.duty == duty] for duty in Duty}
    return "; ".join(f"{duty.label}: {', '.join(names)}" for duty, names in duties.items() if names) or "nobody yet"


def _name(one: OnDuty) -> str:
    no_check = "" if one.good_through else " (no current check)"
    return f"{one.turn.person}{' (asks to swap)' if one.turn.swap_asked_on else ''}{no_check}"


def enough(each: Standing) -> str:
    """How many count, of how many the club asks for."""
    if not each.rules.people:
        return f"{each.on_duty} with a current check"
    return f"{'too few: ' if each.is_short else ''}{each.on_duty} of {each.needed}"
