"""The rules about signing in that the database itself keeps."""

from clubdesk.guards import Guard, replaces_nothing

TABLE = "desk_signinrecord"
GUARDS = [
    Guard(f"{TABLE}_keeps", TABLE, "UPDATE", message="A record of signing in is never changed."),
    Guard(f"{TABLE}_stays", TABLE, "DELETE", message="A record of signing in is never deleted."),
    replaces_nothing(TABLE, "record of signing in"),
]
