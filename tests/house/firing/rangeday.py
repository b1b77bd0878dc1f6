"""What makes the guards of the range days fire. One day of the world is counted and closed, the other open."""

from tests.house.firing import Cases, Fires, added, changed

DAY, SIGNON, COUNT, PIECE = "rangeday_rangeday", "rangeday_signon", "rangeday_tillcount", "rangeday_countedpiece"
KIT, LOAN, CHECK = "rangeday_kit", "rangeday_kitloan", "rangeday_kitcheck"
OPEN, SHUT = "closed_on IS NULL", "closed_on IS NOT NULL"
THE_OPEN_DAY = f"(SELECT MIN(id) FROM {DAY} WHERE {OPEN})"
THE_SHUT_DAY = f"(SELECT MIN(id) FROM {DAY} WHERE {SHUT})"
ON, LATER = "'2026-09-12'", "'2026-09-13'"
CALLED_OFF = changed(DAY, OPEN, called_off_on=ON, called_off_reason="'rain'")
CANCELLED = changed(SIGNON, cancelled_on=ON)
ALL_CANCELLED = f"UPDATE {SIGNON} SET cancelled_on = {ON}"
REOPENED = changed(COUNT, reopened_on=ON, reopen_reason="'miscounted'", reopened_by_id=1)
UNCLOSED = f"UPDATE {DAY} SET closed_on = NULL WHERE id = (SELECT range_day_id FROM {COUNT})"
CLOSE = changed(DAY, f"id = (SELECT range_day_id FROM {COUNT})", closed_on=ON)
GIVEN = {"kit_id": f"(SELECT MAX(id) FROM {KIT})"}
CORRECTED = added(SIGNON, corrects_id="id", person_id="person_id + 1000")
FOUND = {"kit_id": "1", "state": "'retired'"}

CASES: Cases = {
    "rangeday_sign_on_on_an_open_day": [
        Fires(added(SIGNON, range_day_id=THE_SHUT_DAY), spares=[added(SIGNON)]),
        Fires(added(SIGNON), before=[CALLED_OFF]),
    ],
    "rangeday_sign_on_stays_cancelled": Fires(changed(SIGNON, cancelled_on="NULL"), before=[CANCELLED]),
    "rangeday_sign_on_stays_once_counted": [
        Fires(CANCELLED, before=[changed(SIGNON, range_day_id=THE_SHUT_DAY)]),
        Fires(spares=[CANCELLED]),
    ],
    "rangeday_kit_takes_no_others_place": Fires(
        added(KIT), added(KIT, number="LOWER(number)"), spares=[added(KIT, number="'other'")]
    ),
    "rangeday_day_stays_closed": [
        Fires(
            changed(DAY, SHUT, date="'2026-10-10'"),
            changed(DAY, SHUT, closed_on="NULL"),
            spares=[changed(DAY, OPEN, date="'2026-10-10'")],
        ),
        Fires(before=[REOPENED], spares=[changed(DAY, SHUT, closed_on="NULL")]),
    ],
    "rangeday_day_stays_called_off": Fires(
        changed(DAY, OPEN, called_off_on="NULL"), changed(DAY, OPEN, date="'2026-10-10'"), before=[CALLED_OFF]
    ),
    "rangeday_called_off_with_nobody_left": [Fires(CALLED_OFF), Fires(before=[ALL_CANCELLED], spares=[CALLED_OFF])],
    "rangeday_closed_as_counted": [
        Fires(changed(DAY, OPEN, closed_on=ON)),
        Fires(CLOSE, before=[UNCLOSED, changed(COUNT, counted="counted + 1")]),
        Fires(CLOSE, before=[UNCLOSED, changed(PIECE, number="number + 1")]),
        Fires(CLOSE, before=[UNCLOSED, REOPENED]),
        Fires(before=[UNCLOSED], spares=[CLOSE]),
    ],
    "rangeday_count_stays_reopened": Fires(
        changed(COUNT, reopened_on="NULL"),
        changed(COUNT, reopened_on=LATER),
        changed(COUNT, reopen_reason="'other'"),
        changed(COUNT, reopened_by_id=2),
        before=[REOPENED],
    ),
    "rangeday_piece_of_an_open_count": [
        Fires(added(PIECE, cents=50)),
        Fires(added(PIECE, cents=50), before=[UNCLOSED, REOPENED]),
        Fires(before=[UNCLOSED], spares=[added(PIECE, cents=50)]),
    ],
    "rangeday_banking_stays_cancelled": Fires(
        changed("rangeday_banking", cancelled_on="NULL"), before=[changed("rangeday_banking", cancelled_on=ON)]
    ),
    "rangeday_safety_text_stays": Fires(
        changed("rangeday_safetytext", text="'other'"), changed("rangeday_safetytext", in_force_from=LATER)
    ),
    "rangeday_only_fit_kit_is_given_out": [
        Fires(added(LOAN, **GIVEN), before=[added(KIT, number="'other'", state="'set_aside'")]),
        Fires(added(LOAN, **GIVEN), before=[added(KIT, number="'other'", state="'retired'")]),
        Fires(before=[added(KIT, number="'other'", state="'usable'")], spares=[added(LOAN, **GIVEN)]),
    ],
    "rangeday_kit_goes_to_who_is_signed_on": Fires(
        added(LOAN, **GIVEN),
        before=[f"UPDATE {SIGNON} SET cancelled_on = {ON}"],
        spares=[changed(LOAN, back_at="given_at")],
    ),
    "rangeday_loan_stays_with_its_sign_on": [
        Fires(changed(LOAN, sign_on_id="sign_on_id + 1"), spares=[changed(LOAN, back_at="given_at")]),
        Fires(before=[CORRECTED], spares=[changed(LOAN, sign_on_id=f"(SELECT MAX(id) FROM {SIGNON})")]),
    ],
    "rangeday_kit_is_what_a_check_found": [
        Fires(changed(KIT, state="'retired'"), spares=[changed(KIT, description="'other'")]),
        Fires(
            changed(KIT, state="'set_aside'"), before=[added(CHECK, **FOUND)], spares=[changed(KIT, state="'retired'")]
        ),
        Fires(
            changed(KIT, state="'retired'"), before=[added(CHECK, **FOUND), added(CHECK, kit_id=1, state="'set_aside'")]
        ),
    ],
}
