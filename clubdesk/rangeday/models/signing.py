"""Who signed on, what phones sent of it, and which kit they had."""

from django.conf import settings
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import F, Q
from django.db.models.sql.compiler import SQLCompiler
from django.utils import timezone
from djmoney.money import Money

from clubdesk.fees.models import Charge, FeePrice
from clubdesk.ledger.models import Document
from clubdesk.money import Cents, as_amount, nil
from clubdesk.rangeday.models.days import RangeDay, SafetyText
from clubdesk.rangeday.models.kit import Kit
from clubdesk.rangeday.states import TAP
from clubdesk.roll.models import Person


class Gear(models.TextChoices):
    OWN = "own", "Own gear"
    HIRE = "hire", "Hired gear"
    VISITOR = "visitor", "Visitor with gear"


class Paid(models.TextChoices):
    NOTHING = "nothing", "Nothing to pay"
    CASH = "cash", "Cash"
    CARD = "card", "Card"
    ACCOUNT = "account", "On account"


PAID_AT_THE_RANGE = (Paid.CASH, Paid.CARD)


class TapState(models.TextChoices):
    DONE = "done", "Done"
    UNDONE = "undone", "Undone"
    QUESTION = "question", "To be answered"
    ANSWERED = "answered", "Answered"


class Act(models.TextChoices):
    SIGN_ON = "sign_on", "Signed on"
    GIVE = "give", "Kit given out"
    BACK = "back", "Kit given back"
    AWAY = "away", "Visitor not here"


class PeopleField(models.JSONField):
    """Ids of people, whether the roll has them or not; `people__names=person` finds the rows that name somebody."""


@PeopleField.register_lookup
class Names(models.Lookup[bool]):
    lookup_name = "names"

    def get_prep_lookup(self) -> int:
        return int(getattr(self.rhs, "pk", self.rhs))

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[str | int, ...]]:
        column, given = self.process_lhs(compiler, connection)
        if connection.vendor == "postgresql":
            return f"{column} @> %s::jsonb", (*given, str(self.rhs))
        return f"EXISTS (SELECT 1 FROM json_each({column}) WHERE value = %s)", (*given, int(self.rhs))


class Tap(Document):
    """What a phone at the range recorded, with or without reception: people who sign on together, kit out or back.

    Its `key` is made on the phone. Whatever the book refuses stands here as a question and is not lost.
    """

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="taps")
    tapped_at = models.DateTimeField()
    act = models.CharField(max_length=7, choices=Act.choices, default=Act.SIGN_ON)
    kit = models.ForeignKey(Kit, models.PROTECT, null=True, blank=True, related_name="+")
    holder = models.UUIDField(
        null=True,
        blank=True,
        help_text="Of kit given out: the key of whose sign-on, or of the tap that signed them on.",
    )
    safety = models.ForeignKey(SafetyText, models.PROTECT, null=True, blank=True, related_name="+")
    gear = models.CharField(max_length=7, choices=Gear.choices, default=Gear.OWN)
    paid = models.CharField(max_length=7, choices=Paid.choices, default=Paid.NOTHING)
    people = PeopleField(default=list, blank=True)
    visitor = models.UUIDField(
        null=True, blank=True, help_text="Of a visitor who signed on by themselves: the key of what they wrote."
    )
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
        verbose_name = "phone entry"
        verbose_name_plural = "phone entries"
        constraints = [
            TAP.constraint("rangeday_tap_state_is_one"),
            models.CheckConstraint(
                condition=~Q(state="answered") | ~Q(answer="") & Q(answered_by__isnull=False),
                name="rangeday_answered_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(state="question") | ~Q(question=""), name="rangeday_question_says_what"
            ),
        ]

    def __str__(self) -> str:
        return f"Tap at {timezone.localtime(self.tapped_at):%H:%M}, {self.range_day}"

    @property
    def who(self) -> str:
        people = Person.everyone.filter(pk__in=self.people).order_by("pk")
        return ", ".join(str(person) for person in people) or self.visitor_name


class SignOn(Document):
    """Somebody shot on a range day. `amount` is the fee; cash handed over is `amount` less `rounding`."""

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="sign_ons")
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="sign_ons")
    visitor_name = models.CharField(max_length=100, blank=True)
    visitor_guardian = models.CharField(max_length=100, blank=True)
    visitor_phone = models.CharField(max_length=30, blank=True)
    safety = models.ForeignKey(
        SafetyText,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="safety rules agreed to",
    )
    tap = models.ForeignKey(Tap, models.PROTECT, null=True, blank=True, related_name="sign_ons")
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    moved_from = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="moved_to")
    gear = models.CharField(max_length=7, choices=Gear.choices)
    price = models.ForeignKey(FeePrice, models.PROTECT, null=True, blank=True, related_name="+")
    amount = Cents(default=nil)
    tax = Cents("GST in it", default=nil, editable=False)
    rounding = Cents("cash rounding", default=nil)
    paid = models.CharField(max_length=7, choices=Paid.choices)
    charge = models.OneToOneField(Charge, models.PROTECT, null=True, blank=True, related_name="sign_on")
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    entries_follow_from = ("paid", "cancelled_on")

    class Meta:
        ordering = ["-range_day__date", "-pk"]
        verbose_name = "sign-on"
        constraints = [
            models.UniqueConstraint(
                fields=["range_day", "person"],
                condition=Q(cancelled_on=None),
                name="rangeday_one_sign_on_a_person_and_day",
                violation_error_message="This person is signed on already today.",
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
            models.CheckConstraint(
                condition=Q(tax=0) | Q(paid__in=("cash", "card"), tax__gt=0, tax__lt=F("amount")),
                name="rangeday_tax_within_what_was_paid",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.who}, {self.get_gear_display().lower()}"

    @property
    def who(self) -> str:
        return str(self.person) if self.person_id else self.visitor_name

    @property
    def handed_over(self) -> Money:
        return as_amount(self.amount - self.rounding)

    @property
    def entries_called_for(self) -> set[str]:
        at_the_range = self.paid in PAID_AT_THE_RANGE and not self.cancelled_on
        return {"paid at the range"} if at_the_range else set()


class KitLoan(Document):
    """A piece of kit given out to somebody who signed on, and when it came back."""

    kit = models.ForeignKey(Kit, models.PROTECT, related_name="loans")
    sign_on = models.ForeignKey(SignOn, models.PROTECT, related_name="loans")
    given_at = models.DateTimeField()
    back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-given_at", "-pk"]
        verbose_name = "kit given out"
        verbose_name_plural = "kit given out"
        constraints = [
            models.UniqueConstraint(
                fields=["kit"],
                condition=Q(back_at=None),
                name="rangeday_kit_is_out_once",
                violation_error_message="This piece of kit is out already; it comes back first.",
            ),
            models.CheckConstraint(
                condition=Q(back_at=None) | Q(back_at__gte=F("given_at")), name="rangeday_kit_back_after_it_went"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kit} with {self.sign_on.who}"
