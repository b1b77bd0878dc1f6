"""What a year needs of this room before it is closed."""

from django.urls import reverse

from clubdesk.ledger.models import FinancialYear
from clubdesk.rooms import Check, Item
from clubdesk.safety import selectors
from clubdesk.safety.models import Incident

TOLD, NEEDS = "A guardian was told of each incident with a child", "safety.change_incident"


def guardians_told(year: FinancialYear) -> Item | None:
    """How many records wait for that, and no more of them. None where there is no record of the year."""
    if not Incident.objects.filter(happened_on__range=(year.first_day, year.last_day)).exists():
        return None
    waiting = selectors.not_told(year.last_day).filter(happened_on__gte=year.first_day).count()
    said = f"{waiting} still to be noted." if waiting else "It is noted of each."
    return Item(TOLD, not waiting, said, reverse("admin:safety_incident_changelist"), NEEDS, "the coordinator")


CHECKS = (Check(TOLD, NEEDS, guardians_told),)
