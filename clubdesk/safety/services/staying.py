"""Children who come without a guardian: when they came, when they left, and who collected them."""

import uuid
from datetime import datetime

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.ledger.services import written
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.safety import selectors
from clubdesk.safety.models import Stay
from clubdesk.safety.services.roster import held_day
from clubdesk.verbs import verb


@verb(permission="safety.add_stay", title="A child came alone")
def note_arrival(*, range_day: RangeDay, person: Person, at: datetime, by: User, key: uuid.UUID | None = None) -> Stay:
    """A child has come without a guardian; who is noted as being there already is so once.

    Raises Refused where the club does not note it, for somebody who is no child, and for a day that is over.
    """
    day = held_day(range_day)
    if found := written(Stay, key):
        return found
    if not selectors.rules_on(day.date).arrivals:
        raise Refused("The club does not note arrivals; its rules for a safe day say whether it does.")
    if not day.is_open:
        raise Refused(f"{day} is {day.standing} already.")
    child = Person.objects.get(pk=person.pk)
    refuse_erased(child)
    if not selectors.is_child(child, day.date):
        raise Refused(f"{child} is no child any more; only children’s arrivals are noted.")
    if there := Stay.objects.filter(range_day=day, person=child, left_at=None).first():
        return there
    return Stay.objects.create(key=key or uuid.uuid4(), range_day=day, person=child, came_at=at, recorded_by=by)


@verb(permission="safety.change_stay", title="Collected")
def note_leaving(*, stay: Stay, collected_by: str, at: datetime, by: User, agreed_by: str = "") -> Stay:
    """A child has left with somebody, named; a second time changes nothing.

    Raises Refused without a name, and where the family has not named whoever collects: then a guardian who agreed to it
    is named as well.
    """
    document = Stay.objects.select_for_update(of=("self",), no_key=True).select_related("person").get(pk=stay.pk)
    if document.left_at:
        return document
    name, agreed = " ".join(collected_by.split())[:100], " ".join(agreed_by.split())[:100]
    if not name:
        raise Refused("Write who collected the child.")
    if not agreed and not selectors.may_collect(document.person, name):
        raise Refused(
            f"{name} is neither a guardian of {document.person} nor named by the family as who may collect. Ring a"
            " guardian, and write who agreed."
        )
    document.left_at, document.collected_by, document.agreed_by = max(at, document.came_at), name, agreed
    document.save(update_fields=["left_at", "collected_by", "agreed_by"])
    return document
