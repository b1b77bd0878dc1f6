"""What this room holds about people. A health note goes as a whole: nothing stands in its place."""

from collections.abc import Iterator, Sequence
from typing import Any

from clubdesk.care.models import Agreement, HealthNote, MayCollect, PersonToRing
from clubdesk.care.services import look_at_family
from clubdesk.roll.models import Household
from clubdesk.rooms import Erase, Personal, Told


def _told(home: Household) -> Iterator[Sequence[object]]:
    of = {"person__household": home}
    for ring in PersonToRing.objects.filter(**of).select_related("person"):
        yield (str(ring.person), "Whom to ring", None, ring.name, ring.phone, ring.who)
    for one in MayCollect.objects.filter(**of).select_related("person"):
        yield (str(one.person), "May collect", None, one.name, one.phone, "")
    for said in Agreement.objects.filter(**of).select_related("person", "text"):
        words = f"{said.text}: {'agreed' if said.given else 'not agreed'}. {said.text.text}"
        yield (str(said.person), "Agreement", said.said_on, said.said_by, "", words)
    for each in home.confirmations.all():
        yield ("", "All of it was right", each.confirmed_on, each.said_by, "", "")


def _health(home: Household) -> Iterator[Sequence[object]]:
    for note in HealthNote.objects.filter(person__household=home).select_related("person"):
        yield (str(note.person), note.allergy, note.medication, note.needs, note.said_by, note.said_at.date())


def _goes(row: Any) -> None:
    type(row)._base_manager.filter(pk=row.pk).delete()


PERSONAL = (
    Personal(
        "care.PersonToRing", person="person", family="person__household", then=_goes, told=("name", "phone", "who")
    ),
    Personal("care.MayCollect", person="person", family="person__household", then=_goes, told=("name", "phone")),
    Personal(
        "care.HealthNote",
        person="person",
        family="person__household",
        then=_goes,
        told=("allergy", "medication", "needs", "said_by"),
    ),
    Personal(
        "care.Agreement",
        person="person",
        family="person__household",
        erased=(Erase("said_by", "Erased"),),
        told=("said_by",),
    ),
    Personal("care.Confirmation", family="household", erased=(Erase("said_by", "Erased"),), told=("said_by",)),
    Personal("care.Look", person="person", family="person__household", retained_from=("looked_at",)),
)
TOLD = (
    Told(
        "Whom to ring",
        (("Of whom", 26), ("What", 18), ("Day", 14), ("Name", 26), ("Phone", 18), ("Words", 60)),
        _told,
    ),
    Told(
        "Health",
        (("Of whom", 26), ("Allergies", 40), ("Medication", 40), ("Also", 40), ("Said by", 26), ("Day", 14)),
        _health,
        permission="care.view_healthnote",
        logs=look_at_family,
    ),
)
