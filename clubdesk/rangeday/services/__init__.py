"""Verbs of the range day: signing on, what phones send, kit, counting, banking, a day called off."""

from clubdesk.rangeday.services.calling_off import CalledOff, call_off_day, move_day
from clubdesk.rangeday.services.counting import bank_takings, cancel_banking, close_day, reopen_day
from clubdesk.rangeday.services.handing_in import confirm_count, hand_in_count
from clubdesk.rangeday.services.hearing import forget_phones, hear_of
from clubdesk.rangeday.services.kit import find_kit_fit, give_out, set_kit_aside, take_back_kit
from clubdesk.rangeday.services.looking import look_at_the_range
from clubdesk.rangeday.services.planning import Planned, plan_days, set_hours
from clubdesk.rangeday.services.signing import cancel_sign_on, correct_sign_on, forget_visitors, sign_on
from clubdesk.rangeday.services.taps import answer_tap, receive_tap
from clubdesk.rangeday.services.visitors import forget_waiting, sign_on_as_visitor

__all__ = [
    "CalledOff",
    "Planned",
    "answer_tap",
    "bank_takings",
    "call_off_day",
    "cancel_banking",
    "cancel_sign_on",
    "close_day",
    "confirm_count",
    "correct_sign_on",
    "find_kit_fit",
    "forget_phones",
    "forget_visitors",
    "forget_waiting",
    "give_out",
    "hand_in_count",
    "hear_of",
    "look_at_the_range",
    "move_day",
    "plan_days",
    "receive_tap",
    "reopen_day",
    "set_hours",
    "set_kit_aside",
    "sign_on",
    "sign_on_as_visitor",
    "take_back_kit",
]
