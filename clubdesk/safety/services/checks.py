"""The checks of volunteers: seen by somebody of another family, and a letter before one lapses."""

import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees.services.charging import queue
from clubdesk.ledger.services import written
from clubdesk.mail.services import untold
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import belongs_to, refuse_erased
from clubdesk.safety import letters, selectors
from clubdesk.safety.models import CheckKind, VolunteerCheck
from clubdesk.verbs import NOBODY, verb


@verb(permission="safety.add_volunteercheck", title="Write down a check that you have seen")
def write_check(
    *, person: Person, kind: str, number: str, expires_on: date, on: date, by: User, key: uuid.UUID | None = None
) -> VolunteerCheck:
    """Somebody has seen a volunteer's check or accreditation on a day; it is good through `expires_on`.

    The same check again is the one that stands. Raises Refused for one without a number, one that has lapsed already,
    and for a check of one's own family.
    """
    queue(person.household)
    found = Person.objects.select_related("household").get(pk=person.pk)
    refuse_erased(found)
    if before := written(VolunteerCheck, key):
        return before
    words = " ".join(number.split())[:40]
    if not words:
        raise Refused("Write the number that stands on it.")
    if expires_on < on:
        raise Refused(f"It lapsed on {day_text(expires_on)}; ask for the new one.")
    if belongs_to(by, found.household):
        raise Refused(f"{found} is of your own family: somebody else has to see the check.")
    stands = VolunteerCheck.objects.filter(selectors.NOT_ENDED, person=found, kind=kind, expires_on=expires_on).first()
    if stands:
        return stands
    return VolunteerCheck.objects.create(
        key=key or uuid.uuid4(), person=found, kind=CheckKind(kind), number=words, expires_on=expires_on,
        verified_on=on, recorded_by=by,
    )  # fmt: skip


@verb(permission="safety.change_volunteercheck", title="No longer good")
def end_check(*, check: VolunteerCheck, reason: str, on: date, by: User) -> VolunteerCheck:
    """A check counts no more from a day on, such as one that was revoked. Raises Refused without a reason."""
    document = VolunteerCheck.objects.select_for_update(of=("self",), no_key=True).get(pk=check.pk)
    if document.ended_on:
        return document
    if not reason.strip():
        raise Refused("Say why it is no longer good.")
    document.ended_on, document.end_reason = on, reason.strip()[:150]
    document.save(update_fields=["ended_on", "end_reason"])
    return document


@verb(permission=NOBODY, title="Tell volunteers whose check lapses")
def tell_lapsing(*, on: date) -> int:
    """Write to each volunteer whose check lapses soon, and once more shortly before. Returns how many letters."""
    due = {letters.about_lapsing(each, on): each for each in selectors.lapsing(on)}
    told = sorted(untold(due.keys()))
    for about in told:
        letters.tell_lapsing(due[about], about)
    return len(told)
