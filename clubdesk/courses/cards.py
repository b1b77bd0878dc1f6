"""How the courses stand, on the home page: the seats of the next cohorts."""

from datetime import date, timedelta

from django.db.models import Count, Q

from clubdesk.clock import day_text
from clubdesk.courses import checks, selectors
from clubdesk.courses.models import PlaceState
from clubdesk.dates import this_hour
from clubdesk.moment import remembered_for
from clubdesk.rooms import Card, Line, Waiting

MOST_COHORTS = 3


def seats(on: date) -> list[Line]:
    """The next cohorts: how many seats are taken, and how many of those are offered and not answered yet."""
    rows = selectors.cohorts_not_over(on).annotate(offered=Count("places", filter=Q(places__state=PlaceState.OFFERED)))
    return [
        Line(
            cohort.name,
            f"{cohort.taken} of {cohort.capacity}",
            f"{day_text(cohort.first_session, year=False)} to {day_text(cohort.last_session)}, {_room(cohort)}",
            "admin:courses_cohort_change",
            (cohort.pk,),
            (cohort.taken - cohort.offered, cohort.offered, max(cohort.capacity, cohort.taken)),
        )
        for cohort in rows[:MOST_COHORTS]
    ]


@remembered_for(timedelta(minutes=10))
def to_watch(on: date) -> Waiting:
    """How many are to be watched first, and as of when that is: each place that waits is looked at."""
    line = f"They wait below the minimum age, and are offered a place once they can draw. As of {this_hour()}."
    return Waiting(checks.to_watch(on).count(), line=line)


def _room(cohort: "selectors.SeatedCohort") -> str:
    offered: int = vars(cohort)["offered"]
    if offered:
        return f"{offered} offered"
    return "full" if cohort.taken >= cohort.capacity else f"{cohort.capacity - cohort.taken} free"


CARDS = (
    Card(
        "Places in courses",
        "courses.view_cohort",
        seats,
        empty="No cohort is in the calendar.",
        more="Cohorts",
        page="admin:courses_cohort_changelist",
        week="courses.add_place",
    ),
)
