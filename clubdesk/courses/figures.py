"""What came of a course, cohort by cohort."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from djmoney.money import Money

from clubdesk.courses.models import Cohort, Course, Place, PlaceState
from clubdesk.courses.selectors import NOT_CANCELLED
from clubdesk.fees.selectors import charges_with_open
from clubdesk.membership.models import Membership
from clubdesk.money import as_amount


@dataclass(frozen=True)
class CohortFigures:
    """A cohort in figures; money is what its fees come to after credits, in the book's currency."""

    cohort: Cohort
    held: int
    completed: int
    members_after_30: int
    members_after_90: int
    fees: Money

    @property
    def fill(self) -> int:
        """Per cent of the seats."""
        return round(100 * self.held / self.cohort.capacity)


def course_figures(course: Course, today: date) -> list[CohortFigures]:
    """The course's cohorts of the last two years and to come, the latest first."""
    since = today - timedelta(days=730)
    cohorts = list(
        Cohort.objects.filter(NOT_CANCELLED, course=course, last_session__gte=since).order_by("-first_session")
    )
    places = list(
        Place.objects.filter(cohort__in=cohorts)
        .exclude(charge=None, state__in=(PlaceState.LAPSED, PlaceState.WITHDRAWN))
        .values_list("cohort", "person", "state", "charge", "certificate")
    )
    charges = [charge for _, _, _, charge, _ in places if charge]
    left = {charge.pk: charge.amount.amount - charge.credited for charge in charges_with_open().filter(pk__in=charges)}
    people = [person for _, person, state, _, _ in places if state == PlaceState.HELD]
    members = defaultdict(list)
    for membership in Membership.objects.filter(person__in=people):
        members[membership.person_id].append(membership)
    figures = []
    for cohort in cohorts:
        own = [row for row in places if row[0] == cohort.pk]
        held = [person for _, person, state, _, _ in own if state == PlaceState.HELD]
        figures.append(
            CohortFigures(
                cohort=cohort,
                held=len(held),
                completed=sum(certificate is not None for *_, certificate in own),
                members_after_30=_members(held, members, cohort.last_session + timedelta(days=30)),
                members_after_90=_members(held, members, cohort.last_session + timedelta(days=90)),
                fees=as_amount(sum((left.get(charge, Decimal(0)) for *_, charge, _ in own), Decimal(0))),
            )
        )
    return figures


def _members(people: list[int], memberships: dict[int, list[Membership]], day: date) -> int:
    return sum(any(each.covers(day) for each in memberships[person]) for person in people)
