"""Range days, times without shooting, and what a club sets up for them."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from clubdesk.clock import day_text, span_text
from clubdesk.dates import hours_text
from clubdesk.money import Cents


class RangeDay(models.Model):
    date = models.DateField()
    place = models.CharField("range", max_length=60, default="Main range")
    begins_at = models.TimeField("from", null=True, blank=True, help_text="Such as 9:00; families see it.")
    ends_at = models.TimeField("until", null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True, editable=False)
    called_off_on = models.DateField(null=True, blank=True, editable=False)
    called_off_reason = models.CharField(max_length=150, blank=True, editable=False)

    class Meta:
        ordering = ["-date", "place"]
        constraints = [
            models.UniqueConstraint(
                fields=["date", "place"],
                name="rangeday_once_a_range",
                violation_error_message="That range has a range day on that date already.",
            ),
            models.CheckConstraint(
                condition=Q(called_off_on=None) | ~Q(called_off_reason=""), name="rangeday_called_off_for_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(begins_at=None, ends_at=None)
                | Q(begins_at__isnull=False, ends_at__isnull=False, ends_at__gt=F("begins_at")),
                name="rangeday_ends_after_it_begins",
                violation_error_message="Say from when until when, the end after the beginning; or neither.",
            ),
        ]
        permissions = [("close_rangeday", "Can count the cash box and close a range day")]

    def __str__(self) -> str:
        return f"{self.place}, {day_text(self.date, weekday=True)}"

    def clean(self) -> None:
        closed = ClosedDays.objects.filter(first_day__lte=self.date, last_day__gte=self.date) if self.date else ()
        for each in closed:
            raise ValidationError({"date": f"Nobody shoots then: {each}. Choose another day."})

    @property
    def is_open(self) -> bool:
        """Whether anybody can still sign on."""
        return self.closed_on is None and self.called_off_on is None

    @property
    def hours(self) -> str:
        """From when to when, as 9:00–12:00; blank where it was not said."""
        return hours_text(self.begins_at, self.ends_at)

    @property
    def standing(self) -> str:
        if self.called_off_on:
            return "called off"
        return "counted" if self.closed_on else "open"


class ClosedDays(models.Model):
    """Days on which nobody shoots at the club: no range day is set up on them, and the calendar says so."""

    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField("why", max_length=80, help_text="As families read it, such as: summer break.")

    class Meta:
        ordering = ["-first_day", "-pk"]
        verbose_name = "time without shooting"
        verbose_name_plural = "times without shooting"
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="rangeday_closed_days_order",
                violation_error_message="The last day is before the first.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.reason}, {span_text(self.first_day, self.last_day)}"


class SafetyText(models.Model):
    """The club's own safety rules, as new visitors agree to them; the newest in force on a day counts."""

    in_force_from = models.DateField()
    text = models.TextField(max_length=3000)

    class Meta:
        ordering = ["-in_force_from", "-pk"]
        verbose_name = "set of safety rules"
        verbose_name_plural = "safety rules for visitors"

    def __str__(self) -> str:
        return f"Safety rules from {day_text(self.in_force_from)}"


class OwnGearCost(models.Model):
    """What a first set of gear of one's own costs about, so that a coach can tell who would soon save by it."""

    since = models.DateField(unique=True)
    amount = Cents(help_text="A plain bow, arrows, tab and arm guard, second hand or new, as you would advise.")

    class Meta:
        ordering = ["-since"]
        verbose_name = "cost of own gear"
        verbose_name_plural = "costs of own gear"
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="rangeday_own_gear_costs_something")]

    def __str__(self) -> str:
        return f"Own gear from {day_text(self.since)}"
