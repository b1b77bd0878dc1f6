"""The rules about courses that the database itself keeps."""

from clubdesk.courses.states import BOOKING, PLACE
from clubdesk.guards import Guard, differs, kept, replaces_nothing
from clubdesk.roll.rules import not_erased
from clubdesk.rooms import ERASED

SEATED = "('held', 'offered')"


def _overfull(own: str) -> str:
    return (
        f"NEW.state IN {SEATED} AND (SELECT COUNT(*) FROM courses_place p WHERE p.cohort_id = NEW.cohort_id"
        f" AND p.state IN {SEATED} AND p.id <> {own}) >="
        " (SELECT c.capacity FROM courses_cohort c WHERE c.id = NEW.cohort_id)"
    )


CANCELLED = (
    f"NEW.state IN {SEATED} AND EXISTS (SELECT 1 FROM courses_cohort c WHERE c.id = NEW.cohort_id"
    " AND (c.cancelled_on IS NOT NULL OR c.course_id <> NEW.course_id))"
)
YEARS = (
    "CAST(SUBSTR(CAST(c.first_session AS TEXT), 1, 4) AS INTEGER) - CAST(SUBSTR(CAST(p.birth_date AS TEXT), 1, 4)"
    " AS INTEGER) - CASE WHEN SUBSTR(CAST(p.birth_date AS TEXT), 6) > SUBSTR(CAST(c.first_session AS TEXT), 6)"
    " THEN 1 ELSE 0 END"
)
UNCHECKED = (
    f"NEW.state IN {SEATED} AND NOT EXISTS (SELECT 1 FROM courses_reachcheck r WHERE r.person_id = NEW.person_id)"
    " AND EXISTS (SELECT 1 FROM courses_cohort c JOIN courses_course k ON k.id = c.course_id"
    " JOIN roll_person p ON p.id = NEW.person_id WHERE c.id = NEW.cohort_id"
    f" AND {YEARS} < COALESCE(c.minimum_age, k.minimum_age))"
)
"""Somebody too young on the first session without a draw check. Whoever has the seat already keeps it, also where the
club moves the days."""
HISTORY = (
    "id", "booking_id", "kind", "on", "cohort_id", "in_favour_of_id", "rank_after", "seats", "recorded_by_id",
    "recorded_at",
)  # fmt: skip
GUARDS = [
    not_erased("courses_place"),
    *(
        Guard(f"courses_place_{event.lower()}_fits", "courses_place", event, when=_overfull(own), message=message)
        for event, own, message in (
            ("INSERT", "-1", "The cohort is full."),
            ("UPDATE", "OLD.id", "The cohort is full."),
        )
    ),
    *(
        Guard(
            f"courses_place_{event.lower()}_in_a_running_cohort",
            "courses_place",
            event,
            when=CANCELLED,
            message="The cohort was cancelled, or belongs to another course.",
        )
        for event in ("INSERT", "UPDATE")
    ),
    *(
        Guard(
            f"courses_place_{event.lower()}_after_a_draw_check",
            "courses_place",
            event,
            when=when,
            message="Below the minimum age a place is offered only after a draw check is recorded.",
        )
        for event, when in (
            ("INSERT", UNCHECKED),
            (
                "UPDATE",
                f"(OLD.state NOT IN {SEATED} OR COALESCE(OLD.cohort_id, 0) <> COALESCE(NEW.cohort_id, 0))"
                f" AND {UNCHECKED}",
            ),
        )
    ),
    Guard(
        "courses_capacity_holds_its_places",
        "courses_cohort",
        "UPDATE",
        when="NEW.capacity < (SELECT COUNT(*) FROM courses_place p"
        f" WHERE p.cohort_id = NEW.id AND p.state IN {SEATED})",
        message="More places are taken than that; withdraw some first.",
    ),
    Guard(
        "courses_cohort_cancelled_is_empty",
        "courses_cohort",
        "UPDATE",
        when="NEW.cancelled_on IS NOT NULL AND EXISTS (SELECT 1 FROM courses_place p"
        f" WHERE p.cohort_id = NEW.id AND p.state IN {SEATED})",
        message="A cohort is cancelled by its own page, which credits everyone first.",
    ),
    Guard(
        "courses_cohort_keeps",
        "courses_cohort",
        "UPDATE",
        when="NEW.course_id <> OLD.course_id OR (OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL)",
        message="A cohort stays with its course, and a cancelled one stays cancelled; set up a new one.",
    ),
    Guard(
        "courses_offer_keeps_its_price",
        "fees_feeprice",
        "UPDATE",
        when="(NEW.amount <> OLD.amount OR NEW.item_id <> OLD.item_id) AND EXISTS (SELECT 1 FROM courses_place p"
        " WHERE p.offered_price_id = OLD.id AND p.state = 'offered')",
        message="A family was offered a place at this price; it stands until the offer ends. Add one from a later day.",
    ),
    Guard(
        "courses_booking_moves_with_a_reason",
        "courses_booking",
        "UPDATE",
        when="NEW.rank <> OLD.rank AND NOT EXISTS (SELECT 1 FROM courses_bookingevent e"
        " WHERE e.booking_id = NEW.id AND e.kind = 'moved' AND e.rank_after = NEW.rank)",
        message="The order of a waitlist never changes silently.",
    ),
    *kept(
        "courses_booking",
        "booking",
        "number",
        "course_id",
        "household_id",
        "booked_on",
        free=(
            "guardian_id",
            "rank",
            "state",
            "seats",
            "offer_lapses_on",
            "pay_by",
            "reminded_on",
            "ended_on",
        ),
    ),
    *BOOKING.guards("courses_booking"),
    *kept(
        "courses_place",
        "place",
        "booking_id",
        "course_id",
        "person_id",
        free=("cohort_id", "state", "ended_on", "charge_id", "offered_price_id", "free_to_leave_until"),
    ),
    *PLACE.guards("courses_place"),
    *kept("courses_certificate", "certificate", "number", "place_id", "completed_on"),
    *kept("courses_reachcheck", "draw check", "person_id", "checked_on", "checked_by"),
    Guard(
        "courses_event_keeps",
        "courses_bookingevent",
        "UPDATE",
        when=f"NEW.words <> '{ERASED}' OR " + differs(*HISTORY),
        message="A booking's history is never changed.",
    ),
    Guard("courses_event_stays", "courses_bookingevent", "DELETE", message="A booking's history is never deleted."),
    replaces_nothing("courses_bookingevent", "line of a history"),
]
