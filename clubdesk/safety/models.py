"""A safe day: who is on duty and with which checks, who came alone and who collected them, and what went wrong.

Local law comes first: it says who may work with children, by which check, and whom to tell where a child may be at
risk. Sources: National Principles for Child Safe Organisations, principles 5 (suitable people), 6 (complaints and
concerns) and 8 (safe surroundings); as one state's example Child Safety (Prohibited Persons) Act 2016 (SA) ss 16–18.
"""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from clubdesk.clock import day_text
from clubdesk.ledger.models import Document
from clubdesk.rangeday.models import Kit, RangeDay
from clubdesk.roll.models import Person

KEEP_YEARS, FEWEST_YEARS = 45, 7
"""For so many years an incident is kept unless the club says otherwise. Source: Royal Commission into Institutional
Responses to Child Sexual Abuse, Final Report, volume 8, recommendation 8.1 (records about child sexual abuse).
"""


class DayRules(models.Model):
    """What the club itself asks of a range day, from a day on; the newest counts."""

    since = models.DateField("from", unique=True)
    people = models.PositiveSmallIntegerField(
        "people on duty", default=2, help_text="With a current working with children check. 0: the club asks for none."
    )
    children = models.PositiveSmallIntegerField(
        "for every so many children",
        default=12,
        validators=[MinValueValidator(1, "At least for one child.")],
        help_text="Such as 2 people for every 12 children begun: 2 for 12, 4 for 13.",
    )
    arrivals = models.BooleanField(
        "arrivals and leavings are noted",
        default=False,
        help_text="Of children who come without a guardian: when they came, when they left, and who collected them.",
    )
    keep_years = models.PositiveSmallIntegerField(
        "incidents are kept for so many years",
        default=KEEP_YEARS,
        validators=[MinValueValidator(FEWEST_YEARS, f"At least {FEWEST_YEARS} years.")],
        help_text=(
            "The law of your place comes first. The Royal Commission into Institutional Responses to Child Sexual "
            "Abuse (recommendation 8.1) asks for at least 45 years for records about child sexual abuse. A shorter "
            "time counts only for what happens from then on."
        ),
    )

    class Meta:
        ordering = ["-since"]
        verbose_name = "set of rules for a safe day"
        verbose_name_plural = "rules for a safe day"
        constraints = [
            models.CheckConstraint(condition=Q(children__gt=0), name="safety_rules_are_for_children"),
            models.CheckConstraint(condition=Q(keep_years__gte=FEWEST_YEARS), name="safety_incidents_are_kept_long"),
        ]

    def __str__(self) -> str:
        return f"Rules for a safe day from {day_text(self.since)}"


class Duty(models.TextChoices):
    COACH = "coach", "Coach"
    LINE = "line", "Line supervisor"
    FIRST_AID = "first_aid", "First aid"
    HELPER = "helper", "Helper"


class CheckKind(models.TextChoices):
    CHILDREN = "children", "Working with children check"
    COACHING = "coaching", "Coaching accreditation"
    FIRST_AID = "first_aid", "First-aid accreditation"


ASKED_OF = {
    Duty.COACH: (CheckKind.CHILDREN, CheckKind.COACHING),
    Duty.LINE: (CheckKind.CHILDREN,),
    Duty.FIRST_AID: (CheckKind.CHILDREN, CheckKind.FIRST_AID),
    Duty.HELPER: (CheckKind.CHILDREN,),
}
"""Which checks may not have lapsed of whoever has a duty."""


class VolunteerCheck(Document):
    """A check or accreditation of a volunteer, as somebody of another family saw it on a day."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="volunteer_checks")
    kind = models.CharField(max_length=9, choices=CheckKind.choices)
    number = models.CharField(max_length=40)
    expires_on = models.DateField("good through")
    verified_on = models.DateField("seen on")
    ended_on = models.DateField("no longer good since", null=True, blank=True)
    end_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["expires_on", "pk"]
        verbose_name = "check of a volunteer"
        verbose_name_plural = "checks of volunteers"
        default_permissions = ("add", "change", "view")
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=CheckKind.values), name="safety_check_kind"),
            models.CheckConstraint(condition=~Q(number=""), name="safety_check_has_a_number"),
            models.CheckConstraint(
                condition=Q(ended_on=None) | ~Q(end_reason=""), name="safety_check_ended_for_a_reason"
            ),
            models.UniqueConstraint(
                fields=["person", "kind", "expires_on"],
                condition=Q(ended_on=None),
                name="safety_check_stands_once",
                violation_error_message="This check of theirs is written down already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.person}, good through {day_text(self.expires_on)}"


class Turn(Document):
    """Somebody is on duty on a range day; a turn that another took over has ended, and theirs says whose it was."""

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="turns")
    person = models.ForeignKey(Person, models.PROTECT, related_name="turns")
    duty = models.CharField(max_length=9, choices=Duty.choices)
    takes_over = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="taken_over_by", verbose_name="took over"
    )
    swap_asked_on = models.DateField("asks to swap since", null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-range_day__date", "pk"]
        verbose_name = "turn on duty"
        verbose_name_plural = "turns on duty"
        default_permissions = ("add", "change", "view")
        constraints = [
            models.CheckConstraint(condition=Q(duty__in=Duty.values), name="safety_turn_duty"),
            models.CheckConstraint(
                condition=Q(ended_on=None) | ~Q(end_reason=""), name="safety_turn_ended_for_a_reason"
            ),
            models.UniqueConstraint(
                fields=["range_day", "person", "duty"],
                condition=Q(ended_on=None),
                name="safety_on_duty_once",
                violation_error_message="They are on duty for this already on that day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.get_duty_display().lower()}, {self.range_day}"


class Opening(Document):
    """That a range day began: for how many children, how many the club's rules ask for, and how many there were on duty
    with a current check. Fewer only for a reason; one with a reason stands for the whole day.
    """

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="openings")
    children = models.PositiveSmallIntegerField()
    needed = models.PositiveSmallIntegerField("people asked for")
    on_duty = models.PositiveSmallIntegerField("on duty with a current check")
    reason = models.CharField("why with fewer", max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "opening of a range day"
        verbose_name_plural = "openings of range days"
        default_permissions = ("add", "view")
        constraints = [
            models.CheckConstraint(condition=Q(children__gt=0), name="safety_opened_for_somebody"),
            models.CheckConstraint(
                condition=Q(on_duty__gte=models.F("needed")) | ~Q(reason=""),
                name="safety_opened_with_enough_or_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.range_day}: {self.on_duty} on duty of {self.needed} asked for"


class Stay(Document):
    """A child who came without a guardian: when, and when and with whom they left."""

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="stays")
    person = models.ForeignKey(Person, models.PROTECT, related_name="stays", verbose_name="child")
    came_at = models.DateTimeField()
    left_at = models.DateTimeField(null=True, blank=True)
    collected_by = models.CharField(max_length=100, blank=True)
    agreed_by = models.CharField("who agreed to that", max_length=100, blank=True)

    class Meta:
        ordering = ["-came_at", "-pk"]
        verbose_name = "arrival of a child"
        verbose_name_plural = "arrivals and leavings"
        default_permissions = ("add", "change", "view")
        constraints = [
            models.CheckConstraint(
                condition=Q(left_at=None, collected_by="") | Q(left_at__isnull=False) & ~Q(collected_by=""),
                name="safety_leaves_with_somebody",
            ),
            models.CheckConstraint(
                condition=Q(left_at=None) | Q(left_at__gte=models.F("came_at")), name="safety_leaves_after_coming"
            ),
            models.UniqueConstraint(
                fields=["range_day", "person"],
                condition=Q(left_at=None),
                name="safety_is_there_once",
                violation_error_message="This child is noted as being there already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.range_day}"


class Weather(models.TextChoices):
    HEAT = "heat", "Heat"
    WIND = "wind", "Wind"
    OTHER = "other", "Other weather"


class WeatherNote(Document):
    """What somebody noted of the weather of a range day, by hand."""

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="weather_notes")
    kind = models.CharField(max_length=5, choices=Weather.choices)
    words = models.CharField("what was seen or read", max_length=120)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "note on the weather"
        verbose_name_plural = "notes on the weather"
        default_permissions = ("add",)
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=Weather.values), name="safety_weather_kind"),
            models.CheckConstraint(condition=~Q(words=""), name="safety_weather_says_what"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.words}"


class IncidentKind(models.TextChoices):
    INCIDENT = "incident", "Incident"
    NEAR_MISS = "near_miss", "Near miss"


class Incident(Document):
    """Something that went wrong, or nearly. The record is never deleted and not changed; after `kept_until`, or as long
    as the club keeps such records since, its words and names go.
    """

    kind = models.CharField(max_length=9, choices=IncidentKind.choices)
    happened_on = models.DateField()
    happened_at = models.TimeField("at", null=True, blank=True)
    place = models.CharField("where", max_length=100)
    what = models.TextField("what happened", max_length=3000)
    first_aid = models.CharField("first aid given", max_length=300, blank=True)
    at_risk = models.BooleanField("a child may be at risk", default=False)
    told_on = models.DateField("guardian told on", null=True, blank=True)
    told_whom = models.CharField("who was told", max_length=150, blank=True)
    kept_until = models.DateField()

    class Meta:
        ordering = ["-happened_on", "-pk"]
        verbose_name = "incident or near miss"
        verbose_name_plural = "incidents and near misses"
        default_permissions = ("add", "change", "view")
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=IncidentKind.values), name="safety_incident_kind"),
            models.CheckConstraint(condition=~Q(what="") & ~Q(place=""), name="safety_incident_says_what_and_where"),
            models.CheckConstraint(
                condition=Q(told_on=None, told_whom="") | Q(told_on__isnull=False) & ~Q(told_whom=""),
                name="safety_told_somebody_on_a_day",
            ),
            models.CheckConstraint(condition=Q(kept_until__gt=models.F("happened_on")), name="safety_incident_is_kept"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {day_text(self.happened_on)}"


class Part(models.TextChoices):
    CHILD = "child", "Child"
    HELPER = "helper", "Helper"
    OTHER = "other", "Somebody else"
    KIT = "kit", "Piece of kit"


class Involved(Document):
    """Who or what was part of an incident; the name stands here as long as the incident is kept."""

    incident = models.ForeignKey(Incident, models.PROTECT, related_name="involved")
    part = models.CharField(max_length=6, choices=Part.choices)
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="incidents")
    kit = models.ForeignKey(Kit, models.PROTECT, null=True, blank=True, related_name="incidents")
    name = models.CharField(max_length=120)

    class Meta:
        ordering = ["pk"]
        verbose_name = "part of an incident"
        verbose_name_plural = "parts of incidents"
        default_permissions = ()
        constraints = [
            models.CheckConstraint(
                condition=Q(part="kit", kit__isnull=False, person=None)
                | Q(part__in=("child", "helper", "other"), kit=None),
                name="safety_involved_is_somebody_or_kit",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="safety_involved_is_named"),
            models.UniqueConstraint(
                fields=["incident", "person", "part"],
                name="safety_involved_once",
                violation_error_message="They are named in this record already.",
            ),
            models.UniqueConstraint(
                fields=["incident", "kit"],
                name="safety_kit_involved_once",
                violation_error_message="This piece of kit is named in this record already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_part_display()}: {self.name}"


class IncidentNote(Document):
    """What was done or found out since; added to the record, which itself stays as it was."""

    incident = models.ForeignKey(Incident, models.PROTECT, related_name="notes")
    noted_on = models.DateField()
    words = models.TextField("what was done or found out", max_length=3000)

    class Meta:
        ordering = ["pk"]
        verbose_name = "note to an incident"
        verbose_name_plural = "notes to incidents"
        default_permissions = ()
        constraints = [models.CheckConstraint(condition=~Q(words=""), name="safety_note_says_something")]

    def __str__(self) -> str:
        return f"Note of {day_text(self.noted_on)}"
