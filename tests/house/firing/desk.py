"""What makes the guards of the record of acts fire: another act than was done, or its details gone too early."""

from tests.house.firing import Cases, Fires, changed
from tests.house.firing.roll import ERASED

ACTS = "desk_actrecord"
NUMBERS = ("id", "content_type_id", "action", "actor_id", "family_id", "person_id")
ABOUT = "person_id IS NOT NULL AND changes IS NOT NULL"
GONE = [changed(ACTS, ABOUT, object_repr="'erased'"), changed(ACTS, ABOUT, changes="'{}'")]
OF_A_FAMILY = "person_id IS NULL AND family_id IS NOT NULL AND changes IS NOT NULL"
WITH_PEOPLE = f"{OF_A_FAMILY} AND family_id IN (SELECT household_id FROM roll_person)"

CASES: Cases = {
    f"{ACTS}_keeps": [
        Fires(
            *(changed(ACTS, f"{column} IS NOT NULL", **{column: f"{column} + 1"}) for column in NUMBERS),
            changed(ACTS, object_pk="'0'"),
            changed(ACTS, what="'nothing'"),
            changed(ACTS, rows="7"),
            changed(ACTS, timestamp="'2020-01-01 00:00:00'"),
            changed(ACTS, "remote_addr IS NULL", remote_addr="'192.0.2.1'"),
            *GONE,
            changed(ACTS, WITH_PEOPLE, object_repr="'erased'"),
            changed(ACTS, "family_id IS NULL AND changes IS NOT NULL", changes="'{}'"),
            spares=[changed(ACTS, id="id")],
        ),
        Fires(
            changed(ACTS, "family_id IS NULL AND changes IS NOT NULL", changes="'{}'"),
            before=[ERASED],
            spares=[*GONE, changed(ACTS, WITH_PEOPLE, object_repr="'erased'")],
        ),
    ],
}
