"""The rules about the roll that the database itself keeps."""

from clubdesk.guards import Guard, replaces_nothing


def not_erased(table: str) -> Guard:
    """A guard that nothing new is written about a person whose details were erased; erasing waits for who writes."""
    return Guard(
        f"{table}_of_somebody_known",
        table,
        "INSERT",
        when="EXISTS (SELECT 1 FROM roll_person p WHERE p.id = NEW.person_id AND p.erased_on IS NOT NULL)",
        message="The details of this person were erased; add them to the roll anew.",
        holds="roll_person p WHERE p.id = NEW.person_id FOR KEY SHARE",
    )


GUARDS = [
    Guard("roll_consent_keeps", "roll_consent", "UPDATE", message="A consent is never changed; a new one is given."),
    Guard("roll_consent_stays", "roll_consent", "DELETE", message="A consent is never deleted."),
    replaces_nothing("roll_consent", "consent"),
]
