"""Screens of a safe day, a module a noun."""

from clubdesk.safety.admin import checks, days, incidents, roster, staying

__all__ = ["checks", "days", "incidents", "roster", "staying"]
