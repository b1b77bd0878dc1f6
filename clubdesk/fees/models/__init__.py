"""What things cost, who owes it, and what was paid: the fee schedule, accounts, vouchers."""

from clubdesk.fees.models.accounts import (
    PAID_BY,
    Allocation,
    AllocationQuerySet,
    Arrangement,
    ArrangementPart,
    Charge,
    ChargeCredit,
    ChargeShare,
    Method,
    OpeningBalances,
    Receipt,
    Repayment,
    WriteOff,
)
from clubdesk.fees.models.paidback import PaidBack
from clubdesk.fees.models.schedule import FeeItem, FeeKind, FeePrice, FeeShare
from clubdesk.fees.models.vouchers import (
    NOTHING_CLAIMED,
    Lodgement,
    Voucher,
    VoucherScheme,
    VoucherState,
    VoucherValue,
)

__all__ = [
    "NOTHING_CLAIMED",
    "PAID_BY",
    "Allocation",
    "AllocationQuerySet",
    "Arrangement",
    "ArrangementPart",
    "Charge",
    "ChargeCredit",
    "ChargeShare",
    "FeeItem",
    "FeeKind",
    "FeePrice",
    "FeeShare",
    "Lodgement",
    "Method",
    "OpeningBalances",
    "PaidBack",
    "Receipt",
    "Repayment",
    "Voucher",
    "VoucherScheme",
    "VoucherState",
    "VoucherValue",
    "WriteOff",
]
