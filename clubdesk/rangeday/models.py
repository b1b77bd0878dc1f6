"""Range days: who signed on, what was hired and paid, the club's kit, the tin and its count."""

from django.conf import settings
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import F, Q
from django.db.models.functions import Upper
from django.db.models.sql.compiler import SQLCompiler
from django.utils import timezone
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.fees.models import Charge, FeePrice
from clubdesk.ledger.models import Document
from clubdesk.money import Cents, as_amount, from_cents, nil, shown
from clubdesk.rangeday.states import KIT, TAP
from clubdesk.roll.models import Person


class RangeDay(models.Model):
    date = models.DateField()
    place = models.CharField("range", max_length=60, default="Main range")
    closed_on = models.DateField(null=True, blank=True, editable=False)
    called_off_on = models.DateField(null=True, blank=True, editable=False)
    called_off_reason = models.CharField(max_length=150, blank=True, editable=False)

    class Meta:
        ordering = ["-date", "place"]
        constraints = [
            models.UniqueConstraint(
                fields=["date", "place"],
                name="rangeday_once_a_range",
                violation_error_message="That range has a range day on that date already.",
            ),
            models.CheckConstraint(
                condition=Q(called_off_on=None) | ~Q(called_off_reason=""), name="rangeday_called_off_for_a_reason"
            ),
        ]
        permissions = [("close_rangeday", "Can count the cash box and close a range day")]

    def __str__(self) -> str:
        return f"{self.place}, {day_text(self.date, weekday=True)}"

    @property
    def is_open(self) -> bool:
        """Whether anybody can still sign on."""
        return self.closed_on is None and self.called_off_on is None

    @property
    def standing(self) -> str:
        if self.called_off_on:
            return "called off"
        return "counted" if self.closed_on else "open"


class SafetyText(models.Model):
    """The club's own safety rules, as new visitors agree to them; the newest in force on a day counts."""

    in_force_from = models.DateField()
    text = models.TextField(max_length=3000)

    class Meta:
        ordering = ["-in_force_from", "-pk"]
        verbose_name = "set of safety rules"
        verbose_name_plural = "safety rules for visitors"

    def __str__(self) -> str:
        return f"Safety rules from {day_text(self.in_force_from)}"


class OwnGearCost(models.Model):
    """What a first set of gear of one's own costs about, so that a coach can tell who would soon save by it."""

    since = models.DateField(unique=True)
    amount = Cents(help_text="A plain bow, arrows, tab and arm guard, second hand or new, as you would advise.")

    class Meta:
        ordering = ["-since"]
        verbose_name = "cost of own gear"
        verbose_name_plural = "costs of own gear"
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="rangeday_own_gear_costs_something")]

    def __str__(self) -> str:
        return f"Own gear from {day_text(self.since)}"


class KitKind(models.TextChoices):
    BOW = "bow", "Bow"
    SIGHT = "sight", "Sight"
    ARROWS = "arrows", "Set of arrows"
    TAB = "tab", "Finger tab"
    ARM_GUARD = "arm_guard", "Arm guard"
    CHEST_GUARD = "chest_guard", "Chest guard"
    QUIVER = "quiver", "Quiver"
    OTHER = "other", "Other"


class KitState(models.TextChoices):
    USABLE = "usable", "Fit for use"
    SET_ASIDE = "set_aside", "Set aside as unsafe"
    RETIRED = "retired", "Retired"


class Kit(models.Model):
    """A piece of the club's gear that carries a number."""

    number = models.CharField(max_length=12, help_text="As it is written on the piece.")
    kind = models.CharField(max_length=11, choices=KitKind.choices)
    description = models.CharField(max_length=80, blank=True, help_text="Such as: 66 inch, 18 pounds, right hand.")
    check_after = models.PositiveSmallIntegerField(
        "check after so many uses", null=True, blank=True, help_text="Blank: only when somebody asks for it."
    )
    state = models.CharField(max_length=9, choices=KitState.choices, default=KitState.USABLE, editable=False)

    class Meta:
        ordering = ["kind", "number"]
        verbose_name = "piece of kit"
        verbose_name_plural = "kit"
        constraints = [
            KIT.constraint("rangeday_kit_state_is_one"),
            models.UniqueConstraint(
                Upper("number"),
                name="rangeday_kit_number_once",
                violation_error_message="A piece of kit carries this number already; write another on it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"


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
                violation_error_message="This piece of kit is out already; take it back first.",
            ),
            models.CheckConstraint(
                condition=Q(back_at=None) | Q(back_at__gte=F("given_at")), name="rangeday_kit_back_after_it_went"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kit} with {self.sign_on.who}"


class KitCheck(Document):
    """Somebody set a piece of kit aside as unsafe, found it fit for use, or retired it."""

    kit = models.ForeignKey(Kit, models.PROTECT, related_name="checks")
    checked_on = models.DateField()
    state = models.CharField("found", max_length=9, choices=KitState.choices)
    note = models.CharField(max_length=150, blank=True)
    checked_by = models.CharField("checked by", max_length=80, blank=True, help_text="Who is qualified to check it.")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="usable") & ~Q(checked_by="") | ~Q(state="usable") & ~Q(note=""),
                name="rangeday_check_says_who_or_why",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kit}, {day_text(self.checked_on)}: {self.get_state_display().lower()}"


class TillCount(Document):
    """The tin counted at the end of a day, and the card reader's slip, against what is expected of each.

    `opening` is what was in the tin besides the day's own fees: the float, and cash that households paid.
    """

    range_day = models.ForeignKey(RangeDay, models.PROTECT, related_name="till_counts")
    opening = Cents("float", default=nil)
    expected = Cents()
    counted = Cents()
    card_receipts = Cents("families' fees on the slip", default=nil)
    card_expected = Cents("expected by card", default=nil)
    card_slip = Cents("card slip", default=nil)
    reason = models.CharField(max_length=150, blank=True)
    second_counter = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reopened_on = models.DateField(null=True, blank=True)
    reopen_reason = models.CharField(max_length=150, blank=True)
    reopened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["range_day"],
                condition=Q(reopened_on=None),
                name="rangeday_one_count_stands",
                violation_error_message="This range day was counted already.",
            ),
            models.CheckConstraint(
                condition=Q(counted=F("expected"), card_slip=F("card_expected")) | ~Q(reason=""),
                name="rangeday_difference_has_a_reason",
            ),
            models.CheckConstraint(condition=~Q(second_counter=F("recorded_by")), name="rangeday_two_people_count"),
            models.CheckConstraint(
                condition=Q(reopened_on=None) | ~Q(reopen_reason="") & Q(reopened_by__isnull=False),
                name="rangeday_reopened_by_somebody_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"Count of the cash box, {self.range_day}"

    @property
    def difference(self) -> Money:
        """Positive where the tin holds more than expected."""
        return as_amount(self.counted - self.expected)

    @property
    def card_difference(self) -> Money:
        """Positive where the reader took more than the sheet says."""
        return as_amount(self.card_slip - self.card_expected)

    @property
    def entries_called_for(self) -> set[str]:
        differs = self.counted != self.expected or self.card_slip != self.card_expected
        return {"difference"} if differs and not self.reopened_on else set()

    @property
    def why_undone(self) -> str:
        return self.reopen_reason


class CountedPiece(models.Model):
    """So many notes or coins of one worth in a count."""

    till_count = models.ForeignKey(TillCount, models.PROTECT, related_name="pieces")
    cents = models.PositiveIntegerField()
    number = models.PositiveIntegerField()

    class Meta:
        ordering = ["-cents"]
        constraints = [
            models.UniqueConstraint(
                fields=["till_count", "cents"],
                name="rangeday_piece_counted_once",
                violation_error_message="This note or coin was counted already; write one number for it.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} of {shown(from_cents(self.cents))}"


class Banking(Document):
    """Takings brought from the till to the bank."""

    amount = Cents()
    banked_on = models.DateField()
    cancelled_on = models.DateField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-banked_on", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="rangeday_banks_above_nil")]

    def __str__(self) -> str:
        return f"Takings banked on {day_text(self.banked_on)}"

    @property
    def entries_called_for(self) -> set[str]:
        return set() if self.cancelled_on else {"banked"}
