"""Who signed in and what became of it, what all worker processes know of each other, and what a role was given."""

from django.conf import settings
from django.contrib.auth.models import Group
from django.db import models
from django.utils import timezone


class Seen(models.TextChoices):
    SIGNED_IN = "signed_in", "Signed in"
    SIGNED_OUT = "signed_out", "Signed out"
    REFUSED = "refused", "Refused"
    TOO_MANY = "too_many", "Too many tries"
    ENDED = "ended", "Sessions ended"
    SECOND_STEP = "second_step", "Second step changed"
    PASSWORD = "password", "Password changed"
    INVITED = "invited", "Invited"
    ROLE = "role", "Role changed"


class SignInRecord(models.Model):
    """Something that happened about signing in. Rows are only ever added; nothing that was typed stands there."""

    at = models.DateTimeField("when", default=timezone.now, db_index=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+", verbose_name="who")
    what = models.CharField(max_length=12, choices=Seen.choices)
    words = models.CharField("more", max_length=200, blank=True)
    address = models.CharField("from", max_length=45, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "record of signing in"
        verbose_name_plural = "records of signing in"

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.user or 'an unknown name'}"


class CacheRow(models.Model):
    """Django's cache, as its own command would make the table; here so that every database has it."""

    cache_key = models.CharField(max_length=255, primary_key=True)
    value = models.TextField()
    expires = models.DateTimeField(db_index=True)

    class Meta:
        db_table = "desk_cache"

    def __str__(self) -> str:
        return self.cache_key


class GivenToRole(models.Model):
    """A permission that the rooms gave to a role; what an administrator added or took away since is theirs."""

    role = models.ForeignKey(Group, models.CASCADE, related_name="+")
    permission = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["role", "permission"],
                name="desk_given_to_a_role_once",
                violation_error_message="The rooms gave this to the role already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.role}: {self.permission}"
