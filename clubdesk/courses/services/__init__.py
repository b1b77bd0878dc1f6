"""Verbs of the courses room: the waitlist, booking, leaving, cohorts, running them, and the parents' own page."""

from clubdesk.courses.services.booking import book_new_family, book_party, book_place, record_reach_check
from clubdesk.courses.services.cohorts import cancel_cohort, save_cohort
from clubdesk.courses.services.leaving import (
    give_more_time,
    lapse_unpaid,
    remind_by_phone,
    remind_unpaid,
    transfer,
    withdraw,
    withdraw_place,
)
from clubdesk.courses.services.parents import (
    Child,
    PartyForm,
    book_from_page,
    family_user,
    forget_page_uses,
    within_limits,
)
from clubdesk.courses.services.running import issue_certificates, record_attendance
from clubdesk.courses.services.waitlist import (
    accept_offer,
    change_cohorts,
    lapse_offers,
    move_in_queue,
    offer_free_seats,
)

__all__ = [
    "Child",
    "PartyForm",
    "accept_offer",
    "book_from_page",
    "book_new_family",
    "book_party",
    "book_place",
    "cancel_cohort",
    "change_cohorts",
    "family_user",
    "forget_page_uses",
    "give_more_time",
    "issue_certificates",
    "lapse_offers",
    "lapse_unpaid",
    "move_in_queue",
    "offer_free_seats",
    "record_attendance",
    "record_reach_check",
    "remind_by_phone",
    "remind_unpaid",
    "save_cohort",
    "transfer",
    "withdraw",
    "withdraw_place",
    "within_limits",
]
