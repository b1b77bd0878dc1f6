"""What a family is told by mail, written with the change itself."""

from collections.abc import Mapping, Sequence

from django.db.models import Max, QuerySet
from django.urls import reverse

from clubdesk.courses import words
from clubdesk.courses.letter_kinds import COURSE, STANDING
from clubdesk.courses.models import Booking, BookingEvent, Cohort, Happened
from clubdesk.fees.writing import write_letter
from clubdesk.lettering import HOW_TO_PAY, LetterKind
from clubdesk.mail.models import Message
from clubdesk.roll.models import Guardian
from clubdesk.roll.selectors import guardian_to_write_to


def who_is_written_to(booking: Booking) -> Guardian | None:
    """The guardian who booked; where that one has gone or has no e-mail, another of the household who has."""
    own = booking.guardian
    return own if own and own.email else guardian_to_write_to(booking.household) or own


def about(event: BookingEvent) -> str:
    return f"booking event {event.pk}"


def of_cancelling(cohort: Cohort) -> QuerySet[Message]:
    """The letters that told the parties of a cohort that it was cancelled."""
    return _of_events(BookingEvent.objects.filter(cohort=cohort, kind=Happened.RETURNED))


def of_offers(bookings: Sequence[Booking]) -> QuerySet[Message]:
    """The letters that told the parties of the offers that stand."""
    events = BookingEvent.objects.filter(booking__in=bookings, kind=Happened.OFFERED)
    latest = events.order_by().values("booking").annotate(latest=Max("pk")).values("latest")
    return _of_events(BookingEvent.objects.filter(pk__in=latest))


def _of_events(events: QuerySet[BookingEvent]) -> QuerySet[Message]:
    letters = Message.objects.filter(about__in=[about(event) for event in events])
    return letters.select_related("household").prefetch_related("household__guardians")


def tell(
    event: BookingEvent, kind: LetterKind, values: Mapping[str, str] | None = None, guardian: Guardian | None = None
) -> Message:
    """Write to the party's guardian, or another of the household, what happened and where it stands now."""
    booking = event.booking
    asks = words.asked_of(booking)
    given = {
        COURSE.name: str(booking.course),
        STANDING.name: "\n".join(words.standing_in_words(booking, asks=asks is None)),
        HOW_TO_PAY.name: asks.as_told if asks else "",
    }
    return write_letter(
        booking.household,
        kind,
        {**given, **(values or {})},
        about=about(event),
        link_path=reverse("book:own", args=[booking.pk]),
        guardian=guardian or who_is_written_to(booking),
    )
