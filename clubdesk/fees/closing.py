"""What a year needs of this room before it is closed."""

from django.urls import reverse

from clubdesk import clock
from clubdesk.fees.models import Voucher, VoucherState
from clubdesk.fees.selectors import charges_to_recognise
from clubdesk.ledger.models import FinancialYear, Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import shown
from clubdesk.rooms import Check, Item

VOUCHERS = "Vouchers are settled or carried"
INCOME = "Cohorts and memberships that started are income"


def vouchers_settled_or_carried(year: FinancialYear) -> Item:
    """One that was accepted is lodged or given back; what is lodged and unpaid is carried into the next year."""
    waiting = Voucher.objects.filter(accepted_on__lte=year.last_day, state=VoucherState.ACCEPTED).count()
    owed = balance(Role.VOUCHERS_OWED, year.last_day)
    said = (
        f"{waiting} accepted and in no claim; claim them, or say that they are not claimed."
        if waiting
        else f"{shown(owed)} is carried into the next year."
    )
    url = f"{reverse('admin:fees_voucher_changelist')}?state__exact=accepted"
    return Item(VOUCHERS, not waiting, said, url, "fees.add_lodgement")


def started_fees_are_income(year: FinancialYear) -> Item:
    due = charges_to_recognise(min(year.last_day, clock.today())).count()
    said = (
        f"{due} fees of what has started still wait in Fees in advance." if due else "Nothing waits that has started."
    )
    url = reverse("admin:ledger_financialyear_recognise", args=[year.pk])
    return Item(INCOME, not due, said, url, "ledger.close_year")


CHECKS = (
    Check(VOUCHERS, "fees.add_lodgement", vouchers_settled_or_carried),
    Check(INCOME, "ledger.close_year", started_fees_are_income),
)
