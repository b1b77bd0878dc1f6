"""Plans, memberships, and what is remitted to the associations."""

from datetime import date

from django.db import models
from django.db.models import F, Q

from clubdesk.fees.models import Charge, FeeItem
from clubdesk.ledger.models import Document, Party
from clubdesk.money import AmountField
from clubdesk.roll.models import Person


class Plan(models.Model):
    """A kind of membership: its fee item and how many months it lasts."""

    name = models.CharField(max_length=60, unique=True)
    fee_item = models.ForeignKey(FeeItem, models.PROTECT, related_name="+", limit_choices_to={"kind": "membership"})
    months = models.PositiveSmallIntegerField(default=12)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=Q(months__gte=1), name="membership_plan_has_months")]

    def __str__(self):
        return self.name


class Membership(Document):
    """A person is a member from `starts_on` to `ends_on`, both days included."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="memberships")
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="memberships")
    charge = models.OneToOneField(Charge, models.PROTECT, related_name="membership")
    starts_on = models.DateField()
    ends_on = models.DateField()

    class Meta:
        ordering = ["-starts_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gt=F("starts_on")), name="membership_order"),
            models.UniqueConstraint(fields=["person", "starts_on"], name="membership_once_from_a_day"),
        ]

    def __str__(self):
        return f"{self.plan} membership of {self.person}"

    def covers(self, day: date) -> bool:
        return self.starts_on <= day <= self.ends_on


class Remittance(Document):
    """What the club paid on to an association."""

    association = models.ForeignKey(Party, models.PROTECT, related_name="+", limit_choices_to={"kind": "association"})
    amount = AmountField()
    paid_on = models.DateField()

    class Meta:
        ordering = ["-paid_on", "-pk"]
        verbose_name = "affiliation remittance"
        constraints = [models.CheckConstraint(condition=Q(amount__gt=0), name="membership_remits_above_nil")]

    def __str__(self):
        return f"Affiliation to {self.association}, {self.paid_on:%-d %b %Y}"

    @property
    def entries_called_for(self) -> set[str]:
        return {"remitted"}
