"""The rules about the records of signing in and of acts that the database itself keeps."""

from clubdesk.guards import Guard, changes, differs, replaces_nothing

TABLE = "desk_signinrecord"
ACTS = "desk_actrecord"
STAYS = (
    "id", "content_type_id", "object_pk", "action", "actor_id", "remote_addr", "timestamp", "what", "rows",
    "family_id", "person_id",
)  # fmt: skip
COLUMNS = {"person": "person_id", "household": "family_id"}


def _now(table: str) -> str:
    """Whom a new row is about, or whom that one was merged into."""
    column = COLUMNS[table]
    return f"COALESCE((SELECT m.merged_into_id FROM roll_{table} m WHERE m.id = NEW.{column}), NEW.{column})"


ERASED = (
    f"(EXISTS (SELECT 1 FROM roll_person p WHERE p.id = {_now('person')} AND p.erased_on IS NOT NULL)"
    f" OR EXISTS (SELECT 1 FROM roll_person p WHERE p.household_id = {_now('household')}) AND NOT EXISTS"
    f" (SELECT 1 FROM roll_person p WHERE p.household_id = {_now('household')}"
    " AND p.merged_into_id IS NULL AND p.erased_on IS NULL))"
)
"""The condition that the details of whom a row is about are erased: of the person, or of the last of the family."""
GUARDS = [
    Guard(f"{TABLE}_keeps", TABLE, "UPDATE", message="A record of signing in is never changed."),
    Guard(f"{TABLE}_stays", TABLE, "DELETE", message="A record of signing in is never deleted."),
    replaces_nothing(TABLE, "record of signing in"),
    Guard(
        f"{ACTS}_keeps",
        ACTS,
        "UPDATE",
        when=f"{changes(ACTS, *STAYS)} OR ({differs('object_repr', 'changes')}) AND NOT {ERASED}",
        message="What somebody did is never changed; its details go where those of the person are erased.",
    ),
    Guard(f"{ACTS}_stays", ACTS, "DELETE", message="What somebody did is never deleted."),
    replaces_nothing(ACTS, "record of an act"),
]
