"""Screens of a course: its rules, its figures and its waitlist."""

from datetime import timedelta
from itertools import pairwise

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.courses import words
from clubdesk.courses.admin.cohorts import queue_section
from clubdesk.courses.figures import course_figures
from clubdesk.courses.models import Course, RefundStep
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import Bar, Section, link_to


class RefundSteps(forms.BaseInlineFormSet[RefundStep, Course, forms.ModelForm[RefundStep]]):
    """Who leaves later never gets more back."""

    def clean(self) -> None:
        super().clean()
        stay = [form.cleaned_data for form in self.forms if form.cleaned_data and not form.cleaned_data.get("DELETE")]
        steps = sorted(
            (each["days_before"], each["percent"]) for each in stay if "days_before" in each and "percent" in each
        )
        if len({days for days, _ in steps}) < len(steps):
            raise forms.ValidationError("The same number of days stands there twice.")
        if any(later[1] < earlier[1] for earlier, later in pairwise(steps)):
            raise forms.ValidationError("Who withdraws later would get more back than who withdraws earlier.")


class RefundStepInline(admin.StackedInline[RefundStep, Course]):
    model = RefundStep
    formset = RefundSteps
    extra = 0
    fields = (("days_before", "percent"),)
    verbose_name_plural = "What is given back to who withdraws (none: all of it)"


def figures_section(request: HttpRequest, course: Course) -> Section:
    """Each cohort in figures, with bars for the share of seats filled and of people who completed it."""
    rows = [
        (
            link_to(each.cohort, each.cohort.name),
            each.cohort.capacity,
            Bar(each.held, each.cohort.capacity),
            *(
                Bar(part, each.held) if each.cohort.last_session + timedelta(days=days) < clock.today() else "–"
                for part, days in ((each.completed, 0), (each.members_after_30, 30), (each.members_after_90, 90))
            ),
            each.fees,
        )
        for each in course_figures(course, clock.today())
    ]
    columns = ["Cohort", "Places", "Filled", "Completed", "Members after 30 days", "After 90 days", "Fees"]
    return Section("In figures", columns, rows, "No cohort yet.")


def course_queue_section(request: HttpRequest, course: Course) -> Section:
    return queue_section(course)


def rule_section(request: HttpRequest, course: Course) -> Section:
    rows = [(sentence,) for sentence in words.rules_in_words(course)]
    return Section("Its rules, as families read them", ["For places taken from now on"], rows)


@admin.register(Course)
class CourseAdmin(RoomAdmin[Course]):
    list_display = ("name", "fee_item", "adult_fee_item", "minimum_age", "offer_days", "on_parents_page")
    list_select_related = ("fee_item", "adult_fee_item")
    fieldsets = (
        (None, {"fields": ("name", "fee_item", "adult_fee_item", "minimum_age", "sessions_to_complete")}),
        ("Offers and payment", {"fields": ("offer_days", "pay_days", "reminder_days")}),
        ("The parents’ page", {"fields": ("on_parents_page", "consent_text")}),
    )
    inlines = (RefundStepInline,)
    section_makers = (course_queue_section, figures_section, rule_section)
    sections_first = True
