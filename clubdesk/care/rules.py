"""The rules about what is known of people that the database itself keeps."""

from clubdesk.guards import Guard, changes, kept, replaces_nothing
from clubdesk.roll.rules import not_erased

ABOUT_PEOPLE = ("care_persontoring", "care_maycollect", "care_healthnote", "care_agreement", "care_look")

GUARDS = [
    *(not_erased(table) for table in ABOUT_PEOPLE),
    *kept("care_agreement", "agreement", "person_id", "text_id", "given", "said_on", free=("said_by",)),
    Guard(
        "care_agreement_says_by_whom",
        "care_agreement",
        "UPDATE OF said_by",
        when="NEW.said_by <> OLD.said_by AND NEW.said_by <> 'Erased'",
        message="Who said so stays written.",
    ),
    Guard(
        "care_agreementtext_keeps",
        "care_agreementtext",
        "UPDATE",
        message="Families agreed to these words; write a new version.",
    ),
    Guard(
        "care_agreementtext_stays",
        "care_agreementtext",
        "DELETE",
        message="What families agreed to is never deleted.",
    ),
    replaces_nothing("care_agreementtext", "text"),
    Guard(
        "care_look_keeps",
        "care_look",
        "UPDATE",
        when=changes("care_look", "id", "person_id", "looked_by_id", "looked_at", "day"),
        message="Who looked at what stays written.",
    ),
    Guard(
        "care_look_stays",
        "care_look",
        "DELETE",
        when="EXISTS (SELECT 1 FROM roll_person p WHERE p.id = OLD.person_id AND p.erased_on IS NULL)",
        message="Who looked at what stays written as long as the person’s details.",
    ),
    replaces_nothing("care_look", "look"),
]
