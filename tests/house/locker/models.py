"""Lockers, and who rents one for a term."""

from django.db import models
from django.db.models import F, Q

from clubdesk.fees.models import Charge
from clubdesk.ledger.models import Document
from clubdesk.roll.models import Household
from tests.house.locker.states import RENT


class Locker(models.Model):
    number = models.CharField(max_length=10, unique=True)

    def __str__(self) -> str:
        return f"Locker {self.number}"


class Rent(Document):
    """A locker rented by a family for a term; its charge posts."""

    locker = models.ForeignKey(Locker, models.PROTECT, related_name="rents")
    household = models.ForeignKey(Household, models.PROTECT, related_name="locker_rents")
    starts_on = models.DateField()
    ends_on = models.DateField()
    charge = models.OneToOneField(Charge, models.PROTECT, related_name="locker_rent")
    state = models.CharField(max_length=9, choices=[("rented", "Rented"), ("given_up", "Given up")], default="rented")
    reason = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            RENT.constraint("locker_rent_state_is_one"),
            models.CheckConstraint(condition=Q(ends_on__gt=F("starts_on")), name="locker_rent_has_days"),
            models.UniqueConstraint(
                fields=["locker", "starts_on"], condition=Q(state="rented"), name="locker_rented_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.locker} for {self.household}"
