"""What search finds of fees: receipts, what they pay, vouchers and the claims for them."""

from collections.abc import Iterator

from django.db.models import Q, QuerySet

from clubdesk.clock import day_text
from clubdesk.fees import services
from clubdesk.fees.models import Charge, Lodgement, Receipt, Voucher
from clubdesk.finding import Sought
from clubdesk.money import shown
from clubdesk.rooms import Finder, Hit
from clubdesk.screens.searching import amounts, hit
from clubdesk.verbs import verb_of

MAY_CLAIM = verb_of(services.lodge_vouchers).permission
"""Who claims vouchers finds them by their codes; for anybody else a code is nothing that can be asked for."""
FEWEST_OF_A_CODE = 5
"""So many signs of a voucher's code tell it from others; fewer are taken for the whole code."""


def receipts(sought: Sought, limit: int) -> Iterator[Hit]:
    """Receipts by their number, their amount, or what was written with the payment."""
    rows = Receipt.objects.select_related("household")
    found = list(rows.filter(number__in=sought.numbers))
    said = Q(reference__icontains=sought.text) if len(sought.text) > 2 and not sought.called else Q(pk__in=())
    found += rows.filter(Q(amount__in=amounts(sought)) | said)[:limit]
    for receipt in found:
        facts = [str(receipt.household), shown(receipt.amount), receipt.get_method_display().lower()]
        cancelled = ["cancelled"] if receipt.cancelled_on else []
        yield hit(receipt, str(receipt), ", ".join([*facts, day_text(receipt.received_on), *cancelled]))


def charges(sought: Sought, limit: int) -> Iterator[Hit]:
    """Fees by their amount, or as the ledger's entries name them: charge 12."""
    rows = Charge.objects.select_related("household")
    for charge in rows.filter(Q(pk__in=sought.as_called) | Q(amount__in=amounts(sought)))[:limit]:
        yield hit(
            charge, charge.description, f"{charge.household}, {shown(charge.amount)}, {day_text(charge.charged_on)}"
        )


def vouchers_of_code(sought: Sought) -> QuerySet[Voucher]:
    """Vouchers by a code, or by a part of it that is long enough to tell it from others."""
    is_part = len(sought.code) >= FEWEST_OF_A_CODE or sought.called
    meant = Q(code__icontains=sought.code) if is_part else Q(code=sought.code)
    return Voucher.objects.filter(meant, person__erased_on=None) if sought.code else Voucher.objects.none()


def vouchers(sought: Sought, limit: int) -> Iterator[Hit]:
    for voucher in vouchers_of_code(sought).select_related("scheme", "person")[:limit]:
        facts = (str(voucher.person), shown(voucher.amount), voucher.get_state_display().lower())
        yield hit(voucher, f"{voucher.scheme} {voucher.masked_code}", ", ".join(facts))


def voucher_claims(sought: Sought, limit: int) -> Iterator[Hit]:
    """Voucher claims by their number, where it is called so."""
    for lodgement in Lodgement.objects.filter(pk__in=sought.as_called).select_related("scheme"):
        yield hit(lodgement, str(lodgement), str(lodgement.scheme))


FINDS = (
    Finder(
        "Receipts",
        "a number, an amount, or what was written with the payment",
        permission="fees.view_receipt",
        find=receipts,
        called=("receipt",),
        page="admin:fees_receipt_changelist",
    ),
    Finder(
        "Fees",
        "an amount, or a number as in “charge 12”",
        permission="fees.view_charge",
        find=charges,
        called=("charge", "fee"),
        page="admin:fees_charge_changelist",
    ),
    Finder(
        "Vouchers",
        "a code, or five signs of it",
        permission=MAY_CLAIM,
        find=vouchers,
        called=("voucher", "code", "voucher code"),
        page="admin:fees_voucher_changelist",
    ),
    Finder(
        "Voucher claims",
        "a number, as in “voucher claim 4”",
        permission="fees.view_lodgement",
        find=voucher_claims,
        called=("voucher claim", "lodgement"),
        page="admin:fees_lodgement_changelist",
    ),
)
