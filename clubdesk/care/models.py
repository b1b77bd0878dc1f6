"""Whom to ring for somebody, what a helper must know, who may collect them, and what their family agreed to.

What is told about health stands in a table of its own, which no list, search, workbook, audit pack or log shows; a
backup holds it, as it holds all of the book. Local law comes first. Source for one country: Privacy Act 1988 (Cth),
Schedule 1: APP 3.3 (sensitive information is collected with consent, and as far as it is needed), APP 11.2 (what is no
longer needed is destroyed); section 6 counts health information as sensitive.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q

from clubdesk import clock
from clubdesk.care import texts
from clubdesk.clock import day_text
from clubdesk.ledger.models import Document
from clubdesk.roll.models import Household, Person


class PersonToRing(models.Model):
    """Whom a helper rings, the first before the second."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="to_ring")
    place = models.PositiveSmallIntegerField(choices=[(1, "first"), (2, "second")])
    name = models.CharField(max_length=100)
    phone = models.CharField(max_length=30)
    who = models.CharField("who they are to the child", max_length=40, blank=True)

    class Meta:
        ordering = ["person", "place"]
        verbose_name = "person to ring"
        verbose_name_plural = "people to ring"
        default_permissions = ("view", "change")
        constraints = [
            models.UniqueConstraint(
                fields=["person", "place"],
                name="care_one_to_ring_a_place",
                violation_error_message="Somebody else saved whom to ring meanwhile; load the page again.",
            ),
            models.CheckConstraint(condition=Q(place__in=[1, 2]), name="care_two_to_ring_at_most"),
            models.CheckConstraint(condition=~Q(name="") & ~Q(phone=""), name="care_who_is_rung_has_a_phone"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.phone}"


class MayCollect(models.Model):
    """Somebody besides the guardians who may collect a child."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="may_collect")
    name = models.CharField(max_length=100)
    phone = models.CharField(max_length=30, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = "person who may collect"
        verbose_name_plural = "people who may collect"
        default_permissions = ()

    def __str__(self) -> str:
        return self.name


class HealthNote(models.Model):
    """What a helper must know, in the family's own few words, and who said so when. It goes as a whole: nothing stays
    of one that is no longer needed.
    """

    person = models.OneToOneField(Person, models.PROTECT, related_name="health_note")
    allergy = models.CharField("allergies", max_length=200, blank=True)
    medication = models.CharField(max_length=200, blank=True)
    needs = models.CharField("what else a helper must know", max_length=200, blank=True)
    said_by = models.CharField(max_length=100)
    said_at = models.DateTimeField(default=clock.now)

    class Meta:
        default_permissions = ("view", "change")
        permissions = [("look_healthnote", "Can see whom to ring and what to know of who is signed on at the range")]

    def __str__(self) -> str:
        return f"Health note of person {self.person_id}"


class Kind(models.TextChoices):
    """What a family agrees to or not: for each of its own, but for the news, which each guardian has for themselves."""

    PHOTOS = "photos", "Photos"
    FIRST_AID = "first_aid", "First aid"
    DATA = "data", "Use of data"
    NEWS = "news", "News of the club"


OF_EACH = (Kind.PHOTOS, Kind.FIRST_AID, Kind.DATA)
DEFAULTS = {
    Kind.PHOTOS: texts.PHOTOS, Kind.FIRST_AID: texts.FIRST_AID, Kind.DATA: texts.DATA, Kind.NEWS: texts.NEWS,
}  # fmt: skip


class AgreementText(models.Model):
    """The words of what is agreed to; another version is another row. One that `asks_anew` is not answered by what was
    said to an earlier version.
    """

    kind = models.CharField(max_length=9, choices=Kind.choices)
    version = models.PositiveSmallIntegerField()
    text = models.TextField(max_length=3000)
    asks_anew = models.BooleanField(
        "families are asked anew", default=False, help_text="Else what they said to the words before goes on to count."
    )
    written_on = models.DateField()

    class Meta:
        ordering = ["kind", "-version"]
        verbose_name = "text that families agree to"
        verbose_name_plural = "texts that families agree to"
        default_permissions = ("add", "view")
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "version"],
                name="care_text_version_once",
                violation_error_message="Somebody else wrote a new version meanwhile; load the page again.",
            ),
            models.CheckConstraint(condition=Q(kind__in=Kind.values), name="care_text_kind"),
            models.CheckConstraint(
                condition=~Q(kind=Kind.NEWS) | Q(asks_anew=False), name="care_nobody_is_asked_anew_for_news"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, version {self.version}"


class Agreement(Document):
    """What was said to one text for one person; never changed, the newest of its kind counts."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="agreements")
    text = models.ForeignKey(AgreementText, models.PROTECT, related_name="agreements")
    given = models.BooleanField()
    said_by = models.CharField(max_length=100)
    said_on = models.DateField()

    class Meta:
        ordering = ["-pk"]
        default_permissions = ("add", "view")

    def __str__(self) -> str:
        return f"{self.text}: {'agreed' if self.given else 'not agreed'}, {self.said_by}, {day_text(self.said_on)}"


class Confirmation(models.Model):
    """That a family has looked at all of it, and it was right that day."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="confirmations", verbose_name="family")
    confirmed_on = models.DateField()
    said_by = models.CharField(max_length=100)

    class Meta:
        ordering = ["-confirmed_on", "-pk"]
        default_permissions = ()

    def __str__(self) -> str:
        return f"{self.household}, {day_text(self.confirmed_on)}"


class Look(models.Model):
    """That somebody has looked at whom to ring and what to know: at the range on `day`, else at a desk."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="looks")
    looked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    looked_at = models.DateTimeField(default=clock.now)
    day = models.DateField("range day", null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        default_permissions = ("view",)
        verbose_name = "look at whom to ring"
        verbose_name_plural = "who looked, and when"

    def __str__(self) -> str:
        return f"{self.looked_by} looked at {self.person}"
