"""What makes the guards of the roll fire: something new about who was erased or merged, and merging past its page."""

from clubdesk.roll.models import Household, Person
from clubdesk.roll.services.merging import columns_to
from tests.house.firing import Cases, Does, Fires, added, changed, one

ON = "'2026-09-12'"
ABOUT_PEOPLE = (
    "care_agreement",
    "care_healthnote",
    "care_look",
    "care_maycollect",
    "care_persontoring",
    "fees_charge",
    "courses_place",
    "entryfund_entryclaim",
    "membership_leaverequest",
    "membership_membership",
    "rangeday_signon",
    "safety_involved",
    "safety_stay",
    "safety_turn",
    "safety_volunteercheck",
)
NAMED = "person_id IS NOT NULL"
BELONGING, GUARDIAN = "roll_belonging", "roll_guardian"
ENDED = changed(BELONGING, ended_at="'2099-01-01 00:00:00'", ended_by_id="added_by_id")
ERASED = f"UPDATE roll_person SET erased_on = {ON}"


def others(kind: str) -> str:
    """Whoever is not the first, as a place where all of them could be merged into."""
    return f"(SELECT MAX(id) FROM roll_{kind})"


def stands(table: str, column: str, kind: str) -> Fires:
    named, merged = f'"{column}" IS NOT NULL', f"UPDATE roll_{kind} SET merged_into_id = {others(kind)}"
    return Fires(added(table, named), before=[merged], spares=[changed(table, named, id="id")])


def merged(kind: str) -> list[Fires]:
    """Into another without a merge; back while the merge stands; into somebody else than the merge says."""
    table, gone = f"roll_{kind}", f"other_{kind}_id IS NOT NULL"
    theirs = f"id = (SELECT other_{kind}_id FROM roll_merge WHERE {one('roll_merge', gone)})"
    back = f"UPDATE {table} SET merged_into_id = NULL WHERE {theirs}"
    return [
        Fires(
            changed(table, "merged_into_id IS NULL", merged_into_id=others(kind)),
            back,
            f"UPDATE {table} SET merged_into_id = {others(kind)} WHERE {theirs}",
        ),
        Fires(before=[changed("roll_merge", gone, undone_on=ON)], spares=[back]),
    ]


CASES: Cases = {
    f"{table}_of_somebody_known": [
        Fires(added(table, NAMED), before=[ERASED], spares=[changed(table, NAMED, id="id")]),
        Fires(before=[], spares=[added(table, NAMED)]),
    ]
    for table in ABOUT_PEOPLE
} | {
    "roll_belonging_keeps": [
        Fires(
            *(changed(BELONGING, **{column: f"{column} + 1"}) for column in ("id", "household_id", "user_id")),
            changed(BELONGING, added_by_id="NULL"),
            changed(BELONGING, added_at="'2026-01-01 00:00:00'"),
            changed(BELONGING, ended_at="'2020-01-01 00:00:00'", ended_by_id="added_by_id"),
            spares=[ENDED],
        ),
        Fires(
            changed(BELONGING, ended_at="'2099-02-01 00:00:00'"),
            changed(BELONGING, ended_at="NULL", ended_by_id="NULL"),
            before=[ENDED],
        ),
    ],
    "roll_newschoice_says_by_whom": Fires(
        changed("roll_newschoice", said_by="'Somebody else'"),
        spares=[changed("roll_newschoice", said_by="'Erased'"), changed("roll_newschoice", said_by="said_by")],
    ),
    "roll_guardian_link_stays_ended": Fires(
        changed(GUARDIAN, link_version="link_version - 1"),
        spares=[changed(GUARDIAN, link_version="link_version + 1"), changed(GUARDIAN, link_version="link_version")],
    ),
    "roll_guardian_new_address_new_link": Does(
        changed(GUARDIAN, email="'new@example.org'"),
        then=f"(SELECT link_version FROM {GUARDIAN} WHERE email = 'new@example.org') = 2",
        before=[f"UPDATE {GUARDIAN} SET link_version = 1"],
    ),
}
CASES |= {
    f"{model._meta.db_table}_{field.name}_stands": stands(model._meta.db_table, str(field.column), kind)
    for target, kind in ((Household, "household"), (Person, "person"))
    for model, field in columns_to(target)
    if field.name != "merged_into"
}
CASES |= {
    "roll_consent_keeps": Fires(
        changed("roll_consent", wording="'other words'"),
        changed("roll_consent", household_id=others("household")),
        changed("roll_consent", given_by="'Somebody else'"),
        spares=[changed("roll_consent", given_by="'Erased'")],
    ),
    "roll_merge_stays_undone": Fires(
        changed("roll_merge", undone_on="NULL"),
        changed("roll_merge", undone_on="'2026-09-13'"),
        before=[changed("roll_merge", undone_on=ON)],
        spares=[changed("roll_merge", undone_on=ON)],
    ),
    "roll_movedrow_of_a_merge_that_stands": [
        Fires(
            added("roll_movedrow", row_id="100000"),
            before=[f"UPDATE roll_merge SET undone_on = {ON}"],
        ),
        Fires(spares=[added("roll_movedrow", row_id="100000")]),
    ],
    "roll_household_merged_by_a_merge": merged("household"),
    "roll_person_merged_by_a_merge": merged("person"),
}
