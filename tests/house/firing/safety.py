"""What makes the guards of a safe day fire."""

from tests.house.firing import Cases, Fires, added, changed

CHECK, TURN, OPENING, STAY = "safety_volunteercheck", "safety_turn", "safety_opening", "safety_stay"
INCIDENT, INVOLVED, NOTE, SIGNON = "safety_incident", "safety_involved", "safety_incidentnote", "rangeday_signon"
ON, LATER, LONG_AGO = "'2026-09-12'", "'2026-09-13'", "'2020-01-01'"
SOMEBODY, OTHER, ERASED = "'Somebody'", "'other'", "'erased'"
ALL_LAPSED = f"UPDATE {CHECK} SET expires_on = {LONG_AGO}"
OPEN_AGAIN = "UPDATE rangeday_rangeday SET closed_on = NULL, called_off_on = NULL"
CHECKED = f"person_id IN (SELECT c.person_id FROM {CHECK} c WHERE c.kind = 'children')"
FREE_TURN = {"takes_over_id": "NULL", "ended_on": ON, "end_reason": "'ill'"}
BY_CASH = "paid = 'cash' AND corrects_id IS NULL"


def words(table, *columns):
    """Each of the columns is not changed; what is erased is, and what stays as it is."""
    return Fires(
        *(changed(table, f"{column} <> ''", **{column: OTHER}) for column in columns),
        spares=[
            *(changed(table, f"{column} <> ''", **{column: ERASED}) for column in columns),
            *(changed(table, **{column: f'"{column}"'}) for column in columns),
        ],
    )


def once(table, first, *others, on=ON, later=LATER):
    """What was written with the first column is not changed, nor taken away; before that it may be, and be erased."""
    filled = changed(table, **{first: on, **dict.fromkeys(others, SOMEBODY)})
    row = f"{first} IS NOT NULL"
    return Fires(
        changed(table, row, **{first: later}),
        changed(table, row, **{first: "NULL"}),
        *(changed(table, row, **{each: OTHER}) for each in others),
        before=[f"UPDATE {table} SET {first} = NULL", filled],
        spares=[
            *(changed(table, row, **{each: ERASED}) for each in others),
            changed(table, f"{first} IS NULL", **{first: on, **dict.fromkeys(others, SOMEBODY)}),
        ],
    )


CASES: Cases = {
    f"{CHECK}_words_stay": words(CHECK, "number"),
    "safety_check_stays_ended": once(CHECK, "ended_on", "end_reason"),
    "safety_check_seen_by_others": Fires(
        added(CHECK, expires_on=LATER),
        before=[
            "INSERT INTO roll_belonging (household_id, user_id, added_at)"
            f" SELECT p.household_id, c.recorded_by_id, '2020-01-01 00:00:00' FROM {CHECK} c"
            f" JOIN roll_person p ON p.id = c.person_id WHERE c.id = (SELECT MIN(id) FROM {CHECK})"
        ],
        spares=[added(CHECK, f"id = (SELECT MAX(id) FROM {CHECK})", expires_on=LATER)],
    ),
    "safety_turn_on_a_day_to_come": [
        Fires(added(TURN, **FREE_TURN), before=[f"UPDATE rangeday_rangeday SET {how}"])
        for how in (f"closed_on = {ON}", f"called_off_on = {ON}, called_off_reason = 'hail'")
    ]
    + [Fires(before=[OPEN_AGAIN], spares=[added(TURN, **FREE_TURN)])],
    "safety_turn_without_a_lapsed_check": [
        Fires(
            *(added(TURN, CHECKED, **FREE_TURN, duty=f"'{duty}'") for duty in ("coach", "line", "first_aid", "helper")),
            before=[ALL_LAPSED],
        ),
        Fires(
            added(TURN, CHECKED, **FREE_TURN), before=[f"UPDATE {CHECK} SET ended_on = {ON}, end_reason = 'revoked'"]
        ),
        Fires(
            added(TURN, **FREE_TURN, duty="'coach'"),
            before=[ALL_LAPSED, f"UPDATE {CHECK} SET kind = 'coaching'"],
            spares=[added(TURN, **FREE_TURN, duty="'line'")],
        ),
        Fires(before=[f"DELETE FROM {CHECK}"], spares=[added(TURN, **FREE_TURN, duty="'coach'")]),
    ],
    "safety_turn_stays_ended": once(TURN, "ended_on", "end_reason"),
    "safety_opened_as_the_roster_says": Fires(
        added(OPENING, on_duty="on_duty + 1"), added(OPENING, on_duty=99), spares=[added(OPENING)]
    ),
    "safety_opened_by_the_rules": [
        Fires(added(OPENING, needed="needed + 1"), added(OPENING, children="children + 1000"), spares=[added(OPENING)]),
        Fires(added(OPENING), before=["DELETE FROM safety_dayrules"], spares=[added(OPENING, needed=0)]),
    ],
    "safety_day_opened_before_money_is_taken": [
        Fires(
            added(SIGNON, BY_CASH, person_id="NULL", visitor_name=SOMEBODY),
            before=[f"DELETE FROM {OPENING}", f"UPDATE safety_dayrules SET since = {LONG_AGO}, people = 2"],
            spares=[
                added(SIGNON, BY_CASH, person_id="NULL", visitor_name=SOMEBODY, corrects_id="id"),
                added(SIGNON, BY_CASH, person_id="NULL", visitor_name=SOMEBODY, paid="'account'"),
            ],
        ),
        Fires(
            before=[f"DELETE FROM {OPENING}", "UPDATE safety_dayrules SET people = 0"],
            spares=[added(SIGNON, BY_CASH, person_id="NULL", visitor_name=SOMEBODY)],
        ),
    ],
    "safety_stay_left_once": once(
        STAY, "left_at", "collected_by", "agreed_by", on="'2027-01-02 00:00:00'", later="'2027-01-03 00:00:00'"
    ),
    f"{INCIDENT}_words_stay": words(INCIDENT, "place", "what", "first_aid"),
    "safety_incident_told_once": once(INCIDENT, "told_on", "told_whom"),
    f"{INVOLVED}_words_stay": words(INVOLVED, "name"),
    "safety_involved_kit_is_set_aside": [
        Fires(
            added(
                INVOLVED, "kit_id IS NOT NULL", kit_id="(SELECT MIN(k.id) FROM rangeday_kit k WHERE k.state = 'usable')"
            ),
            spares=[added(INVOLVED, "person_id IS NOT NULL", person_id="NULL")],
        ),
        Fires(
            before=["UPDATE rangeday_kit SET state = 'retired'"],
            spares=[
                added(
                    INVOLVED,
                    "kit_id IS NOT NULL",
                    kit_id="(SELECT MIN(k.id) FROM rangeday_kit k WHERE k.number = 'X1')",
                )
            ],
        ),
    ],
    f"{NOTE}_words_stay": words(NOTE, "words"),
}
