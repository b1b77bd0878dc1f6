"""Range days: who signed on, what was hired and paid, the club's kit, the tin and its count."""

from clubdesk.rangeday.models.counting import Banking, CountedPiece, RangeCount, TillCount
from clubdesk.rangeday.models.days import ClosedDays, OwnGearCost, RangeDay, SafetyText
from clubdesk.rangeday.models.kit import Hand, Kit, KitCheck, KitKind, KitState
from clubdesk.rangeday.models.phones import Phone
from clubdesk.rangeday.models.signing import (
    PAID_AT_THE_RANGE,
    Act,
    Gear,
    KitLoan,
    Names,
    Paid,
    PeopleField,
    SignOn,
    Tap,
    TapState,
)
from clubdesk.rangeday.models.visitors import Visitor

__all__ = [
    "PAID_AT_THE_RANGE",
    "Act",
    "Banking",
    "ClosedDays",
    "CountedPiece",
    "Gear",
    "Hand",
    "Kit",
    "KitCheck",
    "KitKind",
    "KitLoan",
    "KitState",
    "Names",
    "OwnGearCost",
    "Paid",
    "PeopleField",
    "Phone",
    "RangeCount",
    "RangeDay",
    "SafetyText",
    "SignOn",
    "Tap",
    "TapState",
    "TillCount",
    "Visitor",
]
