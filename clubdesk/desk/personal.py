"""What the desk holds about people: what was done about them, by whom and when."""

from clubdesk.desk.models import ActRecord
from clubdesk.rooms import ERASED, Erase, Personal


def _values_gone(row: ActRecord) -> dict[str, object]:
    """Which columns changed, and no more from what to what."""
    return {
        name: [value and ERASED for value in change] if isinstance(change, list) else {**change, "objects": [ERASED]}
        for name, change in (row.changes or {}).items()
    }


PERSONAL = (
    Personal(
        "desk.ActRecord",
        person="person",
        family="family",
        erased=(Erase("object_repr"), Erase("changes", _values_gone)),
        free={
            "object_pk": "the number of the row that changed",
            "what": "what somebody was given, said without anybody’s name",
        },
    ),
)
