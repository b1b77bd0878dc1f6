"""Which phones the book has heard of on a day, so that one that goes flat is missed."""

import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.rangeday.models import Phone, RangeDay
from clubdesk.verbs import NOBODY, verb

MOST_UNSENT = 100_000


@verb(permission="rangeday.add_signon", title="Hear of a phone")
def hear_of(*, range_day: RangeDay, key: uuid.UUID, unsent: int, by: User) -> Phone:
    """The sheet is open on a phone, which still keeps so many entries besides those that it sends now."""
    about = {"seen_at": clock.machine(), "unsent": min(max(unsent, 0), MOST_UNSENT)}
    # Somebody else signed in on it: who had nothing left to send there is missed no more.
    Phone.objects.filter(range_day=range_day, key=key, unsent=0).exclude(user=by).delete()
    known = Phone.objects.filter(range_day=range_day, key=key, user=by)
    if not known.update(**about):
        Phone.objects.bulk_create([Phone(range_day=range_day, key=key, user=by, **about)], ignore_conflicts=True)
    return known.get()


@verb(permission=NOBODY, title="Forget phones")
def forget_phones(*, before: date) -> int:
    """Which phones there were on days before that is kept no longer."""
    return Phone.objects.filter(range_day__date__lt=before).delete()[0]
