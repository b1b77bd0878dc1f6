"""How a place in a course, and the booking that it belongs to, go on their way."""

from clubdesk.states import States

PLACE = States(
    "place in a course",
    first=("waiting",),
    table={
        "waiting": {
            "offered": "courses.offer_free_seats",
            "held": "courses.book_party",
            "withdrawn": "courses.withdraw",
        },
        "offered": {
            "held": "courses.accept_offer",
            "waiting": "courses.cancel_cohort",
            "lapsed": "courses.lapse_offers_of",
            "withdrawn": "courses.withdraw",
        },
        "held": {"withdrawn": "courses.withdraw", "lapsed": "courses.lapse_unpaid_booking"},
        "lapsed": {},
        "withdrawn": {},
    },
)
UNDONE = "courses.undo_withdrawal"
BOOKING = States(
    "booking",
    first=("waiting",),
    table={
        **PLACE.table,
        "held": {**PLACE.table["held"], "waiting": "courses.cancel_cohort"},
        **{state: {"held": UNDONE, "waiting": UNDONE} for state in ("lapsed", "withdrawn")},
    },
)
"""A booking stands as its places do; one whose cohort is cancelled waits again, by new places, and one whose
withdrawal is undone stands as before, by new places as well: also one of which another place has lapsed since."""
