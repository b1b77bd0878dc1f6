"""What this room holds about people."""

from collections.abc import Iterator, Sequence

from clubdesk.membership.models import LeaveRequest, Membership
from clubdesk.roll.models import Household
from clubdesk.rooms import Erase, Personal, Told


def _told(home: Household) -> Iterator[Sequence[object]]:
    for row in Membership.objects.filter(person__household=home).select_related("person", "plan"):
        ended = f"cancelled: {row.end_reason}" if row.cancelled_on else row.end_reason
        yield (str(row.person), str(row.plan), row.starts_on, row.ends_on, row.working, ended)
    for asked in LeaveRequest.objects.filter(person__household=home).select_related("person"):
        said = f"{asked.reason} {asked.answer}".strip()
        yield (str(asked.person), "Asked to leave", asked.asked_on, asked.answered_on, "", said)


PERSONAL = (
    Personal(
        "membership.Membership",
        person="person",
        family="person__household",
        erased=(Erase("end_reason"),),
        told=("working", "end_reason"),
        retained_from=("ends_on",),
        free={"working": "figures, and the names of the discounts"},
    ),
    Personal(
        "membership.LeaveRequest",
        person="person",
        family="person__household",
        erased=(Erase("reason"), Erase("answer")),
        told=("reason", "answer"),
        retained_from=("asked_on",),
    ),
    Personal("membership.RemittanceLine", person="share__charge__person", family="share__charge__household"),
)
TOLD = (
    Told(
        "Memberships",
        (("Who", 28), ("Plan", 18), ("From", 14), ("To", 14), ("Fee", 46), ("Why it ended", 30)),
        _told,
    ),
)
