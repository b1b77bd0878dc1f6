"""Beginner courses, their cohorts, the places in them and who waits."""

from django.db import models
from django.db.models import F, Q

from clubdesk.fees.models import Charge, FeeItem
from clubdesk.ledger.models import Document
from clubdesk.roll.models import Person


class Course(models.Model):
    name = models.CharField(max_length=80, unique=True)
    fee_item = models.ForeignKey(FeeItem, models.PROTECT, related_name="+", limit_choices_to={"kind": "course"})
    minimum_age = models.PositiveSmallIntegerField(
        default=0, help_text="On the day of the first session, unless a cohort says otherwise."
    )
    offer_days = models.PositiveSmallIntegerField(
        default=7, help_text="How many days an offered place is held for an answer."
    )

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name


class Cohort(models.Model):
    """One run of a course: its dates and how many it holds."""

    course = models.ForeignKey(Course, models.PROTECT, related_name="cohorts")
    name = models.CharField(max_length=60)
    first_session = models.DateField()
    last_session = models.DateField()
    capacity = models.PositiveSmallIntegerField()
    minimum_age = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="On the day of the first session; blank where the course's holds."
    )

    class Meta:
        ordering = ["-first_session"]
        constraints = [
            models.UniqueConstraint(fields=["course", "name"], name="courses_cohort_named_once"),
            models.CheckConstraint(condition=Q(last_session__gte=F("first_session")), name="courses_cohort_order"),
            models.CheckConstraint(condition=Q(capacity__gte=1), name="courses_cohort_holds_somebody"),
        ]

    def __str__(self):
        return f"{self.course}, {self.name}"

    @property
    def youngest(self) -> int:
        """The age that somebody must have on the first session."""
        return self.course.minimum_age if self.minimum_age is None else self.minimum_age


class PlaceState(models.TextChoices):
    HELD = "held", "Has a place"
    WAITING = "waiting", "Waiting"
    OFFERED = "offered", "Offered a place"
    LAPSED = "lapsed", "Offer lapsed"
    WITHDRAWN = "withdrawn", "Withdrawn"
    UNREACHED = "unreached", "Waited in vain"


TAKES_A_SEAT = (PlaceState.HELD, PlaceState.OFFERED)
STANDING = (*TAKES_A_SEAT, PlaceState.WAITING)


class Place(Document):
    """A place in a cohort, or in the queue for one. `queue_number` is the order of arrival and never changes."""

    cohort = models.ForeignKey(Cohort, models.PROTECT, related_name="places")
    person = models.ForeignKey(Person, models.PROTECT, related_name="places")
    state = models.CharField(max_length=9, choices=PlaceState.choices)
    booked_on = models.DateField()
    queue_number = models.PositiveIntegerField(null=True, blank=True)
    offer_lapses_on = models.DateField(null=True, blank=True, help_text="The last day to accept the offer.")
    ended_on = models.DateField(null=True, blank=True)
    charge = models.OneToOneField(Charge, models.PROTECT, null=True, blank=True, related_name="place")

    class Meta:
        ordering = ["cohort", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["cohort", "person"],
                condition=Q(state__in=("held", "waiting", "offered")),
                name="courses_one_place_a_person",
            ),
            models.UniqueConstraint(fields=["cohort", "queue_number"], name="courses_queue_number_once"),
            models.CheckConstraint(
                condition=~Q(state__in=("waiting", "offered", "lapsed")) | Q(queue_number__isnull=False),
                name="courses_who_waits_has_a_number",
            ),
            models.CheckConstraint(
                condition=~Q(state="held") | Q(charge__isnull=False), name="courses_held_place_is_charged"
            ),
            models.CheckConstraint(
                condition=~Q(state="offered") | Q(offer_lapses_on__isnull=False),
                name="courses_offer_has_an_end",
            ),
        ]

    def __str__(self):
        return f"{self.person} in {self.cohort}"
