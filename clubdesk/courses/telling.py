"""Telling the families of a cohort together what the club has changed: one letter a family, with all its children."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta

from django.db.models import Q, QuerySet
from django.urls import reverse

from clubdesk.clock import day_text, long_day
from clubdesk.courses import letters, words
from clubdesk.courses.letter_kinds import COURSE, STANDING
from clubdesk.courses.models import TAKES_A_SEAT, Booking, BookingEvent, Cohort, Happened
from clubdesk.errors import Refused
from clubdesk.fees.writing import write_letter
from clubdesk.lettering import HOW_TO_PAY, LetterKind
from clubdesk.mail.fields import filled, paragraphs, refuse_unknown
from clubdesk.mail.models import Message

CANCELLED = "We are sorry: {cohort} cannot take place ({reason})."
OTHER_DAYS = "The days of {cohort} have changed: they are now from {days}.\n\nIts sessions: {sessions}."
OF_CANCELLING, OF_DAYS = ("cohort", "reason"), ("cohort", "days", "sessions")
"""The fields of what families are told of either."""
SHOWN_FOR = timedelta(days=14)
"""How long a cohort's page shows whom to ring of a change of its days."""


def opening(text: str, **values: str) -> str:
    """What the coordinator wrote, filled in. Raises Refused for nothing, and for an unknown field."""
    if not text.strip():
        raise Refused("Write what the families are told, or tell nobody.")
    refuse_unknown(text, values)
    return "\n\n".join(paragraphs(filled(text, values)))


def new_days(cohort: Cohort) -> dict[str, str]:
    """What fills the fields of a letter about a cohort's other days."""
    return {
        "cohort": cohort.name,
        "days": f"{long_day(cohort.first_session)} to {long_day(cohort.last_session)}",
        "sessions": ", ".join(day_text(day, weekday=True, year=False) for day in cohort.sessions),
    }


def by_family(bookings: Iterable[Booking]) -> list[list[Booking]]:
    """The bookings of each family, which are told by one letter, in the order of its first one."""
    found: dict[int, list[Booking]] = {}
    for booking in bookings:
        found.setdefault(booking.household_id, []).append(booking)
    return list(found.values())


def tell(events: Sequence[BookingEvent], kind: LetterKind, values: Mapping[str, str]) -> Message:
    """One letter about a family's bookings, each of which an event of its history tells of; of one as any other."""
    if len(events) == 1:
        return letters.tell(events[0], kind, values)
    bookings = [event.booking for event in events]
    asks = [found for booking in bookings if (found := words.asked_of(booking))]
    standing = [line for booking in bookings for line in words.standing_in_words(booking, asks=not asks)]
    given = {
        COURSE.name: str(bookings[0].course),
        STANDING.name: "\n".join(dict.fromkeys(standing)),
        HOW_TO_PAY.name: "\n\n".join(each.as_told for each in asks),
    }
    return write_letter(
        bookings[0].household,
        kind,
        {**given, **values},
        about=letters.about(events[0]),
        link_path=reverse("account:own"),
        guardian=letters.who_is_written_to(bookings[0]),
    )


def in_it(cohort: Cohort) -> QuerySet[Booking]:
    """The bookings with a place in the cohort, or an offer of one."""
    return Booking.objects.filter(places__cohort=cohort, places__state__in=TAKES_A_SEAT).distinct()


def about_changes(cohort: Cohort) -> QuerySet[Message]:
    """The letters that told families of the cohort that it was cancelled, or lately that it has other days."""
    events = BookingEvent.objects.filter(cohort=cohort)
    latest = events.filter(kind=Happened.CHANGED).order_by("-on").values_list("on", flat=True).first()
    told = Q(kind=Happened.RETURNED)
    if latest:
        told |= Q(kind=Happened.CHANGED, on__gt=latest - SHOWN_FOR)
    return Message.objects.filter(about__in=[letters.about(event) for event in events.filter(told)])


def to_paste(cohort: Cohort) -> str:
    """What the club can post where everybody reads it: it names nobody."""
    if cohort.cancelled_on:
        return f"Cancelled: {cohort}, from {long_day(cohort.first_session)} ({cohort.cancel_reason})."
    given = new_days(cohort)
    return f"New days: {cohort} is now from {given['days']}. Its sessions: {given['sessions']}."
