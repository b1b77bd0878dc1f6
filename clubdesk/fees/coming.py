"""What of fees and vouchers is due in the weeks ahead: to be paid by families, and by departments as they promise."""

from collections.abc import Iterator
from datetime import date, timedelta

from clubdesk.expecting import Coming
from clubdesk.fees.accounts import parts_to_come
from clubdesk.fees.deadlines import claims_unpaid
from clubdesk.fees.selectors import charges_with_open
from clubdesk.ledger.selectors import book
from clubdesk.money import cents_of


def due_of_families(first: date, last: date) -> Iterator[Coming]:
    """Parts that families agreed on, and what was charged so lately that it is not overdue yet; a family that pays in
    parts is counted by these alone.
    """
    agreed = parts_to_come(first)
    for parts in agreed.values():
        for day, amount in parts:
            if first <= day <= last:
                yield Coming(day, cents_of(amount), "parts that families agreed on")
    to_pay = timedelta(days=book().pay_days)
    charges = charges_with_open().filter(open_amount__gt=0, charged_on__range=(first - to_pay, last - to_pay))
    charges = charges.exclude(household__in=list(agreed))
    for day, figure in charges.values_list("charged_on", "open_amount"):
        yield Coming(day + to_pay, int(figure * 100), "fees charged")


def due_of_departments(first: date, last: date) -> Iterator[Coming]:
    """Voucher claims by the day on which the department pays them by its promise; without one, with no day."""
    for claim, waits in claims_unpaid():
        day = claim.promised_by
        if day is None or first <= day <= last:
            yield Coming(day, int(waits * 100), "vouchers claimed")
