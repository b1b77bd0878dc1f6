"""What this room says where two people turn out to be one."""

from collections.abc import Iterator
from datetime import date

from clubdesk.care.models import HealthNote, PersonToRing
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Merging


def refuses(one: Household | Person, other: Household | Person, on: date) -> Iterator[str]:
    """Two who each have people to ring, or a health note: only somebody who knows them can say which is right."""
    if not isinstance(one, Person):
        return
    for model, what in ((PersonToRing, "people to ring"), (HealthNote, "a health note")):
        if all(model._default_manager.filter(person=each.pk).exists() for each in (one, other)):
            yield f"Both have {what}: look which is right, and take away those of {other} first, on its own page."


MERGING = Merging(refuses=refuses)
