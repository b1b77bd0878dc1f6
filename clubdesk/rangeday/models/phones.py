"""The phones on which the sheet of a day is open."""

import uuid

from django.conf import settings
from django.db import models

from clubdesk.rangeday.models.days import RangeDay


class Phone(models.Model):
    """Somebody's phone with the sheet of a day: when the book last heard of it, and how many entries it kept then.

    `key` is made on the phone. Nothing of it is left some days after the day.
    """

    key = models.UUIDField(default=uuid.uuid4)
    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="phones")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    seen_at = models.DateTimeField()
    unsent = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["pk"]
        default_permissions = ()
        constraints = [
            models.UniqueConstraint(
                fields=["range_day", "key", "user"],
                name="rangeday_phone_once_a_day",
                violation_error_message="This phone is known already; send it again.",
            )
        ]

    def __str__(self) -> str:
        return f"Phone of {self.user.get_full_name() or self.user.get_username()}"
