"""The club's numbered kit and its checks."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper

from clubdesk.clock import day_text
from clubdesk.ledger.models import Document
from clubdesk.rangeday.states import KIT


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


MOST_POUNDS = 80


class Hand(models.TextChoices):
    LEFT = "left", "Left hand"
    RIGHT = "right", "Right hand"


class Kit(models.Model):
    """A piece of the club's gear that carries a number. `draw_weight` is in pounds, at the draw of who shoots it."""

    number = models.CharField(max_length=12, help_text="As it is written on the piece.")
    kind = models.CharField(max_length=11, choices=KitKind.choices)
    size = models.CharField(max_length=20, blank=True, help_text="As people say it, such as: 66 inch, or small.")
    hand = models.CharField(
        max_length=5, choices=Hand.choices, blank=True, help_text="Blank where it suits either, such as a quiver."
    )
    draw_weight = models.PositiveSmallIntegerField(
        "draw weight in pounds",
        null=True,
        blank=True,
        help_text="Of a bow, at the archer’s own draw. A bow is marked at a full draw, and a child draws less.",
    )
    description = models.CharField(max_length=80, blank=True, help_text="What else tells it from others: its colour.")
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
            models.CheckConstraint(condition=Q(hand__in=("", *Hand.values)), name="rangeday_kit_hand_is_one"),
            models.CheckConstraint(
                condition=Q(draw_weight=None) | Q(draw_weight__range=(1, MOST_POUNDS)),
                name="rangeday_kit_draw_weight_of_a_bow",
                violation_error_message=f"A bow of the club draws between 1 and {MOST_POUNDS} pounds.",
            ),
            models.UniqueConstraint(
                Upper("number"),
                name="rangeday_kit_number_once",
                violation_error_message="A piece of kit carries this number already; write another on it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"

    @property
    def words(self) -> str:
        """Size, draw weight, hand and what else is known of it, as on the sheet."""
        pounds = f"{self.draw_weight} pounds" if self.draw_weight else ""
        return ", ".join(
            each for each in (self.size, pounds, self.get_hand_display().lower(), self.description) if each
        )


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
