"""Plans, memberships, and what is remitted to the associations."""

from datetime import date

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q

from clubdesk.clock import day_text
from clubdesk.fees.models import Charge, ChargeShare, FeeItem
from clubdesk.ledger.models import Document, Party
from clubdesk.membership.states import LEAVING
from clubdesk.membership.terms import Term, term
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Household, Person

MONTHS = [(number, date(2000, number, 1).strftime("%B")) for number in range(1, 13)]


class Refund(models.TextChoices):
    """What a member who leaves early gets back."""

    NOTHING = "nothing", "Nothing"
    MONTHS = "months", "The club's part of the whole months left"


class Plan(models.Model):
    """A kind of membership: its fee item, how long it lasts, and the club's rules about it."""

    name = models.CharField(max_length=60, unique=True)
    fee_item = models.ForeignKey(FeeItem, models.PROTECT, related_name="+", limit_choices_to={"kind": "membership"})
    months = models.PositiveSmallIntegerField(default=12, help_text="What the price is for.")
    season_ends_month = models.PositiveSmallIntegerField(
        "season ends with",
        null=True,
        blank=True,
        choices=MONTHS,
        help_text="Every membership ends with this month, and the fee is for the months begun. "
        "Blank: each lasts its months from the day it starts.",
    )
    whole_shares = models.BooleanField(
        "associations take their whole share", default=False, help_text="However short the season is."
    )
    sibling_percent = models.PositiveSmallIntegerField(
        "sibling discount in per cent",
        default=0,
        help_text="Off the club's own part, for each of a family but the first.",
    )
    youngest = models.PositiveSmallIntegerField("youngest age", null=True, blank=True)
    oldest = models.PositiveSmallIntegerField("oldest age", null=True, blank=True, help_text="On the first day.")
    refund = models.CharField(
        "who leaves early gets back", max_length=8, choices=Refund.choices, default=Refund.NOTHING
    )
    remind_days = models.PositiveSmallIntegerField(
        "days of notice",
        default=30,
        validators=[MaxValueValidator(366)],
        help_text="So many days before the end the family is reminded to renew.",
    )
    grace_days = models.PositiveSmallIntegerField(
        "days of grace",
        default=30,
        validators=[MaxValueValidator(366)],
        help_text="So many days after the end it can still be renewed; then it has lapsed.",
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(months__gte=1), name="membership_plan_has_months"),
            models.CheckConstraint(condition=Q(sibling_percent__lte=100), name="membership_discount_at_most_all"),
            models.CheckConstraint(
                condition=Q(season_ends_month=None) | Q(season_ends_month__gte=1, season_ends_month__lte=12),
                name="membership_season_ends_in_a_month",
            ),
            models.CheckConstraint(
                condition=Q(season_ends_month=None) | Q(months__lte=12), name="membership_season_within_a_year"
            ),
            models.CheckConstraint(
                condition=Q(remind_days__lte=366, grace_days__lte=366), name="membership_renewed_within_a_year"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def term(self, starts_on: date) -> Term:
        return term(starts_on, self.months, self.season_ends_month)


class FamilyCap(models.Model):
    """In twelve months a household pays at most `amount` for memberships, from a day on."""

    valid_from = models.DateField(unique=True)
    amount = Cents()

    class Meta:
        ordering = ["-valid_from"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="membership_cap_above_nil")]

    def __str__(self) -> str:
        return f"Family cap from {day_text(self.valid_from)}"


class Membership(Document):
    """A person is a member from `starts_on` to `ends_on`, both days included.

    `fee` is what it costs after discounts, `passed_on` what of it the associations get, for `months` months. The
    charge is missing where the family cap leaves nothing to pay, or where a change of plan costs nothing more.
    """

    person = models.ForeignKey(Person, models.PROTECT, related_name="memberships")
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="memberships")
    payer = models.ForeignKey(
        Household, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="another family pays",
        help_text="For a child of two homes: the family that is charged, also for what is renewed. Blank: its own.",
    )  # fmt: skip
    charge = models.OneToOneField(Charge, models.PROTECT, null=True, blank=True, related_name="membership")
    starts_on = models.DateField()
    ends_on = models.DateField()
    months = models.PositiveSmallIntegerField(default=12)
    fee = Cents(default=nil)
    passed_on = Cents("of it to the associations", default=nil)
    working = models.CharField("how the fee came about", max_length=200, blank=True)
    sibling = models.BooleanField("with the sibling discount", default=False)
    changed_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="+", help_text="The plan before."
    )
    ended_on = models.DateField("left on", null=True, blank=True)
    cancelled_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField("why", max_length=150, blank=True)

    class Meta:
        ordering = ["-starts_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="membership_order"),
            models.CheckConstraint(
                condition=Q(fee__gte=F("passed_on"), passed_on__gte=0), name="membership_fee_covers_what_is_passed_on"
            ),
            models.UniqueConstraint(
                fields=["person", "starts_on"],
                condition=Q(cancelled_on=None),
                name="membership_once_from_a_day",
                violation_error_message="This person has a membership from that day already.",
            ),
            models.UniqueConstraint(
                fields=["changed_from"],
                condition=Q(cancelled_on=None),
                name="membership_changed_once",
                violation_error_message="This membership was changed to another plan already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan} membership of {self.person}"

    @property
    def paying(self) -> Household:
        """Who pays for what comes of it: another family that pays for a child of two homes, or the person's own."""
        return self.payer or self.person.household

    def covers(self, day: date) -> bool:
        return self.cancelled_on is None and self.starts_on <= day <= self.ends_on


class LeaveState(models.TextChoices):
    ASKED = "asked", "Asked"
    ANSWERED = "answered", "Answered"


class LeaveRequest(Document):
    """A family asks that one of it leaves the club; the coordinator ends what there is to end, and answers."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="leave_requests")
    reason = models.CharField(max_length=150, blank=True)
    asked_on = models.DateField()
    state = models.CharField(max_length=8, choices=LeaveState.choices, default=LeaveState.ASKED)
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    answered_on = models.DateField(null=True, blank=True)
    answer = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "request to leave"
        verbose_name_plural = "requests to leave"
        constraints = [
            LEAVING.constraint("membership_leave_state_is_one"),
            models.CheckConstraint(
                condition=Q(state="asked", answered_by=None, answered_on=None)
                | Q(state="answered", answered_by__isnull=False, answered_on__isnull=False),
                name="membership_leave_answered_by_somebody",
            ),
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(state="asked"),
                name="membership_one_leave_request_waits",
                violation_error_message="They asked to leave already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} asks to leave"


class Remittance(Document):
    """What the club paid on to an association."""

    association = models.ForeignKey(Party, models.PROTECT, related_name="+", limit_choices_to={"kind": "association"})
    amount = Cents()
    through = models.DateField("for fees started by", null=True)
    paid_on = models.DateField()

    class Meta:
        ordering = ["-paid_on", "-pk"]
        verbose_name = verbose_name_plural = "fees passed on"
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="membership_remits_above_nil")]

    def __str__(self) -> str:
        return f"Fees passed on to {self.association}, {day_text(self.paid_on)}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"remitted"}


class RemittanceLine(models.Model):
    """What of a remittance is for one member's fee; negative where a fee remitted before was taken back since."""

    remittance = models.ForeignKey(Remittance, models.PROTECT, related_name="lines", verbose_name="fees passed on")
    share = models.ForeignKey(ChargeShare, models.PROTECT, related_name="remittance_lines")
    amount = Cents()

    class Meta:
        ordering = ["pk"]
        verbose_name = "part of fees passed on"
        verbose_name_plural = "parts of fees passed on"
        constraints = [
            models.UniqueConstraint(
                fields=["remittance", "share"],
                name="membership_remits_a_share_once",
                violation_error_message="This member’s share stands in the payment already.",
            ),
            models.CheckConstraint(condition=~Q(amount=0), name="membership_remits_something"),
        ]

    def __str__(self) -> str:
        return f"{self.share}"


class KeptColumns(models.Model):
    """What somebody said that the columns of a spreadsheet are, for the next file with the same headings."""

    headings = models.CharField(max_length=64, unique=True, editable=False)
    """The digest of the headings (SHA-256)."""
    columns = models.JSONField()
    """The columns in their order; or these as `columns`, and as `plans`, by the sign of what stood for a plan that is
    none of the club's, the number of the one that it means, or none."""

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return ", ".join(filter(None, self.of_columns))

    @property
    def of_columns(self) -> list[str]:
        return list(self.columns["columns"] if isinstance(self.columns, dict) else self.columns)

    @property
    def of_plans(self) -> dict[str, str]:
        return dict(self.columns["plans"]) if isinstance(self.columns, dict) else {}
