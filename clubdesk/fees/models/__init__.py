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
from clubdesk.fees.models.claiming import ANSWERS, ClaimColumn, ClaimFile, DaysAs, FileKind, Holds
from clubdesk.fees.models.givingback import GiveBack, GiveBackState
from clubdesk.fees.models.paidback import PaidBack
from clubdesk.fees.models.schedule import FeeItem, FeeKind, FeePrice, FeeShare
from clubdesk.fees.models.schemes import ClaimsAs, GivesBack, KeyKind, VoucherScheme, VoucherValue, VoucherWindow
from clubdesk.fees.models.vouchers import NOTHING_CLAIMED, PAID_IN, Lodgement, TiedCredit, Voucher, VoucherState

__all__ = [
    "ANSWERS",
    "NOTHING_CLAIMED",
    "PAID_BY",
    "PAID_IN",
    "Allocation",
    "AllocationQuerySet",
    "Arrangement",
    "ArrangementPart",
    "Charge",
    "ChargeCredit",
    "ChargeShare",
    "ClaimColumn",
    "ClaimFile",
    "ClaimsAs",
    "DaysAs",
    "FeeItem",
    "FeeKind",
    "FeePrice",
    "FeeShare",
    "FileKind",
    "GiveBack",
    "GiveBackState",
    "GivesBack",
    "Holds",
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
