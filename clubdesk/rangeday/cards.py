"""How the range stands, on the home page: the next day, who is likely to come, and whose birthday it is."""

from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk.clock import day_text
from clubdesk.dates import this_hour
from clubdesk.membership.selectors import people_on
from clubdesk.moment import remembered_for
from clubdesk.rangeday import coming, forecast, selectors
from clubdesk.rangeday.models import RangeDay
from clubdesk.rooms import Card, Line, Waiting

MOST_BIRTHDAYS = 6
PAGE = "admin:rangeday_rangeday_change"


def today(who: User, on: date) -> str:
    """What the range is doing today."""
    days = selectors.days_about(on) if who.has_perm("rangeday.view_rangeday") else ()
    return " ".join(_in_words(day) for day in days if day.date == on)


def _in_words(day: RangeDay) -> str:
    if not day.is_open:
        return f"{day.place} is {day.standing} today."
    return f"{day.place} is open today: {vars(day)['came']} signed on so far."


@remembered_for(timedelta(hours=1))
def missed_lately(on: date) -> Waiting:
    """How many regulars are missed, and as of when that is: every sign-on of half a year is looked at."""
    line = f"Ask how they are: phone and mail stand there. As of {this_hour()}."
    return Waiting(len(coming.stopped_coming(on)), line=line)


def is_range_day(on: date) -> bool:
    return any(day.date == on and day.is_open for day in selectors.days_about(on))


def next_day(on: date) -> RangeDay | None:
    """The next open day in the calendar; where there is none, the one to be expected, which has no id: of the weekday
    of the last, where that is not a month ago.
    """
    return _next_of(selectors.days_about(on), on)


def _next_of(days: list[RangeDay], on: date) -> RangeDay | None:
    coming = [day for day in days if day.date >= on and day.is_open]
    past = [day for day in days if day.date < on]
    if coming or not past:
        return coming[0] if coming else None
    last = next(day for day in past if day.date == past[-1].date)
    weeks = -(-(on - last.date).days // 7)
    return RangeDay(date=last.date + timedelta(weeks=weeks), place=last.place)


def _next_day(on: date) -> list[Line]:
    day = next_day(on)
    if day is None:
        return []
    found, at = _expecting(day.date, day.place)
    when = "today" if day.date == on else day_text(day.date, weekday=True, year=False)
    known = Line(day.place, when, page=PAGE, arguments=(day.pk,))
    lines = [known if day.pk else Line(day.place, when, "By the days before it; not in the calendar yet.")]
    if found.people:
        lines.append(Line("Likely to come", str(found.people), f"{forecast.METHOD} As of {at}."))
    lines += [
        Line(f"{kind.label} asked for", str(wanted), "" if wanted.most <= there else f"Only {there} fit for use.")
        for kind, wanted, there in found.kit
    ]
    return lines


@remembered_for(timedelta(hours=1))
def _expecting(on: date, place: str) -> tuple[forecast.Expecting, str]:
    """What the days before let expect, and as of when that was reckoned."""
    return forecast.expecting(RangeDay(date=on, place=place)), this_hour()


def birthdays(on: date) -> list[Line]:
    """Members whose birthday falls between the last range day before `on` and the next from it."""
    days = selectors.days_about(on)
    last = next((day for day in reversed(days) if day.date < on and day.called_off_on is None), None)
    coming = _next_of(days, on)
    first, until = (last.date if last else on), (coming.date if coming else on + timedelta(days=7))
    found = [
        (first + timedelta(days=ahead), person)
        for person in people_on(on)
        if (ahead := selectors.days_to_birthday(person.birth_date, first)) <= (until - first).days
    ]
    found.sort(key=lambda pair: (pair[0], str(pair[1])))
    lines = [
        Line(
            str(person),
            f"{day.year - person.birth_date.year} on {day_text(day, year=False)}",
            "",
            "admin:roll_person_change",
            (person.pk,),
        )
        for day, person in found[:MOST_BIRTHDAYS]
    ]
    more = len(found) - len(lines)
    return [*lines, Line(f"and {more} more")] if more else lines


CARDS = (
    Card(
        "Next range day",
        "rangeday.view_rangeday",
        _next_day,
        empty="No range day is in the calendar.",
        more="Range days",
        page="admin:rangeday_rangeday_changelist",
        week="rangeday.add_rangeday",
    ),
    Card("Birthdays about then", "rangeday.close_rangeday", birthdays, week="rangeday.add_closeddays"),
)
