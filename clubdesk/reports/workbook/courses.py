"""Each cohort of the year and what its places earned in it, by the ledger."""

from collections import defaultdict
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet

from clubdesk.courses.models import Place
from clubdesk.courses.selectors import NOT_CANCELLED, cohorts_with_seats
from clubdesk.ledger.models import FinancialYear, Posting, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import figure_of
from clubdesk.reports import tracing
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Heading, Look, Named, Proved, Sheet

LOOK = Look(
    "Courses",
    (
        Heading("Cohort", 46, "name"), Heading("Begins", 14, "date"), Heading("Seats", 10, "number"),
        Heading("Taken", 10, "number"), Heading("Earned in the year", 16, "amount"),
    ),
)  # fmt: skip


def write(context: Context, sheet: Sheet, trial: TrialAt) -> Proved:
    now = context.figures
    first = sheet.top(context.note("What became income of each cohort's places.")) + 1
    earned = _earned_by_cohort(context.year)
    held = Q(first_session__lte=now.last, last_session__gte=now.first) | Q(pk__in=[pk for pk in earned if pk])
    for cohort in cohorts_with_seats().filter(NOT_CANCELLED).filter(held).order_by("first_session", "pk"):
        figure = earned.pop(cohort.pk, ZERO)
        name = Named(f"{cohort.course}: {cohort.name}", str(cohort.course), cohort.name)
        sheet.line([name, cohort.first_session, cohort.capacity, cohort.taken, figure])
    rest = sum(earned.values(), ZERO)
    if rest:
        sheet.line(["Not of a cohort that stands", None, None, None, rest])
    sheet.total(["Total", None, None, None, *sheet.sums(first, "E")])
    income = -trial.balance(*context.of_roles(Role.COURSES))
    return Proved("Courses cohort by cohort equal their income", sheet.term("E"), income)


def _earned_by_cohort(year: FinancialYear) -> dict[int | None, Decimal]:
    """What the account of courses earned in the year, by the cohort of the place that was charged."""
    cohorts = dict(Place.objects.exclude(charge=None).values_list("charge", "cohort"))
    credits = tracing.Documents(tracing.Chart.read()).credits
    found: dict[int | None, Decimal] = defaultdict(lambda: ZERO)
    rows = Posting.objects.filter(entry__year=year, entry__is_closing=False, account__role=Role.COURSES)
    sources: QuerySet[Any, Any] = rows.order_by().values_list(
        figure_of("amount"),
        "entry__source_type",
        "entry__source_id",
        "entry__reverses__source_type",
        "entry__reverses__source_id",
    )
    for amount, own, own_id, undone, undone_id in sources.iterator(chunk_size=5000):
        kind, pk = undone or own, undone_id or own_id
        charge = credits.get(pk) if kind == "fees.chargecredit" else pk if kind == "fees.charge" else None
        found[cohorts.get(charge) if charge else None] -= amount
    return dict(found)
