"""The rules of each scheme of sport vouchers, as a club enters them: for whom, for what, how many and when."""

from calendar import monthrange
from collections.abc import Iterator
from datetime import date

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from clubdesk.clock import day_text
from clubdesk.fees.eligible import AgedBy, Ages, CheckDigit
from clubdesk.ledger.models import Party
from clubdesk.money import Cents

WEIGHTS = "Write whole numbers with a space between, as in 3 1 3 1."


class KeyKind(models.TextChoices):
    """What a voucher is known by to the department."""

    CODE = "code", "A code, used once"
    CHILD = "child", "A number of the child, the same each time"


class ClaimsAs(models.TextChoices):
    """The kind of file that the department takes."""

    CSV = "csv", "CSV"
    XLSX = "xlsx", "XLSX"


class GivesBack(models.TextChoices):
    """What the club owes the department of a voucher that was paid, once its child has left."""

    NOTHING = "nothing", "Nothing: the club keeps what was paid"
    REST = "rest", "What is beyond what the club keeps of the fee"
    WHOLE = "whole", "All of it, also where the club keeps a part of the fee"


class VoucherScheme(models.Model):
    """A government department's sport voucher and its rules; what it is worth stands by year.

    Its year begins on the first of a month and is called by the calendar year in which it begins.
    """

    name = models.CharField(max_length=80, unique=True)
    department = models.ForeignKey(Party, models.PROTECT, related_name="+", limit_choices_to={"kind": "department"})
    aged_by = models.CharField("whom it is for goes by", max_length=6, choices=AgedBy.choices, default=AgedBy.DAY)
    youngest = models.PositiveSmallIntegerField(
        "youngest age",
        null=True,
        blank=True,
        help_text="By school year: the first that it is for, 0 for the first of all.",
    )
    youngest_months = models.PositiveSmallIntegerField("and months", default=0)
    oldest = models.PositiveSmallIntegerField("oldest age", null=True, blank=True)
    on_month = models.PositiveSmallIntegerField(
        "named day: month", default=1,
        help_text="By a named day: that day. By school year: who is old enough on it begins school in that year.",
    )  # fmt: skip
    on_day = models.PositiveSmallIntegerField("day", default=1)
    starts_at = models.PositiveSmallIntegerField("age at which school begins", default=5)
    favours_child = models.BooleanField(
        "a doubt is for the child", default=False,
        help_text="Its age on the day of issue counts as well, and a birthday on 29 February is kept on the 28th.",
    )  # fmt: skip
    pays_memberships = models.BooleanField("pays memberships", default=True)
    pays_courses = models.BooleanField("pays courses", default=True)
    pays_other = models.BooleanField("pays other fees", default=True)
    least_sessions = models.PositiveSmallIntegerField("sessions at least", null=True, blank=True)
    least_weeks = models.PositiveSmallIntegerField("weeks at least", null=True, blank=True)
    registration_days = models.PositiveSmallIntegerField(
        "days after registration", null=True, blank=True,
        help_text="Taken no later than so many days after the fee was charged; 0: only on that day. Blank: any time.",
    )  # fmt: skip
    only_unpaid = models.BooleanField(
        "never for what is paid already", default=False,
        help_text="It pays only what of the fee is still to pay. Otherwise what was paid becomes the family’s credit.",
    )  # fmt: skip
    no_money_back = models.BooleanField(
        "never given back as money", default=False,
        help_text="The credit that it makes pays fees, and is never paid back by bank.",
    )  # fmt: skip
    year_begins = models.PositiveSmallIntegerField(
        "its year begins in month", default=1, help_text="1 for the calendar year, 7 for a financial year from July."
    )
    per_year = models.PositiveSmallIntegerField("vouchers a child and year", default=1)
    one_a_fee = models.BooleanField("only one on a fee", default=False)
    valid_days = models.PositiveSmallIntegerField("days from its issue until it lapses", null=True, blank=True)
    claim_days = models.PositiveSmallIntegerField("days to claim it in, once taken", null=True, blank=True)
    promise_days = models.PositiveSmallIntegerField(
        "days in which it pays a claim", null=True, blank=True, help_text="By the department’s own promise."
    )
    promise_working = models.BooleanField("these are working days", default=False)
    claims_as = models.CharField("claimed as", max_length=4, choices=ClaimsAs.choices, default=ClaimsAs.CSV)
    paid_words = models.CharField(
        "words for what is paid", max_length=80, blank=True, default="",
        help_text="Of a column that says whether it was paid, with commas between, as in Paid, Approved.",
    )  # fmt: skip
    refused_words = models.CharField(
        "words for what is refused", max_length=80, blank=True, default="", help_text="As in Rejected, Declined."
    )
    gives_back = models.CharField(
        "where a child leaves, the club owes back", max_length=7, choices=GivesBack.choices, default=GivesBack.REST
    )
    gives_back_days = models.PositiveSmallIntegerField(
        "days after the start in which it does", null=True, blank=True,
        help_text="Of a child that leaves later nothing is owed back. Blank: whenever it leaves.",
    )  # fmt: skip
    key_kind = models.CharField("known by", max_length=5, choices=KeyKind.choices, default=KeyKind.CODE)
    code_form = models.CharField(
        "form of its codes",
        max_length=30,
        blank=True,
        help_text="# stands for a digit, @ for a letter, * for either, all else for itself, as in SV########."
        " Blank: any code.",
    )
    check_digit = models.CharField(max_length=8, choices=CheckDigit.choices, default=CheckDigit.NONE)
    check_weights = models.CharField(
        "weights of its digits", max_length=60, blank=True, validators=[RegexValidator(r"^\d+( \d+)*$", WEIGHTS)],
        help_text="Of a weighted check digit, as in 3 1 3 1 3 1.",
    )  # fmt: skip
    key_kept_days = models.PositiveSmallIntegerField(
        "days to keep a child’s number", default=90, help_text="After the answer about its voucher; then it is erased."
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(per_year__gte=1), name="fees_voucher_scheme_has_one"),
            models.CheckConstraint(
                condition=Q(on_month__range=(1, 12), on_day__range=(1, 31), year_begins__range=(1, 12)),
                name="fees_voucher_scheme_has_days",
                violation_error_message="A month is from 1 to 12, a day from 1 to 31.",
            ),
            models.CheckConstraint(
                condition=Q(youngest=None) | Q(oldest=None) | Q(youngest__lte=F("oldest")),
                name="fees_voucher_scheme_ages_in_order",
                violation_error_message="The youngest age is above the oldest.",
            ),
            models.CheckConstraint(
                condition=Q(youngest_months=0) | Q(youngest_months__lte=11, aged_by__in=("day", "named")),
                name="fees_voucher_scheme_months_of_an_age",
                violation_error_message="Months, 11 at most, go with an age on a day alone.",
            ),
            models.CheckConstraint(
                condition=~Q(check_digit="weighted") | ~Q(check_weights=""),
                name="fees_voucher_scheme_has_weights",
                violation_error_message="Write the weights of the check digit, as in 3 1 3 1.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def ages(self) -> Ages:
        """Whom it is for."""
        return Ages(
            by=self.aged_by, youngest=self.youngest, oldest=self.oldest, months=self.youngest_months,
            month=self.on_month, day=self.on_day, starts_at=self.starts_at, year_begins=self.year_begins,
            favours_child=self.favours_child,
        )  # fmt: skip

    @property
    def of_child(self) -> bool:
        """Whether its vouchers are known by a number of the child."""
        return self.key_kind == KeyKind.CHILD


class VoucherValue(models.Model):
    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="values")
    calendar_year = models.PositiveSmallIntegerField(
        "year", help_text="The calendar year in which the scheme’s begins."
    )
    amount = Cents()
    last_claim_on = models.DateField("last day to claim", null=True, blank=True)

    class Meta:
        ordering = ["-calendar_year"]
        constraints = [
            models.UniqueConstraint(
                fields=["scheme", "calendar_year"],
                name="fees_voucher_value_once_a_year",
                violation_error_message="The scheme has a value for that year already.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_voucher_value_above_nil"),
        ]

    def __str__(self) -> str:
        return f"{self.scheme} {self.calendar_year}"


class VoucherWindow(models.Model):
    """A part of each year in which a child may use so many of its vouchers; outside all windows none is taken."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="windows")
    from_month = models.PositiveSmallIntegerField()
    from_day = models.PositiveSmallIntegerField()
    until_month = models.PositiveSmallIntegerField()
    until_day = models.PositiveSmallIntegerField()
    allows = models.PositiveSmallIntegerField("vouchers a child", default=1)

    class Meta:
        ordering = ["from_month", "from_day"]
        constraints = [
            models.UniqueConstraint(
                fields=["scheme", "from_month", "from_day"],
                name="fees_voucher_window_opens_once",
                violation_error_message="A window of the scheme opens on that day already.",
            ),
            models.CheckConstraint(
                condition=Q(
                    from_month__range=(1, 12), until_month__range=(1, 12), from_day__range=(1, 31),
                    until_day__range=(1, 31), allows__gte=1,
                ),
                name="fees_voucher_window_has_days",
                violation_error_message="A month is from 1 to 12, a day from 1 to 31; a window allows one at least.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        first, last = (date(2000, *ends) for ends in self._ends())
        return f"{day_text(first, year=False)} to {day_text(last, year=False)}"

    def _ends(self) -> Iterator[tuple[int, int]]:
        """Its first and its last day as a month and a day of that month."""
        for month, day in ((self.from_month, self.from_day), (self.until_month, self.until_day)):
            yield month, min(day, monthrange(2000, month)[1])
