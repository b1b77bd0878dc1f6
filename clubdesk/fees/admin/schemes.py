"""Screens of voucher schemes: the rules of each, as the club enters them."""

from django.contrib import admin
from django.db import models
from django.db.models import QuerySet
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.fees import eligible
from clubdesk.fees.models import ClaimColumn, VoucherScheme, VoucherValue, VoucherWindow
from clubdesk.screens.fields import DateInput
from clubdesk.screens.rooms import NamedCells, RoomAdmin
from clubdesk.screens.tables import Section


class VoucherValueInline(NamedCells, admin.TabularInline[VoucherValue, VoucherScheme]):
    model = VoucherValue
    extra = 1
    can_delete = False
    verbose_name = "value in a year"
    verbose_name_plural = "What a voucher is worth"
    formfield_overrides = {models.DateField: {"widget": DateInput}}

    def get_queryset(self, request: HttpRequest) -> QuerySet[VoucherValue]:
        return super().get_queryset(request).select_related("scheme")


class VoucherWindowInline(NamedCells, admin.TabularInline[VoucherWindow, VoucherScheme]):
    model = VoucherWindow
    extra = 0
    can_delete = False
    verbose_name = "window"
    verbose_name_plural = "Windows of each year in which vouchers are taken; none: all year"


class ClaimColumnInline(admin.TabularInline[ClaimColumn, VoucherScheme]):
    model = ClaimColumn
    extra = 0
    verbose_name = "column"
    verbose_name_plural = "Columns of the department’s own template, for a claim and for the answer to it"
    fields = ("place", "heading", "holds", "text", "days_as", "in_claim")


def whom_section(request: HttpRequest, scheme: VoucherScheme) -> Section:
    """Whom the scheme is for today, by days of birth: so a rule that was typed wrongly is seen."""
    first, last = eligible.born_between(scheme.ages, clock.today())
    since = day_text(first) if first.year > 1 else "any day"
    return Section(f"Whom it is for on {day_text(clock.today())}", ["Born from", "to"], [(since, day_text(last))])


@admin.register(VoucherScheme)
class VoucherSchemeAdmin(RoomAdmin[VoucherScheme]):
    list_display = ("name", "department")
    list_select_related = ("department",)
    fieldsets = (
        (None, {"fields": ("name", "department")}),
        ("Whom it is for", {
            "fields": (
                "aged_by", "youngest", "youngest_months", "oldest", "on_month", "on_day", "starts_at", "favours_child",
            ),
        }),
        ("What it pays for", {
            "fields": (
                "pays_memberships", "pays_courses", "pays_other", "least_sessions", "least_weeks", "registration_days",
                "only_unpaid", "no_money_back",
            ),
        }),
        ("How many, and when", {"fields": ("per_year", "year_begins", "one_a_fee", "valid_days", "claim_days")}),
        ("When the department pays", {"fields": ("promise_days", "promise_working")}),
        ("Where a child leaves", {"fields": ("gives_back", "gives_back_days")}),
        ("How it is claimed, and answered", {"fields": ("claims_as", "paid_words", "refused_words")}),
        ("What a voucher is known by", {
            "fields": ("key_kind", "code_form", "check_digit", "check_weights", "key_kept_days"),
        }),
    )  # fmt: skip
    inlines = (VoucherValueInline, VoucherWindowInline, ClaimColumnInline)
    section_makers = (whom_section,)
