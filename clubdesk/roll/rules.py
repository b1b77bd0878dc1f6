"""The rules about the roll that the database itself keeps."""

from clubdesk.guards import Guard, replaces_nothing

GUARDS = [
    Guard("roll_consent_keeps", "roll_consent", "UPDATE", message="A consent is never changed; a new one is given."),
    Guard("roll_consent_stays", "roll_consent", "DELETE", message="A consent is never deleted."),
    replaces_nothing("roll_consent", "consent"),
]
