"""Who signed in, who did what, what all worker processes know of each other, what a role was given, and when the
machine did what it does by itself.
"""

from typing import Any, ClassVar

from auditlog.models import AbstractLogEntry, LogEntryManager
from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.db import models
from django.utils import timezone

from clubdesk import clock
from clubdesk.roll.models import Household, Person


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


class Acts(LogEntryManager):  # type: ignore[misc] # it has no types
    """Writes what the library found to have changed, with who did it and whom it is about."""

    WITHOUT = ("serialized_data", "cid", "object_id")
    """What the library knows besides and no column of ours is for."""

    def log_create(self, instance: models.Model, force_log: bool = False, **told: Any) -> Any:
        from clubdesk.desk import recording

        if told.get("changes"):
            told["changes"] = recording.as_written(instance, told["changes"])
        row = recording.readable(instance)
        return super().log_create(row, force_log, **recording.whose(row), **told)

    def log_m2m_changes(
        self, changed_queryset: Any, instance: models.Model, operation: str, field_name: str, **told: Any
    ) -> Any:
        from clubdesk.desk import recording

        if changed_queryset.model is Permission:
            changed_queryset = changed_queryset.select_related("content_type")
        if not hasattr(instance, field_name):
            field_name = str(changed_queryset.model._meta.verbose_name_plural)  # seen from the other side
        told |= {"object_repr": str(instance), **recording.whose(instance)}
        return super().log_m2m_changes(changed_queryset, instance, operation, field_name, **told)

    def create(self, **told: Any) -> "ActRecord":
        from clubdesk.desk import recording

        row = ActRecord(**{name: value for name, value in told.items() if name not in self.WITHOUT})
        row.save(force_insert=True)
        recording.tell_the_log(row)
        return row


class ActRecord(AbstractLogEntry):  # type: ignore[misc]
    """That somebody added, changed or deleted a row, with what stood before and what stands since, or was given data.

    `what` is said of the last alone, after the name of who did it. Nobody (`actor`) is the program itself, as where
    roles are renewed. `family` and `person` are whom it is about. Rows are only ever added; erasing somebody's details
    leaves which columns changed and when.
    """

    class Action(AbstractLogEntry.Action):  # type: ignore[misc]
        ERASE = 4
        NOTED = 5
        choices = (
            (AbstractLogEntry.Action.CREATE, "Added"),
            (AbstractLogEntry.Action.UPDATE, "Changed"),
            (AbstractLogEntry.Action.DELETE, "Deleted"),
            (AbstractLogEntry.Action.ACCESS, "Given out, or seen in full"),
            (ERASE, "Erased"),
            (NOTED, "Noted as it stood"),
        )

    action = models.PositiveSmallIntegerField("what was done", choices=Action.choices, db_index=True)
    content_type = models.ForeignKey(ContentType, models.PROTECT, null=True, related_name="+", verbose_name="kind")
    object_pk = models.CharField("number", max_length=40, blank=True, db_index=True)
    object_id = None
    serialized_data = None
    changes_text = None
    cid = None
    remote_port = None
    additional_data = None
    actor_email = None
    object_repr = models.TextField("what it was called", blank=True)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+", verbose_name="who")
    remote_addr = models.GenericIPAddressField("from", null=True)
    timestamp = models.DateTimeField("when", default=clock.now, db_index=True)
    what = models.CharField(max_length=200, blank=True)
    rows = models.PositiveIntegerField(null=True)
    family = models.ForeignKey(Household, models.PROTECT, null=True, related_name="+")
    person = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    objects: ClassVar[Acts] = Acts()

    class Meta:
        ordering = ["-pk"]
        verbose_name = "change or export"
        verbose_name_plural = "changes and exports"

    def __str__(self) -> str:
        return f"{self.get_action_display()} {self.object_repr}".strip()


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


class Regular(models.TextChoices):
    NIGHT = "night", "Last night’s work"
    BACKUP = "backup", "Last backup"
    CHECK = "check", "Books last checked whole"


class Upkeep(models.Model):
    """What this installation has come to the end of: a night's work, a backup, a check of the books without a fault.

    `on` is the night that was done.
    """

    what = models.CharField(max_length=8, choices=Regular.choices)
    on = models.DateField(db_index=True)
    at = models.DateTimeField(default=clock.now)

    class Meta:
        verbose_name = "upkeep"
        verbose_name_plural = "upkeep"

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.at:%Y-%m-%d %H:%M}"
