"""What the club pays back to a household once somebody else has approved it."""

from typing import ClassVar

from django.conf import settings
from django.db import models

from clubdesk.ledger.models import Document
from clubdesk.roll.models import Household
from clubdesk.states import States


class PaidBack(Document):
    """What a household gets from the bank once somebody else has approved it. A payment that the bank returns is
    taken back, and the document waits to be paid again; each payment has a purpose of its own in the ledger.
    """

    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_on = models.DateField(null=True, blank=True)
    decision_reason = models.CharField(max_length=200, blank=True)
    paid_on = models.DateField(null=True, blank=True)
    payment_reference = models.CharField(max_length=60, blank=True)
    times_returned = models.PositiveSmallIntegerField("payments returned by the bank", default=0)

    states: ClassVar[States]
    household: Household
    state: str

    class Meta:
        abstract = True

    @property
    def pay_purpose(self) -> str:
        return f"pay {self.times_returned + 1}" if self.times_returned else "pay"

    @property
    def entries_called_for(self) -> set[str]:
        if self.state == "paid":
            return {"approve", self.pay_purpose}
        return {"approve"} if self.state == "approved" else set()

    @property
    def why_undone(self) -> str:
        return "returned by the bank" if self.times_returned else ""
