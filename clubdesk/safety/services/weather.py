"""What somebody noted of the weather, by hand."""

import uuid

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.ledger.services import written
from clubdesk.rangeday.models import RangeDay
from clubdesk.safety.models import Weather, WeatherNote
from clubdesk.safety.services.roster import held_day
from clubdesk.verbs import verb


@verb(permission="safety.add_weathernote", title="Note heat or wind")
def note_weather(*, range_day: RangeDay, kind: str, words: str, by: User, key: uuid.UUID | None = None) -> WeatherNote:
    """Write down what was seen or read of the weather. Raises Refused for no words, and for a day that is over."""
    day = held_day(range_day)
    if found := written(WeatherNote, key):
        return found
    if not day.is_open:
        raise Refused(f"{day} is {day.standing} already.")
    said = " ".join(words.split())[:120]
    if not said:
        raise Refused("Say what you saw or read, such as: 38 degrees in the shade.")
    return WeatherNote.objects.create(
        key=key or uuid.uuid4(), range_day=day, kind=Weather(kind), words=said, recorded_by=by
    )
