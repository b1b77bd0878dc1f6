"""What makes the guards of what is known of people fire."""

from tests.house.firing import Cases, Fires, added, changed, deleted

AGREEMENT, LOOK = "care_agreement", "care_look"
ON, LATER = "'2026-09-12'", "'2026-09-13'"
AT_THE_RANGE, AT_A_DESK = "day IS NOT NULL", "day IS NULL"

CASES: Cases = {
    "care_agreement_says_by_whom": Fires(
        changed(AGREEMENT, said_by="'Somebody else'"),
        spares=[changed(AGREEMENT, said_by="'Erased'"), changed(AGREEMENT, said_by="said_by")],
    ),
    "care_look_keeps": Fires(
        *(changed(LOOK, **{column: f"{column} + 1000"}) for column in ("id", "person_id", "looked_by_id")),
        changed(LOOK, looked_at="'2026-01-01 00:00:00'"),
        changed(LOOK, AT_THE_RANGE, day="NULL"),
        changed(LOOK, AT_A_DESK, day=ON),
        spares=[changed(LOOK, id="id")],
    ),
    "care_look_stays": [
        Fires(deleted(LOOK)),
        Fires(before=[f"UPDATE roll_person SET erased_on = {ON}"], spares=[deleted(LOOK)]),
    ],
    "care_look_of_who_is_signed_on": [
        Fires(
            added(LOOK, AT_THE_RANGE, day=LATER),
            added(LOOK, AT_THE_RANGE, person_id="person_id + 1000"),
            spares=[added(LOOK, AT_THE_RANGE), added(LOOK, AT_A_DESK)],
        ),
        *(
            Fires(added(LOOK, AT_THE_RANGE), before=[f"UPDATE {table} SET {column} = {ON}{more}"])
            for table, column, more in (
                ("rangeday_signon", "cancelled_on", ""),
                ("rangeday_rangeday", "closed_on", ""),
                ("rangeday_rangeday", "called_off_on", ", called_off_reason = 'hail'"),
            )
        ),
    ],
}
