"""The rules about letters that the database itself keeps."""

from clubdesk.guards import Guard, replaces_nothing

TABLE = "mail_lettertext"
GUARDS = [
    Guard(f"{TABLE}_keeps", TABLE, "UPDATE", message="A text of a letter is never changed; another takes its place."),
    Guard(f"{TABLE}_stays", TABLE, "DELETE", message="A text of a letter is never deleted."),
    replaces_nothing(TABLE, "text of a letter"),
]
