"""Beginner courses: cohorts, the parties that book or wait, their places, and what came of each."""

from datetime import date, timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.courses.states import BOOKING, PLACE
from clubdesk.fees.models import Charge, FeeItem, FeePrice
from clubdesk.ledger.models import Document
from clubdesk.roll.models import Guardian, Household, Person

ADULT_FROM = 18
"""From this age on the first session the adults' fee applies; the usual age of majority, from memory."""

MOST_IN_A_PARTY = 6
OLDEST = 99
"""The highest minimum age that a course can have."""
NOT_A_PERSON = {"families": "the family itself", "shell": "the nightly run"}
WHY_WITHDRAWN = "place withdrawn"
"""What credits and released vouchers of a withdrawal begin their reason with, by which it is undone."""
WHY_SWAPPED = f"{WHY_WITHDRAWN}, another of the family comes"
"""Why the fee of somebody is credited in whose place another of the family comes."""
RANK_STEP = 2**20
"""How far apart parties stand in a waitlist at first, so that one can be put between two others."""


class Course(models.Model):
    name = models.CharField(max_length=80, unique=True)
    fee_item = models.ForeignKey(FeeItem, models.PROTECT, related_name="+", limit_choices_to={"kind": "course"})
    adult_fee_item = models.ForeignKey(
        FeeItem,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        limit_choices_to={"kind": "course"},
        verbose_name="fee item of adults",
        help_text=f"From {ADULT_FROM} years on; blank where they pay the same.",
    )
    minimum_age = models.PositiveSmallIntegerField(
        default=0,
        validators=[MaxValueValidator(OLDEST)],
        help_text="On the day of the first session, unless a cohort says otherwise.",
    )
    offer_days = models.PositiveSmallIntegerField(
        default=7, help_text="How many days an offered place is held for an answer."
    )
    sessions_to_complete = models.PositiveSmallIntegerField(
        default=3, help_text="How many sessions somebody must have come to for the certificate."
    )
    pay_days = models.PositiveSmallIntegerField(
        "days to pay",
        null=True,
        blank=True,
        help_text="A place not paid so many days after it was taken lapses, once the family has been reminded. "
        "Blank: places never lapse.",
    )
    reminder_days = models.PositiveSmallIntegerField(
        "days after the reminder", default=7, help_text="How many days a family has at least after the reminder."
    )
    on_parents_page = models.BooleanField(
        "on the parents' page", default=True, help_text="Whether parents can book it themselves."
    )
    consent_text = models.TextField(
        "what parents agree to",
        blank=True,
        help_text="The club's own words, shown above the button of the parents' page and kept with each booking.",
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(minimum_age__lte=OLDEST), name="courses_course_age_within_a_life")
        ]

    def __str__(self) -> str:
        return self.name


class RefundStep(models.Model):
    """Who withdraws at least `days_before` the first session gets `percent` of the fee back."""

    course = models.ForeignKey(Course, models.CASCADE, related_name="refund_steps")
    days_before = models.PositiveSmallIntegerField("days before the first session")
    percent = models.PositiveSmallIntegerField("per cent of the fee given back", validators=[MaxValueValidator(100)])

    class Meta:
        ordering = ["-days_before"]
        constraints = [
            models.UniqueConstraint(
                fields=["course", "days_before"],
                name="courses_refund_step_once",
                violation_error_message="The refund rule says already what is given back so many days before.",
            ),
            models.CheckConstraint(condition=Q(percent__lte=100), name="courses_refund_step_at_most_all"),
        ]

    def __str__(self) -> str:
        return f"{self.days_before} days before: {self.percent} %"


class Cohort(models.Model):
    """One run of a course: its dates and how many it holds."""

    course = models.ForeignKey(Course, models.PROTECT, related_name="cohorts")
    name = models.CharField(max_length=60)
    first_session = models.DateField()
    last_session = models.DateField()
    days_between = models.PositiveSmallIntegerField("days between sessions", default=7)
    begins_at = models.TimeField("from", null=True, blank=True, help_text="Such as 9:00; families see it.")
    ends_at = models.TimeField("until", null=True, blank=True)
    capacity = models.PositiveSmallIntegerField("seats")
    minimum_age = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(OLDEST)],
        help_text="On the day of the first session; blank where the course's holds.",
    )
    set_up_on = models.DateField(default=clock.today, editable=False)
    cancelled_on = models.DateField(null=True, blank=True, editable=False)
    cancel_reason = models.CharField(max_length=150, blank=True, editable=False)

    class Meta:
        ordering = ["-first_session"]
        constraints = [
            models.UniqueConstraint(
                fields=["course", "name"],
                name="courses_cohort_named_once",
                violation_error_message="The course has a cohort of that name already; choose another name.",
            ),
            models.CheckConstraint(condition=Q(last_session__gte=F("first_session")), name="courses_cohort_order"),
            models.CheckConstraint(condition=Q(capacity__gte=1), name="courses_cohort_holds_somebody"),
            models.CheckConstraint(
                condition=Q(begins_at=None, ends_at=None)
                | Q(begins_at__isnull=False, ends_at__isnull=False, ends_at__gt=F("begins_at")),
                name="courses_cohort_ends_after_it_begins",
                violation_error_message="Say from when until when, the end after the beginning; or neither.",
            ),
            models.CheckConstraint(condition=Q(days_between__gte=1), name="courses_cohort_sessions_apart"),
            models.CheckConstraint(
                condition=Q(minimum_age=None) | Q(minimum_age__lte=OLDEST), name="courses_cohort_age_within_a_life"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course}, {self.name}"

    def clean(self) -> None:
        wrong = {}
        if self.first_session and self.last_session and self.last_session < self.first_session:
            wrong["last_session"] = "The last session is before the first."
        if self.days_between is not None and self.days_between < 1:
            wrong["days_between"] = "Sessions are at least one day apart."
        if self.capacity is not None and self.capacity < 1:
            wrong["capacity"] = "A cohort has at least one seat."
        if wrong:
            raise ValidationError(wrong)

    @property
    def youngest(self) -> int:
        """The age that somebody must have on the first session."""
        return self.course.minimum_age if self.minimum_age is None else self.minimum_age

    @property
    def born_by(self) -> date:
        """Whoever was born on this day or before is old enough on the first session."""
        first = self.first_session
        return day_years_before(first, self.youngest)

    @property
    def sessions(self) -> list[date]:
        """The days of its sessions: the first, and one every `days_between` up to the last."""
        days = (self.last_session - self.first_session).days
        return [self.first_session + timedelta(days=passed) for passed in range(0, days + 1, self.days_between)]


def day_years_before(day: date, years: int) -> date:
    """The latest birthday of somebody who is `years` old on `day`; 28 February where that year has no 29th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return date(day.year - years, 2, 28)


class PlaceState(models.TextChoices):
    HELD = "held", "Has a place"
    WAITING = "waiting", "Waiting"
    OFFERED = "offered", "Offered a place"
    LAPSED = "lapsed", "Lapsed"
    WITHDRAWN = "withdrawn", "Withdrawn"


TAKES_A_SEAT = (PlaceState.HELD, PlaceState.OFFERED)
STANDING = (*TAKES_A_SEAT, PlaceState.WAITING)


class Booking(Document):
    """A party that wants to do a course together. `number` is its order of arrival and never changes.

    `rank` is where it stands in the course's waitlist: at first by its number, and changed only with a reason
    and a person, which the history keeps. `state` and `seats` follow from its places.
    """

    course = models.ForeignKey(Course, models.PROTECT, related_name="bookings")
    household = models.ForeignKey(Household, models.PROTECT, related_name="bookings", verbose_name="family")
    guardian = models.ForeignKey(Guardian, models.SET_NULL, null=True, blank=True, related_name="bookings")
    booked_on = models.DateField()
    number = models.PositiveIntegerField("booking number")
    rank = models.PositiveBigIntegerField(editable=False)
    state = models.CharField(max_length=9, choices=PlaceState.choices, default=PlaceState.WAITING)
    seats = models.PositiveSmallIntegerField("places wanted or held", default=1)
    cannot_make = models.ManyToManyField(Cohort, blank=True, related_name="+", verbose_name="cannot make")
    offer_lapses_on = models.DateField(null=True, blank=True, help_text="The last day to accept the offer.")
    pay_by = models.DateField(null=True, blank=True, help_text="An unpaid place lapses after this day.")
    reminded_on = models.DateField(null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            BOOKING.constraint("courses_booking_state_is_one"),
            models.UniqueConstraint(
                fields=["course", "number"],
                name="courses_booking_number_once",
                violation_error_message="Another booking took this number at the same moment; press the button again.",
            ),
            models.UniqueConstraint(
                fields=["course", "rank"],
                name="courses_booking_rank_once",
                violation_error_message="Another booking took this turn at the same moment; press the button again.",
            ),
            models.CheckConstraint(
                condition=~Q(state="offered") | Q(offer_lapses_on__isnull=False), name="courses_offer_has_an_end"
            ),
        ]
        indexes = [models.Index(fields=["course", "state", "rank"])]

    def __str__(self) -> str:
        return f"{self.household}, {self.course} (booking {self.number})"


class Place(Document):
    """One person's place in a cohort, or in the queue for one with the party."""

    booking = models.ForeignKey(Booking, models.PROTECT, related_name="places")
    course = models.ForeignKey(Course, models.PROTECT, related_name="places")
    cohort = models.ForeignKey(Cohort, models.PROTECT, null=True, blank=True, related_name="places")
    person = models.ForeignKey(Person, models.PROTECT, related_name="places")
    state = models.CharField(max_length=9, choices=PlaceState.choices, default=PlaceState.WAITING)
    ended_on = models.DateField(null=True, blank=True)
    charge = models.OneToOneField(Charge, models.PROTECT, null=True, blank=True, related_name="place")
    offered_price = models.ForeignKey(
        FeePrice,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="What the place costs as it was offered, whatever the fee schedule says by the time it is accepted.",
    )
    free_to_leave_until = models.DateField(
        null=True,
        blank=True,
        help_text="The club has changed the cohort's days: who withdraws by this day gets the whole fee back.",
    )

    class Meta:
        ordering = ["cohort", "pk"]
        constraints = [
            PLACE.constraint("courses_place_state_is_one"),
            models.UniqueConstraint(
                fields=["cohort", "person"],
                condition=Q(state__in=("held", "offered")),
                name="courses_one_seat_a_person",
                violation_error_message="This person has a place in that cohort already.",
            ),
            models.UniqueConstraint(
                fields=["course", "person"],
                condition=Q(state__in=("waiting", "offered")),
                name="courses_one_wait_a_person",
                violation_error_message="This person waits for that course already.",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=("held", "offered")) | Q(cohort__isnull=False),
                name="courses_a_seat_is_in_a_cohort",
            ),
            models.CheckConstraint(
                condition=~Q(state="held") | Q(charge__isnull=False), name="courses_held_place_is_charged"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} in {self.cohort or self.course}"


class Happened(models.TextChoices):
    """What a line of a booking's history tells of."""

    BOOKED = "booked", "Booked"
    SEATED = "seated", "Given places"
    OFFERED = "offered", "Offered places"
    PASSED = "passed", "Passed over"
    ACCEPTED = "accepted", "Accepted"
    LAPSED = "lapsed", "Lapsed"
    MOVED = "moved", "Moved in the waitlist"
    RETURNED = "returned", "Back on the waitlist"
    WITHDRAWN = "withdrawn", "Withdrawn"
    TRANSFERRED = "transferred", "Transferred"
    CHANGED = "changed", "Changed"
    REMINDED = "reminded", "Reminded"


class BookingEvent(models.Model):
    """One line of a party's history, written with the change itself and never altered."""

    booking = models.ForeignKey(Booking, models.PROTECT, related_name="events")
    kind = models.CharField(max_length=11, choices=Happened.choices)
    on = models.DateField()
    words = models.CharField(max_length=300)
    cohort = models.ForeignKey(Cohort, models.PROTECT, null=True, blank=True, related_name="+")
    in_favour_of = models.ForeignKey(Booking, models.PROTECT, null=True, blank=True, related_name="+")
    rank_after = models.PositiveBigIntegerField(null=True, blank=True)
    seats = models.PositiveSmallIntegerField(default=0)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["kind", "on"])]

    def __str__(self) -> str:
        return f"{day_text(self.on)}: {self.words} ({self.by_whom})"

    @property
    def by_whom(self) -> str:
        name = self.recorded_by.get_username()
        return NOT_A_PERSON.get(name, name)


class ReachCheck(Document):
    """Somebody has looked whether a child below the minimum age can draw and hold the club's lightest bow safely."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="reach_checks")
    checked_on = models.DateField()
    checked_by = models.CharField(max_length=100, help_text="Who watched the child draw.")

    class Meta:
        verbose_name = "draw check"
        ordering = ["-checked_on", "-pk"]

    def __str__(self) -> str:
        return f"Draw check of {self.person}, {day_text(self.checked_on)}, by {self.checked_by}"


class Attendance(models.Model):
    """Somebody came to a session."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="attendances")
    held_on = models.DateField("session")
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["held_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "held_on"],
                name="courses_attendance_once",
                violation_error_message="This person is marked as present in that session already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.place.person}, {day_text(self.held_on)}"


class Certificate(Document):
    """A certificate of completion; its number carries a check digit and can be checked on the parents' page."""

    place = models.OneToOneField(Place, models.PROTECT, related_name="certificate")
    number = models.CharField(max_length=12, unique=True)
    completed_on = models.DateField(help_text="The session that completed the course.")

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"Certificate {self.shown_number} of {self.place.person}"

    @property
    def shown_number(self) -> str:
        return f"{self.number[:3]} {self.number[3:6]} {self.number[6:]}"


class PageUse(models.Model):
    """That the parents' page was used, by a digest of the address or e-mail; kept for a day, to hold a limit."""

    who = models.CharField(max_length=64)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        indexes = [models.Index(fields=["who", "at"])]

    def __str__(self) -> str:
        return f"{self.at}"
