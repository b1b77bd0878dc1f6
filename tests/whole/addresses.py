"""The addresses of the pages of the site, and the letters that stand for the roles."""

from django.contrib import admin
from django.urls import reverse

from clubdesk.bank.models import BankAccount
from clubdesk.courses import letters
from clubdesk.courses.models import Booking, Certificate, Cohort
from clubdesk.desk.roles import ROLES
from clubdesk.entryfund import letters as claim_letters
from clubdesk.fees import accounts
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Household
from clubdesk.screens.rooms import RoomAdmin


def urls_of_everything():
    """Each list, add page, document page and verb page of the site that has something to show."""
    found = {reverse("admin:index"), reverse("admin:reports"), reverse("admin:trial_balance")}
    found |= {reverse("admin:find"), *(f"{reverse('admin:find')}?q={typed}" for typed in ("Child", "1", "60.00"))}
    found |= {reverse("admin:statements", args=[2027]), reverse("admin:today", args=[])}
    found |= {
        reverse("book:courses"),
        letters.link_path(Booking.objects.filter(state="waiting").last() or Booking.objects.first()),
    }
    found |= {accounts.link_path(Household.objects.first()), reverse("admin:aged_balances")}
    found |= {reverse("admin:vouchers_answered"), reverse("admin:renewals"), reverse("admin:affiliation")}
    found |= {reverse("admin:household_statement", args=[Household.objects.first().pk])}
    found |= {reverse("admin:course_sheet", args=[Cohort.objects.first().pk])}
    found |= {reverse("admin:range_figures"), reverse("admin:range_tin"), reverse("admin:claim_queue")}
    found |= {
        reverse("admin:claim_minutes"),
        reverse("admin:import_statement"),
        reverse("admin:explain_lines"),
        reverse("admin:fund_statement"),
    }
    found |= {f"{reverse('admin:statements', args=[2027])}?basis={basis}" for basis in ("cash", "bridge")}
    found |= {reverse("admin:committee"), reverse("admin:closing", args=[2027]), reverse("admin:budget", args=[2027])}
    found |= {reverse("admin:verify"), reverse("admin:period_statements")}
    month = f"account={BankAccount.objects.get().pk}&until=2026-09-30&balance=47.00"
    found |= {f"{reverse('admin:reconcile_month')}?{month}"}
    found |= {claim_letters.link_path(Household.objects.first())}
    found |= {reverse("admin:range_sheet", args=[RangeDay.objects.filter(closed_on=None).first().pk])}
    found |= {reverse("admin:course_certificate", args=[Certificate.objects.first().pk])}
    for model, screen in admin.site._registry.items():
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        found.add(reverse(f"{name}_changelist"))
        if not isinstance(screen, RoomAdmin) or screen.add_page or screen.__class__.has_add_permission:
            found.add(reverse(f"{name}_add"))
        first = model._default_manager.order_by("pk").first()
        if first:
            found.add(reverse(f"{name}_change", args=[first.pk]))
        found |= {reverse(f"{name}_{page.slug}") for page in getattr(screen, "all_list_pages", ())}
        for page in getattr(screen, "all_pages", ()):
            target = next((row for row in model._default_manager.order_by("pk") if page.applies(row)), None)
            if target:
                found.add(page.url(target))
    return sorted(found)


C, H, A, T, X = ROLES
