"""Verbs of the range day: signing on, what phones send, kit, counting, banking, a day called off."""

from clubdesk.rangeday.services.calling_off import CalledOff, call_off_day
from clubdesk.rangeday.services.counting import bank_takings, cancel_banking, close_day, reopen_day
from clubdesk.rangeday.services.kit import find_kit_fit, give_out, set_kit_aside, take_back_kit
from clubdesk.rangeday.services.signing import cancel_sign_on, correct_sign_on, forget_visitors, sign_on
from clubdesk.rangeday.services.taps import answer_tap, receive_tap

__all__ = [
    "CalledOff",
    "answer_tap",
    "bank_takings",
    "call_off_day",
    "cancel_banking",
    "cancel_sign_on",
    "close_day",
    "correct_sign_on",
    "find_kit_fit",
    "forget_visitors",
    "give_out",
    "receive_tap",
    "reopen_day",
    "set_kit_aside",
    "sign_on",
    "take_back_kit",
]
