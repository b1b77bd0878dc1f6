"""What makes the guards of the roll fire: something new about a person whose details were erased."""

from tests.house.firing import Cases, Fires, added, changed

ON = "'2026-09-12'"
ABOUT_PEOPLE = ("fees_charge", "courses_place", "entryfund_entryclaim", "membership_membership", "rangeday_signon")
NAMED = "person_id IS NOT NULL"
ERASED = f"UPDATE roll_person SET erased_on = {ON}"

CASES: Cases = {
    f"{table}_of_somebody_known": [
        Fires(added(table, NAMED), before=[ERASED], spares=[changed(table, NAMED, id="id")]),
        Fires(before=[], spares=[added(table, NAMED)]),
    ]
    for table in ABOUT_PEOPLE
}
