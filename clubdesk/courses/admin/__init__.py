"""Screens of the courses room, a module a noun."""

from clubdesk.courses.admin import bookings, cohorts, courses, families, places

__all__ = ["bookings", "cohorts", "courses", "families", "places"]
