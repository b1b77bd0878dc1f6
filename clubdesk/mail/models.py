"""Letters to families, each kept with what became of it."""

from django.contrib.auth.models import User
from django.db import models
from django.db.models import Q

from clubdesk import clock
from clubdesk.lettering import Wording
from clubdesk.roll.models import Household


class MessageState(models.TextChoices):
    WAITING = "waiting", "Waiting to go out"
    SENDING = "sending", "Going out"
    SENT = "sent", "Sent"
    FAILED = "failed", "Could not be sent"
    NO_ADDRESS = "no_address", "No e-mail address"
    UNWANTED = "unwanted", "Not sent: no news wanted"


LINK = "{link}"


class Message(models.Model):
    """One letter to one address. `about` says what it is about, and makes writing it twice impossible.

    The body holds `{link}` where the family's own link goes in when it is sent, so that nobody who reads the
    book's messages can follow it. News goes after all other letters, and to nobody who wants none when it is sent.
    """

    about = models.CharField(max_length=120, unique=True, editable=False)
    household = models.ForeignKey(
        Household, models.PROTECT, null=True, blank=True, related_name="messages", verbose_name="family"
    )
    to = models.EmailField(blank=True)
    subject = models.CharField(max_length=150)
    body = models.TextField()
    link_path = models.CharField(max_length=200, blank=True, editable=False)
    is_news = models.BooleanField("news", default=False, editable=False)
    written_at = models.DateTimeField(default=clock.now)
    state = models.CharField(max_length=10, choices=MessageState.choices, default=MessageState.WAITING)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(default=clock.now)
    tried_at = models.DateTimeField("last try", null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-written_at", "-pk"]
        verbose_name = "letter"
        constraints = [
            models.CheckConstraint(condition=~Q(state="sent") | Q(sent_at__isnull=False), name="mail_sent_has_a_time"),
            models.CheckConstraint(condition=~Q(to="") | Q(state="no_address"), name="mail_goes_to_an_address"),
        ]
        indexes = [models.Index(fields=["state", "next_try_at"]), models.Index(fields=["tried_at"])]

    def __str__(self) -> str:
        return f"{self.subject} to {self.to or 'nobody'}"


class LetterText(models.Model):
    """A text that a kind of letter was given, never changed; the latest of its kind counts.

    Subject and body are blank where the text that comes with the program was put back.
    """

    kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=150, blank=True)
    body = models.TextField(blank=True)
    changed_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    changed_at = models.DateTimeField(default=clock.now)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "text of a letter"
        verbose_name_plural = "texts of letters"
        constraints = [
            models.CheckConstraint(
                condition=Q(subject="", body="") | ~Q(subject="") & ~Q(body=""), name="mail_text_is_whole_or_put_back"
            ),
        ]
        indexes = [models.Index(fields=["kind", "-id"])]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"

    @property
    def wording(self) -> Wording | None:
        """What it says; None where it puts the first text back."""
        return Wording(self.subject, self.body) if self.body else None
