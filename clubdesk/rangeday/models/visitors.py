"""Visitors who sign on by themselves, and wait at the table for a helper."""

import uuid

from django.db import models
from django.db.models import Q

from clubdesk import clock
from clubdesk.rangeday.models.days import RangeDay, SafetyText


class Visitor(models.Model):
    """Somebody who has filled in the visitors' page on their own phone. What a helper confirms stands in a sign-on; of
    this nothing is left after the day.
    """

    key = models.UUIDField(default=uuid.uuid4, unique=True)
    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="visitors")
    name = models.CharField(max_length=100)
    is_child = models.BooleanField(default=False)
    guardian = models.CharField(max_length=100, blank=True)
    phone = models.CharField(max_length=30, blank=True)
    safety = models.ForeignKey(SafetyText, models.PROTECT, null=True, blank=True, related_name="+")
    came_at = models.DateTimeField(default=clock.now)

    class Meta:
        ordering = ["pk"]
        verbose_name = "visitor at the table"
        verbose_name_plural = "visitors at the table"
        default_permissions = ()
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="rangeday_visitor_has_a_name"),
            models.CheckConstraint(
                condition=Q(is_child=False) | ~Q(guardian="") & ~Q(phone=""), name="rangeday_child_has_a_guardian"
            ),
        ]

    def __str__(self) -> str:
        return self.name
