"""What makes the guards of the courses fire."""

import uuid

from clubdesk.rooms import ERASED
from tests.house.firing import Cases, Fires, added, changed, one

PLACE, COHORT, BOOKING, EVENT = "courses_place", "courses_cohort", "courses_booking", "courses_bookingevent"
SEATED = "state IN ('held', 'offered')"
WAITS_IN_ONE = "state = 'waiting' AND cohort_id IS NOT NULL"
TAKEN = f"(SELECT COUNT(*) FROM {PLACE} p WHERE p.cohort_id = {COHORT}.id AND p.{SEATED})"
FULL, ONE_LEFT = (f"UPDATE {COHORT} SET capacity = {TAKEN} {more}" for more in ("", "+ 1"))
CANCELLED = f"UPDATE {COHORT} SET cancelled_on = '2026-09-12'"
OF_ANOTHER_COURSE = f"UPDATE {COHORT} SET course_id = course_id + 1"
HELD = added(PLACE, SEATED)
WAITS_THEN_HELD = [added(PLACE, SEATED, state="'waiting'", person_id="person_id + 1000", charge_id="NULL")]
IS_HELD = changed(PLACE, "state = 'waiting'", state="'held'")
YOUNG = ["UPDATE roll_person SET birth_date = '2020-05-05'", "DELETE FROM courses_reachcheck"]
FROM_ANY_AGE = f"UPDATE {COHORT} SET minimum_age = 0"
CHECKED, WAITED_AND_CHECKED = (
    "INSERT INTO courses_reachcheck (key, person_id, checked_on, checked_by, recorded_by_id, recorded_at)"
    f" SELECT '{uuid.uuid4().hex}', person_id, '2026-09-12', 'Jo', recorded_by_id, recorded_at FROM {PLACE}"
    f" WHERE {one(PLACE, where)}"
    for where in (SEATED, WAITS_IN_ONE)
)
WAITS = changed(PLACE, SEATED, state="'waiting'")
WAITED_NOW_HELD = changed(PLACE, WAITS_IN_ONE, state="'held'")
PRICE, ONE_PRICE = "fees_feeprice", "(SELECT MIN(id) FROM fees_feeprice)"
IS_OFFERED = changed(PLACE, SEATED, state="'offered'", offered_price_id=ONE_PRICE)
MOVED = added(EVENT, booking_id=1, kind="'moved'", rank_after=f"(SELECT rank + 1 FROM {BOOKING} WHERE id = 1)")
ERASE = {"words": f"'{ERASED}'"}

CASES: Cases = {
    "courses_place_insert_fits": [
        Fires(HELD, before=[FULL], spares=[added(PLACE, SEATED, state="'waiting'")]),
        Fires(before=[ONE_LEFT], spares=[HELD]),
    ],
    "courses_place_update_fits": [
        Fires(IS_HELD, before=[FULL, *WAITS_THEN_HELD], spares=[changed(PLACE, SEATED, person_id="person_id")]),
        Fires(before=[ONE_LEFT, *WAITS_THEN_HELD], spares=[IS_HELD]),
    ],
    "courses_place_insert_in_a_running_cohort": [
        Fires(HELD, before=[CANCELLED], spares=[added(PLACE, SEATED, state="'waiting'")]),
        Fires(HELD, before=[OF_ANOTHER_COURSE]),
        Fires(spares=[HELD]),
    ],
    "courses_place_update_in_a_running_cohort": [
        Fires(IS_HELD, before=[*WAITS_THEN_HELD, CANCELLED]),
        Fires(IS_HELD, before=[*WAITS_THEN_HELD, OF_ANOTHER_COURSE]),
        Fires(before=WAITS_THEN_HELD, spares=[IS_HELD]),
    ],
    "courses_place_insert_after_a_draw_check": [
        Fires(HELD, before=YOUNG, spares=[added(PLACE, SEATED, state="'waiting'")]),
        Fires(before=[*YOUNG, FROM_ANY_AGE], spares=[HELD]),
        Fires(before=[*YOUNG, CHECKED], spares=[HELD]),
    ],
    "courses_place_update_after_a_draw_check": [
        Fires(WAITED_NOW_HELD, before=[*YOUNG, WAITS], spares=[changed(PLACE, SEATED, ended_on="NULL")]),
        Fires(
            changed(PLACE, SEATED, cohort_id=f"(SELECT MAX(id) FROM {COHORT})"),
            before=[*YOUNG, added(COHORT, name="'Other'")],
            spares=[changed(PLACE, "state = 'offered'", state="'held'")],
        ),
        Fires(before=[*YOUNG, WAITS, FROM_ANY_AGE], spares=[WAITED_NOW_HELD]),
        Fires(before=[*YOUNG, WAITS, WAITED_AND_CHECKED], spares=[WAITED_NOW_HELD]),
    ],
    "courses_capacity_holds_its_places": Fires(
        changed(COHORT, f"{TAKEN} > 1", capacity=f"{TAKEN} - 1"),
        spares=[changed(COHORT, f"{TAKEN} > 1", capacity=TAKEN)],
    ),
    "courses_cohort_cancelled_is_empty": [
        Fires(changed(COHORT, f"{TAKEN} > 0", cancelled_on="'2026-09-12'")),
        Fires(
            before=[f"UPDATE {PLACE} SET state = 'withdrawn', ended_on = '2026-09-12'"],
            spares=[changed(COHORT, cancelled_on="'2026-09-12'")],
        ),
    ],
    "courses_cohort_keeps": [
        Fires(changed(COHORT, course_id="course_id + 1"), spares=[changed(COHORT, cancelled_on="'2026-09-12'")]),
        Fires(changed(COHORT, cancelled_on="NULL"), before=[CANCELLED]),
    ],
    "courses_booking_moves_with_a_reason": [
        Fires(changed(BOOKING, rank="rank + 1"), spares=[changed(BOOKING, seats="seats")]),
        Fires(
            changed(BOOKING, "id = 1", rank="rank + 2"),
            changed(BOOKING, "id > 1", rank="rank + 1"),
            before=[MOVED],
            spares=[changed(BOOKING, "id = 1", rank="rank + 1")],
        ),
    ],
    "courses_offer_keeps_its_price": [
        Fires(
            changed(PRICE, amount="amount + 1"),
            changed(PRICE, item_id="item_id + 1000"),
            before=[IS_OFFERED],
            spares=[changed(PRICE, valid_until="'2027-12-31'")],
        ),
        Fires(
            before=[f"UPDATE {PLACE} SET state = 'lapsed', offered_price_id = {ONE_PRICE}"],
            spares=[changed(PRICE, amount=1)],
        ),
    ],
    "courses_event_keeps": Fires(
        changed(EVENT, words="'other'"),
        changed(EVENT, booking_id="booking_id + 1", **ERASE),
        changed(EVENT, kind="'other'", **ERASE),
        changed(EVENT, on="'2020-01-01'", **ERASE),
        changed(EVENT, id="id + 1000", **ERASE),
        changed(EVENT, cohort_id="COALESCE(cohort_id, 0) + 1", **ERASE),
        changed(EVENT, in_favour_of_id="COALESCE(in_favour_of_id, 0) + 1", **ERASE),
        changed(EVENT, rank_after="COALESCE(rank_after, 0) + 1", **ERASE),
        changed(EVENT, seats="seats + 1", **ERASE),
        changed(EVENT, recorded_by_id="recorded_by_id + 1", **ERASE),
        changed(EVENT, recorded_at="'2020-01-01 00:00:00'", **ERASE),
        spares=[changed(EVENT, **ERASE)],
    ),
}
