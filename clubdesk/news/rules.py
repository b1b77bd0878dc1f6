"""The rules about what was written to many that the database itself keeps."""

from clubdesk.guards import kept

GUARDS = [
    *kept(
        "news_writing",
        "letter to many",
        "written_on",
        "subject",
        "text",
        "concern",
        "audience",
        "letters",
        "without_address",
        "declined",
        "had_it",
    ),
]
