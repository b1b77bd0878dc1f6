"""Visitors sign on by themselves, on their own phone; a helper confirms and takes the fee as for any other visitor."""

import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.rangeday import selectors, visiting
from clubdesk.rangeday.models import RangeDay, SafetyText, Visitor
from clubdesk.verbs import NOBODY, verb

MOST_WAIT = 60


@verb(permission=NOBODY, title="Sign on as a visitor")
def sign_on_as_visitor(
    *, range_day: RangeDay, name: str, key: uuid.UUID, by: User, safety: SafetyText | None, is_child: bool = False,
    guardian: str = "", phone: str = "",
) -> Visitor:  # fmt: skip
    """A visitor says who they are and agrees to the safety rules, and waits for a helper. The same key, once.

    Raises Refused on any other day, where the day is over, for a child without guardian and phone, where rules stand
    that were not the ones agreed to, and where very many wait.
    """
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    if found := Visitor.objects.filter(key=key).first():
        return found
    visiting.refuse_other_days(day)
    if not name.strip():
        raise Refused("Write your name.")
    if is_child and not (guardian.strip() and phone.strip()):
        raise Refused("For a child, write the guardian’s name and phone.")
    if selectors.safety_text(day.date) != safety:
        raise Refused("The safety rules have changed just now. Read them again, then agree to them.")
    if visiting.at_the_table(day).count() >= MOST_WAIT:
        raise Refused("Very many are waiting just now. Please ask a helper at the table.")
    return Visitor.objects.create(
        key=key, range_day=day, name=name.strip()[:100], is_child=is_child, guardian=guardian.strip()[:100],
        phone=phone.strip()[:30], safety=safety,
    )  # fmt: skip


@verb(permission=NOBODY, title="Forget who waited at the table")
def forget_waiting(*, before: date) -> int:
    """What visitors of days before that wrote on their own phones goes, confirmed or not; sign-ons keep what counts."""
    return Visitor.objects.filter(range_day__date__lt=before).delete()[0]
