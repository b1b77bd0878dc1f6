"""What the club wrote to many families at once."""

from django.db import models
from django.db.models import Q

from clubdesk.clock import day_text
from clubdesk.ledger.models import Document


class Concern(models.TextChoices):
    NEWS = "news", "News of the club"
    OWN = "own", "Their own booking, money or safety"


class Writing(Document):
    """A letter to many families, as it was written, to whom, and how many of them it went to; kept for good.

    The letters are those of the mail room, one a family.
    """

    written_on = models.DateField()
    subject = models.CharField(max_length=120)
    text = models.TextField(max_length=4000)
    concern = models.CharField("kind of letter", max_length=4, choices=Concern.choices)
    audience = models.CharField("to", max_length=200)
    letters = models.PositiveIntegerField("letters")
    without_address = models.PositiveIntegerField("families without an e-mail address")
    declined = models.PositiveIntegerField("families that want no news")
    had_it = models.PositiveIntegerField("families that had it already")

    class Meta:
        ordering = ["-pk"]
        verbose_name = "letter to many"
        verbose_name_plural = "letters to many"
        constraints = [
            models.CheckConstraint(condition=~Q(subject="") & ~Q(text=""), name="news_writing_says_something"),
            models.CheckConstraint(
                condition=Q(concern__in=[each.value for each in Concern]), name="news_writing_is_news_or_their_own"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject}, {day_text(self.written_on)}"
