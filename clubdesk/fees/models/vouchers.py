"""Sport vouchers, and the claims by which the departments are asked for them."""

from datetime import date
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.fees.eligible import promised_by
from clubdesk.fees.models.accounts import Charge, Receipt
from clubdesk.fees.models.schemes import VoucherScheme, VoucherWindow
from clubdesk.fees.states import VOUCHER
from clubdesk.ledger.models import Document
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Household, Person

if TYPE_CHECKING:
    from clubdesk.fees.models.givingback import GiveBack


class Lodgement(Document):
    """A batch of vouchers sent to the department, and the day it paid; or a part of one that it paid by itself."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="lodgements")
    lodged_on = models.DateField("claimed on")
    paid_on = models.DateField(null=True, blank=True)
    part_of = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="parts")
    reference = models.CharField(
        "the department’s reference", max_length=40, blank=True, help_text="As its payment names the claim."
    )

    class Meta:
        ordering = ["-lodged_on", "-pk"]
        verbose_name = "voucher claim"

    def __str__(self) -> str:
        part = f", part of {self.part_of_id}," if self.part_of_id else ""
        return f"Voucher claim {self.pk}{part} of {day_text(self.lodged_on)}"

    @property
    def promised_by(self) -> date | None:
        """By when the department pays it by its own promise."""
        return promised_by(self.lodged_on, self.scheme.promise_days, working=self.scheme.promise_working)

    @property
    def entries_called_for(self) -> set[str]:
        return {"paid"} if self.paid_on else set()


class VoucherState(models.TextChoices):
    """What became of a voucher. One that is released before it is lodged is not claimed, and can be used again."""

    ACCEPTED = "accepted", "Accepted"
    LODGED = "lodged", "Claimed"
    PAID = "paid", "Paid"
    REFUSED = "refused", "Refused"
    RELEASED = "released", "Not claimed"
    RETURNED = "returned", "Given back"


NOTHING_CLAIMED = (VoucherState.REFUSED, VoucherState.RELEASED, VoucherState.RETURNED)
"""States in which a voucher pays nothing, and counts for nothing."""
PAID_IN = (VoucherState.PAID, VoucherState.RETURNED)
"""States of a voucher that the department has paid."""


class Voucher(Document):
    """A child's voucher set against a charge. `amount` is what the department owes: never more than the fee."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="vouchers")
    person = models.ForeignKey(Person, models.PROTECT, related_name="vouchers")
    charge = models.ForeignKey(Charge, models.PROTECT, related_name="vouchers")
    first_charge = models.ForeignKey(
        Charge, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="first set against",
        help_text="Where that was called off after it was claimed, and it pays another fee of the child now.",
    )  # fmt: skip
    code = models.CharField(max_length=30)
    code_erased_on = models.DateField(null=True, blank=True, editable=False)
    of_child = models.BooleanField("known by the child’s number", default=False, editable=False)
    calendar_year = models.PositiveSmallIntegerField("year", editable=False)
    window = models.ForeignKey(VoucherWindow, models.PROTECT, null=True, blank=True, related_name="vouchers")
    issued_on = models.DateField(null=True, blank=True)
    lapses_on = models.DateField("holds until", null=True, blank=True)
    claim_by = models.DateField("to be claimed by", null=True, blank=True)
    amount = Cents()
    short_by = Cents(default=nil, help_text="What the department paid less than was claimed; the family owes it.")
    given_back = Cents(default=nil, help_text="What of it the department got back, since the child left.")
    accepted_on = models.DateField()
    state = models.CharField(max_length=8, choices=VoucherState.choices, default=VoucherState.ACCEPTED)
    lodgement = models.ForeignKey(
        Lodgement, models.PROTECT, null=True, blank=True, related_name="vouchers", verbose_name="voucher claim"
    )
    came_from = models.ForeignKey(
        Household, models.PROTECT, null=True, blank=True, related_name="+", editable=False,
        verbose_name="came with the child from",
    )  # fmt: skip
    came_on = models.DateField("came with the child on", null=True, blank=True, editable=False)
    came_with = Cents(default=nil, editable=False, help_text="What it paid when it came.")
    ended_on = models.DateField("refused, released or given back on", null=True, blank=True)
    end_reason = models.CharField("why", max_length=150, blank=True)

    entries_follow_from = ("state", "short_by", "came_on")

    class Meta:
        ordering = ["-accepted_on", "-pk"]
        constraints = [
            VOUCHER.constraint("fees_voucher_state_is_one"),
            models.UniqueConstraint(
                fields=["scheme", "code"],
                condition=~Q(state__in=NOTHING_CLAIMED) & Q(of_child=False),
                name="fees_voucher_code_once",
                violation_error_message="This voucher code has been used already; check it with the family.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_voucher_above_nil"),
            models.CheckConstraint(condition=Q(short_by__gte=0), name="fees_voucher_short_not_below_nil"),
            models.CheckConstraint(condition=Q(given_back__gte=0), name="fees_voucher_given_back_not_below_nil"),
            models.CheckConstraint(
                condition=Q(came_from=None, came_on=None, came_with=0)
                | Q(came_from__isnull=False, came_on__isnull=False, came_with__gt=0),
                name="fees_voucher_came_from_a_family_on_a_day",
            ),
            models.CheckConstraint(
                condition=Q(lapses_on=None) | Q(lapses_on__gte=F("accepted_on")),
                name="fees_voucher_taken_before_it_lapses",
                violation_error_message="A voucher that has lapsed is not taken.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.scheme} for {self.person}"

    @property
    def masked_code(self) -> str:
        return "erased" if self.code_erased_on else f"••••{self.code[-3:]}"

    @property
    def entries_called_for(self) -> set[str]:
        undone = {VoucherState.REFUSED: {"refuse"}, VoucherState.RELEASED: {"release"}}.get(VoucherState(self.state))
        moved = {"moved"} if self.came_on else set()
        return {"accept"} | moved | (undone or ({"short"} if self.short_by > nil() else set()))

    @property
    def claimed(self) -> Money:
        """What the club asked of the department."""
        asked: Money = self.amount + self.short_by + self.given_back
        return asked

    @property
    def give_back(self) -> "GiveBack | None":
        """By which it was given back and still is; asked once of vouchers that are read with their `give_backs`."""
        return next((each for each in self.give_backs.all() if each.undone_on is None), None)

    @property
    def paid_in(self) -> Money:
        """What the department paid, of one that it paid; also where it got some of it back."""
        paid: Money = self.amount + self.given_back
        return paid


class TiedCredit(models.Model):
    """What of a receipt a voucher took the place of, where its scheme forbids that it is given back as money.

    So much of the receipt pays fees and is never paid back to the family, until `freed_on`: the voucher pays nothing.
    """

    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="tied")
    voucher = models.ForeignKey(Voucher, models.PROTECT, related_name="tied")
    amount = Cents()
    tied_on = models.DateField()
    freed_on = models.DateField(null=True, blank=True)
    freed_by = models.ForeignKey(
        "fees.GiveBack", models.PROTECT, null=True, blank=True, related_name="freed", editable=False
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="fees_tied_above_nil"),
            models.CheckConstraint(
                condition=Q(freed_on=None) | Q(freed_on__gte=F("tied_on")), name="fees_tied_freed_after_it_was_tied"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.receipt}, tied by {self.voucher}"
