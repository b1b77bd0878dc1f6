"""What a family is told by mail, written with the change itself."""

from collections.abc import Sequence

from django.core.signing import BadSignature, Signer
from django.urls import reverse

from clubdesk.courses import selectors
from clubdesk.courses.models import Booking, BookingEvent
from clubdesk.errors import Refused
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import LINK, Message
from clubdesk.mail.services import write_message

_signer = Signer(salt="courses.booking")


def token_of(booking: Booking) -> str:
    """What the family's own link carries; only this site can make one."""
    return _signer.sign(str(booking.pk))


def booking_of(token: str) -> Booking:
    """The booking that a link belongs to, or Refused."""
    try:
        pk = _signer.unsign(token)
    except BadSignature:
        raise Refused("This link is not whole; open it again from the letter, or ask the club.") from None
    found = Booking.objects.select_related("course", "household", "guardian").filter(pk=pk).first()
    if found is None:
        raise Refused("This link belongs to no booking; ask the club.")
    return found


def link_path(booking: Booking) -> str:
    return reverse("book:own", args=[token_of(booking)])


def about(event: BookingEvent) -> str:
    return f"booking event {event.pk}"


def tell(event: BookingEvent, opening: str | Sequence[str], subject: str) -> Message:
    """Write to the party's guardian what happened and where the party stands now, with its own link."""
    booking = event.booking
    guardian = booking.guardian
    opening = [opening] if isinstance(opening, str) else opening
    paragraphs = [
        f"Hello {guardian.name if guardian else booking.household.name},",
        *opening,
        "\n".join(selectors.standing_in_words(booking)),
        f"To see where you stand, accept an offer or withdraw, open your own page:\n{LINK}\n"
        "Whoever has this link can do the same, so please keep it to yourselves.",
        book().club_name,
    ]
    return write_message(
        about=about(event),
        to=guardian.email if guardian else "",
        subject=f"{booking.course}: {subject}",
        body="\n\n".join(paragraphs) + "\n",
        household=booking.household,
        link_path=link_path(booking),
    )
