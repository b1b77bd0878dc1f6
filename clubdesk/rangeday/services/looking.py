"""Looking, at the range, at whom to ring and what to know of who is there."""

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.care import services as care
from clubdesk.care.selectors import Known
from clubdesk.errors import Refused
from clubdesk.rangeday.models import RangeDay, SignOn
from clubdesk.roll.models import Person
from clubdesk.verbs import verb


@verb(permission="care.look_healthnote", title="Whom to ring, what to know")
def look_at_the_range(*, range_day: RangeDay, person: Person, by: User) -> Known:
    """What is known of somebody who is signed on today; the look is written down, with the day.

    Raises Refused on any other day, once the day is counted or called off, and for who is not signed on.
    """
    # The day is held, so that nobody counts or calls it off between the question and the look.
    day = RangeDay.objects.select_for_update(of=("self",), no_key=True).get(pk=range_day.pk)
    if not day.is_open or day.date != clock.today():
        raise Refused("This can only be seen on the day itself, while it is open.")
    if not SignOn.objects.filter(range_day=day, person=person, cancelled_on=None).exists():
        raise Refused("This can only be seen of who is signed on; sign them on first.")
    return care.looked(person=person, day=day.date, by=by)
