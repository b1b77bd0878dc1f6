"""The addresses of the pages of the site, and the letters that stand for the roles."""

from django.contrib import admin
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank.models import BankAccount
from clubdesk.courses.models import Booking, Certificate, Cohort
from clubdesk.desk.roles import ROLES
from clubdesk.ledger.selectors import year_containing
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Household
from clubdesk.screens.rooms import RoomAdmin
from tests import families
from tests.worlds import day_one

PLAIN = (
    "admin:index", "admin:reports", "admin:trial_balance", "admin:find", "admin:today", "book:courses",
    "admin:aged_balances", "admin:vouchers_answered", "admin:vouchers_to_claim", "admin:renewals",
    "admin:draw_checks",
    "admin:affiliation", "admin:range_figures", "admin:range_coming", "admin:range_tin",
    "admin:claim_queue", "admin:claim_minutes",
    "admin:import_statement", "admin:explain_lines", "admin:fund_statement", "admin:committee", "admin:verify",
    "admin:voucher_sample",
    "admin:period_statements", "admin:letter_texts", "admin:nobody_to_ring", "admin:write_to_families",
    "admin:opening_file", "admin:style", "admin:words",
    "admin:safety_roster",
)  # fmt: skip


def urls_of_lists():
    """Each page that is there whatever the book holds: lists, add pages, reports, those of the latest year."""
    ending = year_containing(clock.today()).last_day.year
    found = {reverse(name) for name in PLAIN}
    found |= {reverse(f"admin:letter_{page}", args=["courses.booked"]) for page in ("text", "look")}
    found |= {f"{reverse('admin:find')}?q={typed}" for typed in ("Child", "1", "60.00")}
    found |= {reverse(f"admin:{name}", args=[ending]) for name in ("statements", "closing", "budget")}
    found |= {f"{reverse('admin:statements', args=[ending])}?basis={basis}" for basis in ("cash", "bridge")}
    for model, screen in admin.site._registry.items():
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        found.add(reverse(f"{name}_changelist"))
        if not isinstance(screen, RoomAdmin) or screen.add_page or screen.__class__.has_add_permission:
            found.add(reverse(f"{name}_add"))
        found |= {reverse(f"{name}_{page.slug}") for page in getattr(screen, "all_list_pages", ())}
    return sorted(found)


def urls_of_a_family(client=None):
    """What a family sees of its own; the client opens them by its link from now on."""
    booking = Booking.objects.filter(state="waiting").order_by("-pk").first() or Booking.objects.first()
    household = booking.household if booking else Household.objects.first()
    if household is None:
        return
    if client is not None:
        families.page_of(client, household)
    yield from (reverse("account:own"), reverse("claims:own"), reverse("leaving:own"), reverse("care:own"))
    yield reverse("news:own")
    yield from (reverse("care:child", args=[each.pk]) for each in household.people.filter(erased_on=None)[:1])
    if booking:
        yield reverse("book:own", args=[booking.pk])


def urls_of_documents(client=None):
    """The page of the first of each kind of document, its verbs' pages, and what families see of theirs."""
    found = set(urls_of_a_family(client))
    for household in Household.objects.all()[:1]:
        found.add(reverse("admin:household_statement", args=[household.pk]))
    of_one = {
        "course_sheet": Cohort.objects.all(),
        "range_sheet": RangeDay.objects.filter(closed_on=None),
        "range_visitors": RangeDay.objects.filter(closed_on=None),
        "course_certificate": Certificate.objects.all(),
    }
    found |= {reverse(f"admin:{name}", args=[row.pk]) for name, rows in of_one.items() for row in rows[:1]}
    for account in BankAccount.objects.all()[:1]:
        month = f"account={account.pk}&until=2026-09-30&balance=47.00"
        found.add(f"{reverse('admin:reconcile_month')}?{month}")
    for model, screen in admin.site._registry.items():
        rows = model._default_manager.order_by("pk")[:MOST_LOOKED_AT]
        for first in rows[:1]:
            found.add(reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_change", args=[first.pk]))
        for page in getattr(screen, "all_pages", ()):
            target = next((row for row in rows if page.applies(row)), None)
            if target:
                found.add(page.url(target))
    return sorted(found)


MOST_LOOKED_AT = 120


def urls_of_everything(client=None):
    """Each page of the site that has something to show, to whoever opened a family's link besides."""
    return sorted({*urls_of_lists(), *urls_of_documents(client)})


DAYS = (day_one.TODAY, day_one.YEAR_START.replace(year=day_one.YEAR_START.year + 1))
"""The tests' own, and one on which the year is over: what closes a year has its pages from then on."""


def urls_by_day(client):
    """Each day of `DAYS` with the pages that have something to show, on the later one what documents get by then."""
    first, later = DAYS
    now = urls_of_everything(client)
    with clock.on(later):
        return {first: now, later: sorted({*urls_of_documents()} - {*now})}


C, H, A, T, X = ROLES
