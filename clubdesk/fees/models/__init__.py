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
from clubdesk.fees.models.schemes import KeyKind, VoucherScheme, VoucherValue, VoucherWindow
from clubdesk.fees.models.vouchers import NOTHING_CLAIMED, Lodgement, TiedCredit, Voucher, VoucherState

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
    "KeyKind",
    "Lodgement",
    "Method",
    "OpeningBalances",
    "PaidBack",
    "Receipt",
    "Repayment",
    "TiedCredit",
    "Voucher",
    "VoucherScheme",
    "VoucherState",
    "VoucherValue",
    "VoucherWindow",
    "WriteOff",
]
