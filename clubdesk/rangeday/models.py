"""Range days: who signed on, what was hired and paid, the till and its count."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from djmoney.money import Money

from clubdesk.fees.models import Charge, FeePrice
from clubdesk.ledger.models import Document
from clubdesk.money import AmountField
from clubdesk.roll.models import Person


class RangeDay(models.Model):
    date = models.DateField()
    place = models.CharField("range", max_length=60, default="Main range")
    closed_on = models.DateField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["-date", "place"]
        constraints = [models.UniqueConstraint(fields=["date", "place"], name="rangeday_once_a_range")]
        permissions = [("close_rangeday", "Can count the till and close a range day")]

    def __str__(self):
        return f"{self.place}, {self.date:%a %-d %b %Y}"


class Gear(models.TextChoices):
    OWN = "own", "Own gear"
    HIRE = "hire", "Hired gear"
    VISITOR = "visitor", "Visitor with gear"


class Paid(models.TextChoices):
    NOTHING = "nothing", "Nothing to pay"
    CASH = "cash", "Cash"
    CARD = "card", "Card"
    ACCOUNT = "account", "On account"


class TapState(models.TextChoices):
    DONE = "done", "Done"
    UNDONE = "undone", "Undone"
    QUESTION = "question", "To be answered"
    ANSWERED = "answered", "Answered"


class Tap(Document):
    """What a phone at the range recorded, with or without reception: people who sign on and pay together.

    Its `key` is made on the phone. Whatever the book refuses stands here as a question and is not lost.
    """

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="taps")
    tapped_at = models.DateTimeField()
    gear = models.CharField(max_length=7, choices=Gear.choices, default=Gear.OWN)
    paid = models.CharField(max_length=7, choices=Paid.choices, default=Paid.NOTHING)
    people = models.JSONField(default=list, blank=True)
    visitor_name = models.CharField(max_length=100, blank=True)
    visitor_guardian = models.CharField(max_length=100, blank=True)
    visitor_phone = models.CharField(max_length=30, blank=True)
    state = models.CharField(max_length=8, choices=TapState.choices, default=TapState.DONE)
    question = models.CharField(max_length=300, blank=True)
    answer = models.CharField(max_length=150, blank=True)
    answered_on = models.DateField(null=True, blank=True)
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-pk"]
        verbose_name = "tap on a phone"
        verbose_name_plural = "taps on phones"
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="answered") | ~Q(answer="") & Q(answered_by__isnull=False),
                name="rangeday_answered_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(state="question") | ~Q(question=""), name="rangeday_question_says_what"
            ),
        ]

    def __str__(self):
        return f"Tap at {timezone.localtime(self.tapped_at):%H:%M}, {self.range_day}"

    @property
    def who(self) -> str:
        people = Person.objects.filter(pk__in=self.people).order_by("pk")
        return ", ".join(str(person) for person in people) or self.visitor_name


class SignOn(Document):
    """Somebody shot on a range day. `amount` is the fee; cash handed over is `amount` less `rounding`."""

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="sign_ons")
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="sign_ons")
    visitor_name = models.CharField(max_length=100, blank=True)
    visitor_guardian = models.CharField(max_length=100, blank=True)
    visitor_phone = models.CharField(max_length=30, blank=True)
    tap = models.ForeignKey(Tap, models.PROTECT, null=True, blank=True, related_name="sign_ons")
    gear = models.CharField(max_length=7, choices=Gear.choices)
    price = models.ForeignKey(FeePrice, models.PROTECT, null=True, blank=True, related_name="+")
    amount = AmountField(default=0)
    rounding = AmountField("cash rounding", default=0)
    paid = models.CharField(max_length=7, choices=Paid.choices)
    charge = models.OneToOneField(Charge, models.PROTECT, null=True, blank=True, related_name="sign_on")
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-range_day__date", "-pk"]
        verbose_name = "sign-on"
        constraints = [
            models.UniqueConstraint(
                fields=["range_day", "person"],
                condition=Q(cancelled_on=None),
                name="rangeday_one_sign_on_a_person_and_day",
            ),
            models.CheckConstraint(
                condition=Q(person__isnull=False) | ~Q(visitor_name=""),
                name="rangeday_sign_on_names_somebody",
            ),
            models.CheckConstraint(
                condition=Q(paid="nothing", amount=0) | ~Q(paid="nothing") & Q(amount__gt=0),
                name="rangeday_paid_as_owed",
            ),
            models.CheckConstraint(
                condition=~Q(paid="account") | Q(charge__isnull=False), name="rangeday_account_is_charged"
            ),
            models.CheckConstraint(condition=Q(paid="cash") | Q(rounding=0), name="rangeday_only_cash_is_rounded"),
        ]

    def __str__(self):
        return f"{self.who}, {self.get_gear_display().lower()}"

    @property
    def who(self) -> str:
        return str(self.person) if self.person_id else self.visitor_name

    @property
    def handed_over(self) -> Money:
        return self.amount - self.rounding

    @property
    def entries_called_for(self) -> set[str]:
        at_the_range = self.paid in (Paid.CASH, Paid.CARD) and not self.cancelled_on
        return {"paid at the range"} if at_the_range else set()


class TillCount(Document):
    """The tin counted at the end of a day against what the ledger expects in it."""

    range_day = models.OneToOneField(RangeDay, models.PROTECT, related_name="till_count")
    expected = AmountField()
    counted = AmountField()
    reason = models.CharField(max_length=150, blank=True)
    second_counter = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(counted=F("expected")) | ~Q(reason=""), name="rangeday_difference_has_a_reason"
            ),
            models.CheckConstraint(condition=~Q(second_counter=F("recorded_by")), name="rangeday_two_people_count"),
        ]

    def __str__(self):
        return f"Till count, {self.range_day}"

    @property
    def difference(self) -> Money:
        """Positive where the tin holds more than expected."""
        return self.counted - self.expected

    @property
    def entries_called_for(self) -> set[str]:
        return {"difference"} if self.counted != self.expected else set()


class Banking(Document):
    """Takings brought from the till to the bank."""

    amount = AmountField()
    banked_on = models.DateField()

    class Meta:
        ordering = ["-banked_on", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="rangeday_banks_above_nil")]

    def __str__(self):
        return f"Takings banked on {self.banked_on:%-d %b %Y}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"banked"}
