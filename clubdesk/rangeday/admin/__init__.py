"""Screens of the range day, made for a phone at the range; a module a noun."""

from clubdesk.rangeday.admin import banking, days, kit, setting_up, sign_ons, taps

__all__ = ["banking", "days", "kit", "setting_up", "sign_ons", "taps"]
