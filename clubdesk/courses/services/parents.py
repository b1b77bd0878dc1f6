"""What the parents' page does: it books for whoever asks, and tells nobody what the book knows of anybody."""

import hashlib
import hmac
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.utils import timezone

from clubdesk.courses import letter_kinds, letters, selectors
from clubdesk.courses.models import Booking, Cohort, Course, Happened, PageUse, Place
from clubdesk.courses.services.booking import Named, book_apart, book_party
from clubdesk.courses.services.leaving import withdraw
from clubdesk.courses.services.waitlist import accept_offer, change_cohorts, fresh, locked, note
from clubdesk.roll.models import Consent, Guardian, Household, Person
from clubdesk.roll.services import add_household, add_person, one_new_family_at_a_time
from clubdesk.verbs import NOBODY, verb

FAMILIES = "families"
USES_FORGOTTEN_AFTER = timedelta(days=1)
LIMIT_WINDOW = timedelta(hours=1)
MOST_AN_HOUR = {"look": 40, "address": 12, "email": 4, "visit": 60}


@dataclass(frozen=True)
class PartyForm:
    """What a guardian has filled in on the parents' page."""

    guardian_name: str
    email: str
    phone: str
    people: Sequence[Named]
    cohorts: Sequence[Cohort]
    wording: str


def family_user() -> User:
    """Stands for families who act by their own link or the parents' page; cannot sign in."""
    user, created = get_user_model().objects.get_or_create(username=FAMILIES, defaults={"is_active": False})
    if created:
        user.set_unusable_password()
        user.save()
    return user


@verb(permission=NOBODY, title="Book on the parents’ page")
def book_from_page(*, course: Course, form: PartyForm, on: date, key: uuid.UUID) -> Booking:
    """Book for a party that may be new to the club.

    A household is known by a guardian's e-mail address and name, and only the letter to that address says
    what came of it: somebody who has a place already is not booked again, and the letter points at that booking.
    A household that the club knew before is offered its places, and owes them only once it accepts by its own
    link: whoever knows an address and a name cannot spend another family's money.
    """
    course = locked(course)
    by = family_user()
    if found := Consent.objects.filter(key=key).first():
        return selectors.last_booking(found.household, course)
    household, guardian, known = _family_of(form)
    people = [_person_of(household, child) for child in form.people]
    new = [person for person in people if not selectors.standing_place(person, course, on)]
    Consent.objects.create(key=key, household=household, given_by=form.guardian_name, wording=form.wording)
    if new:
        return book_party(
            course=course,
            people=new,
            cohorts=form.cohorts or None,
            guardian=guardian,
            by_the_family=True,
            hold_only=known,
            on=on,
            by=by,
        )
    place = selectors.standing_place(people[0], course, on)
    assert place is not None
    booking = fresh(place.booking)
    event = note(booking, Happened.CHANGED, "Asked for again on the parents' page; nothing was changed.", on=on, by=by)
    letters.tell(event, letter_kinds.BOOKED_ALREADY, guardian=guardian)
    return booking


@verb(permission=NOBODY, title="Accept by the family’s own link")
def accept_by_family(*, booking: Booking, on: date) -> Booking:
    """The family takes the places that it is offered, on its own page."""
    return accept_offer(booking=booking, on=_day_of_the_book(booking, on), by=family_user())


@verb(permission=NOBODY, title="Withdraw by the family’s own link")
def withdraw_by_family(
    *, booking: Booking, on: date, reason: str = "", places: Sequence[Place] | None = None
) -> Booking:
    """The family gives its places up, or some of them, on its own page; the reason is for it to give or not."""
    reason = reason or "by the family itself"
    return withdraw(booking=booking, places=places, on=_day_of_the_book(booking, on), reason=reason, by=family_user())


@verb(permission=NOBODY, title="Change by the family’s own link which dates it can make")
def change_dates_by_family(*, booking: Booking, can_make: Sequence[Cohort], on: date) -> Booking:
    """The family says on its own page which dates to come it can make; a free seat that it now fits is offered."""
    on, by = _day_of_the_book(booking, on), family_user()
    to_come = selectors.cohorts_to_come(booking.course, on)
    cannot = [cohort for cohort in to_come if cohort not in can_make]
    return change_cohorts(booking=booking, cannot_make=cannot, on=on, by=by)


@verb(permission=NOBODY, title="Book apart by the family’s own link")
def book_apart_by_family(*, booking: Booking, on: date) -> Booking:
    """A group that waits chooses on its own page to be offered places one by one."""
    return book_apart(booking=booking, on=_day_of_the_book(booking, on), by=family_user())


def _day_of_the_book(booking: Booking, on: date) -> date:
    """`on`, but not before what was noted of the booking: no family is refused since a server's clock is behind."""
    return max(on, selectors.last_day_noted(booking=booking) or on)


def _family_of(form: PartyForm) -> tuple[Household, Guardian, bool]:
    """The household whose guardian has the address and the name, or one of the children; else a new one.

    The third says whether it was known before.

    An address alone makes nobody one of a family: whoever can type it could put strangers on its roll.
    """
    guardian = _guardian_of(form)
    if guardian is None:
        one_new_family_at_a_time()
        guardian = _guardian_of(form)
    if guardian:
        return guardian.household, guardian, True
    family = form.people[0].family_name
    household = add_household(
        name=f"{family} family"[:100], guardian=form.guardian_name, email=form.email, phone=form.phone
    )
    return household, household.guardians.get(), False


def _guardian_of(form: PartyForm) -> Guardian | None:
    known = Guardian.objects.filter(email__iexact=form.email).select_related("household__party").order_by("pk")
    for guardian in known:
        same_name = guardian.name.casefold() == form.guardian_name.casefold()
        if same_name or any(_find(guardian.household, child) for child in form.people):
            return guardian
    return None


def _find(household: Household, child: Named) -> Person | None:
    return household.people.filter(
        given_name__iexact=child.given_name, family_name__iexact=child.family_name, birth_date=child.birth_date
    ).first()


def _person_of(household: Household, child: Named) -> Person:
    if known := _find(household, child):
        return known
    one_new_family_at_a_time()
    return _find(household, child) or add_person(
        household=household,
        given_name=child.given_name,
        family_name=child.family_name,
        birth_date=child.birth_date,
    )


def within_limits(kind: str, who: str) -> bool:
    """Count this use of the parents' page; False beyond so many an hour: looks and bookings from one address, bookings
    for one "email", and visitors who sign on by themselves, since many at a range may share an address.
    """
    digest = hmac.new(settings.SECRET_KEY.encode(), f"{kind}:{who.lower()}".encode(), hashlib.sha256).hexdigest()
    PageUse.objects.create(who=digest)
    return PageUse.objects.filter(who=digest, at__gte=timezone.now() - LIMIT_WINDOW).count() <= MOST_AN_HOUR[kind]


def forget_page_uses() -> None:
    """Nothing of who used the page is kept beyond a day."""
    PageUse.objects.filter(at__lt=timezone.now() - USES_FORGOTTEN_AFTER).delete()
