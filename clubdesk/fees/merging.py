"""What the fees room says where two people, or two families, turn out to be one."""

from collections.abc import Iterator
from datetime import date

from django.db.models import Count, Q

from clubdesk.fees.models import Allocation, Arrangement, Voucher
from clubdesk.fees.selectors import STANDING_VOUCHER
from clubdesk.fees.services.charging import free, settle
from clubdesk.roll.models import Household, Merge, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """More vouchers than the one child may have; parts that a family agreed to pay of what it owed alone."""
    if isinstance(one, Person):
        used = Voucher.objects.filter(STANDING_VOUCHER, person__in=(one.pk, other.pk)).order_by(
            "scheme", "calendar_year"
        )
        for scheme, year, allowed, count in used.values_list(
            "scheme__name", "calendar_year", "scheme__per_year"
        ).annotate(count=Count("pk")):
            if count > allowed:
                yield (
                    f"The two have {count} vouchers of {scheme} in {year}, and one child has {allowed}: "
                    "press “Do not claim this voucher” on the page of one first."
                )
        return
    for standing in Arrangement.objects.filter(household__in=(one.pk, other.pk), ended_on=None).order_by("pk"):
        yield f"{standing.household} pays in parts: end its arrangement first, and agree anew afterwards."


def then(merge: Merge, on: date) -> None:
    """What the one had paid ahead pays what the other owes."""
    if merge.household:
        settle(household=merge.household, on=on)


def before_undoing(merge: Merge, on: date) -> None:
    """What one of the two paid of the other's fees is open again."""
    if not merge.household:
        return
    moved = merge.moved.order_by("pk")
    receipts = moved.filter(table_name="fees_receipt").values("row_id")
    charges, repaid = (moved.filter(table_name=table).values("row_id") for table in ("fees_charge", "fees_repayment"))
    theirs = Q(receipt__in=receipts)
    across = theirs & ~(Q(charge__in=charges) | Q(repayment__in=repaid))
    across |= ~theirs & (Q(charge__in=charges) | Q(repayment__in=repaid))
    for allocation in Allocation.objects.standing().filter(across).select_related("receipt").order_by("pk"):
        free(allocation, on)


MERGING = Merging(refuses=refuses, then=then, before_undoing=before_undoing)
