"""Who is who: households that pay, their guardians, and their people."""

from datetime import date

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.ledger.models import Party


class Household(models.Model):
    """Who pays. Each household is a party of the ledger, with one balance."""

    name = models.CharField("household", max_length=100, help_text="As you would say it: “the Mirabar family”.")
    party = models.OneToOneField(Party, models.PROTECT, editable=False)
    users = models.ManyToManyField(
        settings.AUTH_USER_MODEL,
        blank=True,
        related_name="households",
        verbose_name="sign-ins of this household",
        help_text="Whoever signs in here and belongs to this household never decides about its money.",
    )

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class Guardian(models.Model):
    household = models.ForeignKey(Household, models.PROTECT, related_name="guardians")
    name = models.CharField(max_length=100)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=30, blank=True)

    class Meta:
        ordering = ["household", "pk"]

    def __str__(self) -> str:
        return self.name


class Person(models.Model):
    household = models.ForeignKey(Household, models.PROTECT, related_name="people")
    given_name = models.CharField(max_length=60)
    family_name = models.CharField(max_length=60)
    birth_date = models.DateField("date of birth")

    erased_on = models.DateField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["family_name", "given_name", "pk"]
        verbose_name_plural = "people"
        permissions = [("erase_person", "Can erase a person's details after the years of keeping")]

    def __str__(self) -> str:
        return f"{self.given_name} {self.family_name}"

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
    household = models.ForeignKey(Household, models.PROTECT, related_name="consents")
    given_by = models.CharField(max_length=100)
    wording = models.TextField()
    given_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-given_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.given_by}, {day_text(self.given_at)}"
