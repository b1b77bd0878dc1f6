"""What the ledger tells the rooms above."""

from django.dispatch import Signal

month_locked = Signal()
"""Sent with `month_end` in the transaction that locks the month, once nothing can be dated in it any more."""
month_unlocked = Signal()
"""Sent with `month_end` in the transaction that opens the month again and every later one, once they are open."""
