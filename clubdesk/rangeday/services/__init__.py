"""Verbs of the range day: signing on, what phones send, counting and banking."""

from clubdesk.rangeday.services.counting import bank_takings, close_day
from clubdesk.rangeday.services.signing import cancel_sign_on, sign_on
from clubdesk.rangeday.services.taps import answer_tap, receive_tap

__all__ = [
    "answer_tap",
    "bank_takings",
    "cancel_sign_on",
    "close_day",
    "receive_tap",
    "sign_on",
]
