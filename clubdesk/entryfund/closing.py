"""What a year needs of this room before it is closed."""

from django.urls import reverse

from clubdesk.entryfund.models import EntryClaim
from clubdesk.entryfund.states import UNDECIDED
from clubdesk.ledger.models import FinancialYear
from clubdesk.rooms import Check, Item


def decided(year: FinancialYear) -> Item:
    waiting = EntryClaim.objects.filter(claimed_on__lte=year.last_day, state__in=UNDECIDED).count()
    said = f"{waiting} wait for a decision." if waiting else "All are decided."
    url = reverse("admin:claim_queue")
    return Item("Refund requests are decided", not waiting, said, url, "entryfund.decide_entryclaim", "an approver")


CHECKS = (Check("Refund requests are decided", "entryfund.decide_entryclaim", decided),)
