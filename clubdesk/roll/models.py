"""Who is who: households that pay, their guardians, and their people."""

from datetime import date
from typing import ClassVar, TypeVar

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.ledger.models import Document, Party

Row = TypeVar("Row", bound=models.Model)


class Standing(models.Manager[Row]):
    """Those who are not merged into others; a foreign key leads to any."""

    def get_queryset(self) -> models.QuerySet[Row]:
        return super().get_queryset().filter(merged_into=None)


class Household(models.Model):
    """Who pays. Each household is a party of the ledger, with one balance."""

    name = models.CharField("family", max_length=100, help_text="As you would say it: “the Mirabar family”.")
    party = models.OneToOneField(Party, models.PROTECT, editable=False)
    merged_into = models.ForeignKey("self", models.PROTECT, null=True, blank=True, editable=False, related_name="+")

    objects = Standing["Household"]()
    everyone: ClassVar[models.Manager["Household"]] = models.Manager()

    class Meta:
        verbose_name = "family"
        verbose_name_plural = "families"
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name

    @property
    def now(self) -> "Household":
        """Which family it is: another, once the two turned out to be one."""
        return self.merged_into.now if self.merged_into else self


class Belonging(models.Model):
    """That somebody who signs in belongs to a family, and from when to when: they never decide about its money.

    History: a row is never changed but once, to say that it ended; nobody ends their own.
    """

    household = models.ForeignKey(Household, models.PROTECT, related_name="belongings", verbose_name="family")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="belongings")
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["household", "user"],
                condition=Q(ended_at=None),
                name="roll_somebody_belongs_once",
                violation_error_message="They belong to this family already.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by=None) | Q(ended_at__isnull=False, ended_by__isnull=False),
                name="roll_belonging_ended_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(ended_by=None) | ~Q(ended_by=F("user")), name="roll_nobody_takes_themselves_off"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}, {self.household}"


class Guardian(models.Model):
    """Who answers for a child. `link_version` is of their link to the family's pages: a higher one ends the earlier.

    Whose `news_ended_at` is a moment is written to about their own bookings, money and safety alone.
    """

    household = models.ForeignKey(Household, models.PROTECT, related_name="guardians", verbose_name="family")
    name = models.CharField(max_length=100)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=30, blank=True)
    link_version = models.PositiveIntegerField(default=1, editable=False)
    news_ended_at = models.DateTimeField("no news since", null=True, blank=True, editable=False)

    class Meta:
        ordering = ["household", "pk"]

    def __str__(self) -> str:
        return self.name


class Person(models.Model):
    household = models.ForeignKey(Household, models.PROTECT, related_name="people", verbose_name="family")
    given_name = models.CharField(max_length=60)
    family_name = models.CharField(max_length=60)
    birth_date = models.DateField("date of birth")

    erased_on = models.DateField(null=True, blank=True, editable=False)
    merged_into = models.ForeignKey("self", models.PROTECT, null=True, blank=True, editable=False, related_name="+")

    objects = Standing["Person"]()
    everyone: ClassVar[models.Manager["Person"]] = models.Manager()

    class Meta:
        ordering = ["family_name", "given_name", "pk"]
        verbose_name_plural = "people"
        permissions = [("erase_person", "Can erase a person's details after the years of keeping")]

    def __str__(self) -> str:
        return f"{self.given_name} {self.family_name}"

    @property
    def now(self) -> "Person":
        """Who it is: another of the roll, once the two turned out to be one."""
        return self.merged_into.now if self.merged_into else self

    def clean(self) -> None:
        if self.birth_date and (fault := fault_of_birth_date(self.birth_date, clock.today())):
            raise ValidationError({"birth_date": fault})

    def age_on(self, day: date) -> int:
        return age_on(self.birth_date, day)

    def age_class_on(self, day: date) -> str:
        return age_class_on(self.birth_date, day)


AGE_CLASSES = ((13, "Under 14"), (15, "Under 16"), (17, "Under 18"), (20, "Under 21"))
ADULT_CLASS = "Open"
JUNIOR_CLASSES = tuple(name for _, name in AGE_CLASSES)


def age_on(birth_date: date, day: date) -> int:
    """Whole years lived on `day`; someone born on 29 February has the birthday on 1 March in other years."""
    return day.year - birth_date.year - ((day.month, day.day) < (birth_date.month, birth_date.day))


LONGEST_LIFE = 115


def fault_of_birth_date(birth_date: date, today: date) -> str:
    """What is wrong with a date of birth; blank where it can be right."""
    if birth_date > today:
        return "That day has not come yet; check the year."
    if age_on(birth_date, today) > LONGEST_LIFE:
        return "That is too long ago; check the year."
    return ""


def age_class_on(birth_date: date, day: date) -> str:
    """The age class in the calendar year of `day`.

    Source: Archery Australia age classes as a state association publishes them: Under 14 to 31 December of
    the year of the 13th birthday, Under 16 of the 15th, Under 18 of the 17th, Under 21 of the 20th. The name
    of the class above them, Open, is from memory.
    """
    turning = day.year - birth_date.year
    return next((name for oldest, name in AGE_CLASSES if turning <= oldest), ADULT_CLASS)


class Consent(models.Model):
    """What a guardian agreed to, in the words that were shown, and when."""

    key = models.UUIDField(unique=True, null=True, editable=False)
    household = models.ForeignKey(Household, models.PROTECT, related_name="consents", verbose_name="family")
    given_by = models.CharField(max_length=100)
    wording = models.TextField()
    given_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-given_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.given_by}, {day_text(self.given_at)}"


class NewsChoice(Document):
    """That a guardian wants the club's news, in the words that were shown and their version, or wants none any more.

    Never changed; a guardian's newest counts. `Guardian.news_ended_at` follows it.
    """

    household = models.ForeignKey(Household, models.PROTECT, related_name="news_choices", verbose_name="family")
    said_by = models.CharField(max_length=100)
    wanted = models.BooleanField("wants news")
    wording = models.TextField(blank=True)
    version = models.PositiveSmallIntegerField(default=0)
    said_at = models.DateTimeField(default=clock.now)

    class Meta:
        ordering = ["-pk"]
        default_permissions = ()
        constraints = [
            models.CheckConstraint(condition=Q(wanted=False) | ~Q(wording=""), name="roll_news_wanted_in_words")
        ]

    def __str__(self) -> str:
        did = f"agreed to version {self.version}" if self.wanted else "ended it"
        return f"{self.said_by} {did}, {day_text(self.said_at)}"


class Merge(Document):
    """Two people, or two families, turned out to be one: all that was the `other`'s is the first one's from then on.

    One entry moves the balances of a family, where it had any. A day later it can no longer be undone.
    """

    household = models.ForeignKey(
        Household, models.PROTECT, null=True, editable=False, related_name="+", verbose_name="family"
    )
    other_household = models.ForeignKey(
        Household, models.PROTECT, null=True, related_name="+", verbose_name="the same family"
    )
    person = models.ForeignKey(Person, models.PROTECT, null=True, editable=False, related_name="+")
    other_person = models.ForeignKey(
        Person, models.PROTECT, null=True, related_name="+", verbose_name="the same person"
    )
    merged_on = models.DateField()
    moves_money = models.BooleanField(default=False)
    undone_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(household=None, other_household=None, person__isnull=False, other_person__isnull=False)
                & ~Q(person=F("other_person"))
                | Q(person=None, other_person=None, household__isnull=False, other_household__isnull=False)
                & ~Q(household=F("other_household")),
                name="roll_merge_is_of_two",
            ),
            models.CheckConstraint(
                condition=Q(moves_money=False) | Q(household__isnull=False), name="roll_only_families_have_balances"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gone} merged into {self.stays}, {day_text(self.merged_on)}"

    @property
    def stays(self) -> "Household | Person":
        found = self.household or self.person
        assert found is not None, "a constraint says so"
        return found

    @property
    def gone(self) -> "Household | Person":
        found = self.other_household or self.other_person
        assert found is not None, "a constraint says so"
        return found

    @property
    def entries_called_for(self) -> set[str]:
        return {"merge"} if self.moves_money and not self.undone_on else set()

    @property
    def why_undone(self) -> str:
        return "they are two after all"


class MovedRow(models.Model):
    """A row that led to the one who was merged into another, by which column; undoing leads it back."""

    merge = models.ForeignKey(Merge, models.PROTECT, related_name="moved")
    table_name = models.CharField(max_length=63)
    column_name = models.CharField(max_length=63)
    row_id = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["table_name", "row_id"])]
        constraints = [
            models.UniqueConstraint(
                fields=["merge", "table_name", "column_name", "row_id"],
                name="roll_moved_once",
                violation_error_message="This row was moved with the merge already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.table_name} {self.row_id}"
