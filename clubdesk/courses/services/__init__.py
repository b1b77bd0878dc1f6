"""Verbs of the courses room: the waitlist, booking, leaving, cohorts, running them, and the parents' own page."""

from clubdesk.courses.services.booking import (
    Named,
    book_apart,
    book_by_phone,
    book_party,
    book_place,
    record_reach_check,
)
from clubdesk.courses.services.cohorts import SavedCohort, cancel_cohort, save_cohort
from clubdesk.courses.services.groups import add_to_group, price_in_place_of, swap_person, was_swapped
from clubdesk.courses.services.leaving import (
    give_more_time,
    lapse_unpaid,
    lapse_unpaid_booking,
    remind_by_letter,
    remind_by_phone,
    remind_unpaid,
    transfer,
    withdraw,
    withdraw_place,
)
from clubdesk.courses.services.moving import move_person
from clubdesk.courses.services.parents import (
    PartyForm,
    accept_by_family,
    book_apart_by_family,
    book_from_page,
    change_dates_by_family,
    family_user,
    forget_page_uses,
    withdraw_by_family,
    within_limits,
)
from clubdesk.courses.services.running import Came, issue_certificates, record_attendance
from clubdesk.courses.services.undoing import asked_since, undo_withdrawal
from clubdesk.courses.services.waitlist import (
    accept_offer,
    change_cohorts,
    lapse_offers,
    lapse_offers_of,
    move_in_queue,
    offer_free_seats,
)

__all__ = [
    "Came",
    "Named",
    "PartyForm",
    "SavedCohort",
    "accept_by_family",
    "accept_offer",
    "add_to_group",
    "asked_since",
    "book_apart",
    "book_apart_by_family",
    "book_by_phone",
    "book_from_page",
    "book_party",
    "book_place",
    "cancel_cohort",
    "change_cohorts",
    "change_dates_by_family",
    "family_user",
    "forget_page_uses",
    "give_more_time",
    "issue_certificates",
    "lapse_offers",
    "lapse_offers_of",
    "lapse_unpaid",
    "lapse_unpaid_booking",
    "move_in_queue",
    "move_person",
    "offer_free_seats",
    "price_in_place_of",
    "record_attendance",
    "record_reach_check",
    "remind_by_letter",
    "remind_by_phone",
    "remind_unpaid",
    "save_cohort",
    "swap_person",
    "transfer",
    "undo_withdrawal",
    "was_swapped",
    "withdraw",
    "withdraw_by_family",
    "withdraw_place",
    "within_limits",
]
