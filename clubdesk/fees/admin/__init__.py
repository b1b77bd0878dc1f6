"""Screens of the fees room: what stands on a household, charges, receipts, vouchers, the schedule."""

from clubdesk.fees.admin import charges, household, receipts, schedule, schemes, vouchers

__all__ = ["charges", "household", "receipts", "schedule", "schemes", "vouchers"]
