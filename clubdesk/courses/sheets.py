"""What the workbook shows of courses: each cohort of the year and what its places earned in it, by the ledger."""

from collections import defaultdict
from decimal import Decimal

from django.db.models import Q

from clubdesk.courses.models import Place
from clubdesk.courses.selectors import NOT_CANCELLED, cohorts_with_seats
from clubdesk.fees.selectors import earned_by_charge
from clubdesk.ledger.models import FinancialYear, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Heading, Look, Named, Proved, Sheet

COURSES = Look(
    "Courses",
    (
        Heading("Cohort", 46, "name"), Heading("Begins", 14, "date"), Heading("Places", 10, "number"),
        Heading("Taken", 10, "number"), Heading("Earned in the year", 16, "amount"),
    ),
)  # fmt: skip


def write_courses(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    first = sheet.top(beside.note("What became income of each cohort's places.")) + 1
    earned = _earned_by_cohort(year)
    in_the_year = Q(first_session__lte=year.last_day, last_session__gte=year.first_day)
    held = in_the_year | Q(pk__in=[pk for pk in earned if pk])
    for cohort in cohorts_with_seats().filter(NOT_CANCELLED).filter(held).order_by("first_session", "pk"):
        figure = earned.pop(cohort.pk, ZERO)
        name = Named(f"{cohort.course}: {cohort.name}", str(cohort.course), cohort.name)
        sheet.line([name, cohort.first_session, cohort.capacity, cohort.taken, figure])
    rest = sum(earned.values(), ZERO)
    if rest:
        sheet.line(["Not of a cohort that stands", None, None, None, rest])
    sheet.total(["Total", None, None, None, *sheet.sums(first, "E")])
    income = -beside.balance(Role.COURSES)
    return Proved("Courses cohort by cohort equal their income", sheet.term("E"), income)


def _earned_by_cohort(year: FinancialYear) -> dict[int | None, Decimal]:
    """What the account of courses earned in the year, by the cohort of the place that was charged."""
    cohorts = dict(Place.objects.exclude(charge=None).values_list("charge", "cohort"))
    found: dict[int | None, Decimal] = defaultdict(lambda: ZERO)
    for charge, figure in earned_by_charge(year, account__role=Role.COURSES).items():
        found[cohorts.get(charge) if charge else None] += figure
    return dict(found)


SHEETS = (SheetOf(COURSES, write_courses, tab=50, goes_on=True),)
