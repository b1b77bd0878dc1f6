"""What the mail room holds about people."""

from collections.abc import Iterator, Sequence

from clubdesk.roll.models import Household
from clubdesk.rooms import Personal, Told


def _told(home: Household) -> Iterator[Sequence[object]]:
    for letter in home.messages.order_by("pk"):
        state = f"{letter.get_state_display()} {letter.outcome}".strip()
        yield (letter.written_at.date(), letter.to, letter.subject, letter.body, state)


PERSONAL = (
    Personal(
        "mail.Message",
        family="household",
        goes_by="written_at",
        told=("to", "subject", "body", "outcome"),
        retained_from=("written_at",),
    ),
)
TOLD = (Told("Letters", (("Day", 14), ("To", 30), ("Subject", 40), ("Letter", 90), ("State", 18)), _told),)
