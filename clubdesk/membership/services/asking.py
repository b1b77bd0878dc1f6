"""A family asks to leave the club, and the coordinator answers."""

from collections.abc import Iterable
from datetime import date

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.fees.services.charging import queue
from clubdesk.membership import letters
from clubdesk.membership.models import LeaveRequest, LeaveState
from clubdesk.membership.states import LEAVING
from clubdesk.roll.models import Household, Person
from clubdesk.roll.selectors import refuse_erased
from clubdesk.verbs import NOBODY, verb


@verb(permission=NOBODY, title="Ask to leave")
def ask_to_leave(
    *, household: Household, people: Iterable[Person], reason: str, on: date, by: User
) -> list[LeaveRequest]:
    """Note that these of a family wish to leave; nothing ends until the coordinator does it. Asked again it is one.

    Raises Refused where nobody is chosen, and for somebody of another family.
    """
    home = queue(household)
    chosen = sorted(people, key=lambda person: person.pk)
    if not chosen:
        raise Refused("Tick who leaves.")
    found = []
    for person in chosen:
        if person.household_id != home.pk:
            raise Refused("Only your own family can be chosen here.")
        refuse_erased(person)
        asked, _ = LeaveRequest.objects.get_or_create(
            person=person, state=LeaveState.ASKED,
            defaults={"reason": reason.strip()[:150], "asked_on": on, "recorded_by": by},
        )  # fmt: skip
        found.append(asked)
    return found


@verb(permission="membership.change_membership", title="Answer it")
def answer_leaving(*, request: LeaveRequest, answer: str, on: date, by: User) -> LeaveRequest:
    """Say what became of it, which the family is told by letter; what ends is ended on its own pages before.

    Raises Refused without an answer.
    """
    queue(request.person.household)
    document = LeaveRequest.objects.select_for_update(of=("self",), no_key=True).get(pk=request.pk)
    if document.state == LeaveState.ANSWERED:
        return document
    LEAVING.refuse_unless(document.state, LeaveState.ANSWERED, "It was answered already.")
    if not answer.strip():
        raise Refused("Say what you have done; the family reads it.")
    document.state, document.answered_by, document.answered_on = LeaveState.ANSWERED, by, on
    document.answer = answer.strip()[:200]
    document.save(update_fields=["state", "answered_by", "answered_on", "answer"])
    letters.tell_leaving_answered(document)
    return document
