"""Letters of courses, of a range day and of the club’s news."""

import uuid
from datetime import date, timedelta

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.courses.models import Place
from clubdesk.courses.services.parents import Named, PartyForm
from clubdesk.mail.models import Message
from clubdesk.news import services as news
from clubdesk.news.models import Concern
from clubdesk.news.selectors import To
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from tests import factories
from tests.letters.club import FEBRUARY, NOW, case, family, last, pay


@case
def course_places_given(club):
    return last(club.book(club.cohort(), "Ada", "Bela").household)


@case
def course_waiting(club):
    cohort = club.cohort()
    club.book(cohort, "Olga", "Petra", name="Odo")
    return last(club.book(cohort, "Ada", "Bela").household)


@case
def course_booked_apart(club):
    letter = course_waiting(club)
    courses.book_apart(booking=letter.household.bookings.get(), on=NOW, by=club.by)
    return last(letter.household)


@case
def course_one_more_waits(club):
    letter = course_waiting(club)
    child = factories.PersonFactory(household=letter.household, given_name="Cato", birth_date=date(2014, 3, 9))
    courses.add_to_group(booking=letter.household.bookings.get(), person=child, on=NOW, by=club.by)
    return last(letter.household)


@case
def course_somebody_else_comes(club):
    place = club.book(club.cohort()).places.get()
    home = place.person.household
    adult = factories.PersonFactory(household=home, given_name="Ida", birth_date=date(1986, 3, 9))
    place.course.adult_fee_item = factories.price(code="adult", amount="180.00").item
    place.course.save()
    pay(home, "100.00", club.by)
    courses.swap_person(place=place, person=adult, on=NOW, reason="exams", by=club.by)
    return last(home)


def moved(club):
    """The letters to the family that a child of two belonged to, and to the one that it belongs to now."""
    place = club.book(club.cohort(3), "Ada", "Bela").places.order_by("pk").first()
    before, now = place.person.household, family("Wren", "Cato")[0].household
    pay(before, "252.00", club.by)
    courses.move_person(person=place.person, household=now, on=NOW, by=club.by)
    return last(before), last(now)


@case
def course_goes_along(club):
    return moved(club)[0]


@case
def course_comes_along(club):
    return moved(club)[1]


@case
def course_offer(club):
    cohort = club.cohort(1)
    first = club.book(cohort, name="Odo")
    waiting = club.book(cohort)
    courses.withdraw(booking=first, on=NOW, reason="camp", by=club.by)
    return last(waiting.household)


@case
def course_offer_accepted(club):
    letter = course_offer(club)
    courses.accept_offer(booking=letter.household.bookings.get(), on=NOW, by=club.by)
    return last(letter.household)


@case
def course_offer_lapsed(club):
    letter = course_offer(club)
    on = NOW + timedelta(days=30)
    with clock.on(on):
        courses.lapse_offers(on=on, by=club.by)
    return last(letter.household)


@case
def course_withdrawn(club):
    booking = club.book(club.cohort(first=FEBRUARY))
    pay(booking.household, "100.00", club.by)
    courses.withdraw(booking=booking, on=NOW, reason="moving away", by=club.by)
    return last(booking.household)


def back_again(club, letter, place):
    courses.undo_withdrawal(place=place, on=NOW, by=club.by)
    return last(letter.household)


@case
def course_place_again(club):
    letter = course_withdrawn(club)
    return back_again(club, letter, letter.household.bookings.get().places.get())


@case
def course_waits_again(club):
    letter = course_waiting(club)
    booking = letter.household.bookings.get()
    courses.withdraw(booking=booking, on=NOW, reason="camp", by=club.by)
    return back_again(club, letter, booking.places.first())


@case
def course_offer_taken_back(club):
    letter = course_offer(club)
    return back_again(club, letter, Place.objects.get(state="withdrawn"))


@case
def course_transferred(club):
    booking = club.book(club.cohort())
    later = club.cohort(first=FEBRUARY)
    courses.transfer(booking=booking, cohort=later, on=NOW, reason="camp", by=club.by)
    return last(booking.household)


def reminded(club, paid):
    booking = club.book(club.cohort())
    if paid:
        pay(booking.household, paid, club.by)
    courses.remind_unpaid(on=NOW + timedelta(days=8), by=club.by)
    return last(booking.household)


@case
def course_reminder(club):
    return reminded(club, "")


@case
def course_reminder_after_part_payment(club):
    return reminded(club, "66.00")


@case
def course_place_lapsed_unpaid(club):
    letter = reminded(club, "66.00")
    booking = letter.household.bookings.get()
    Message.objects.filter(pk=letter.pk).update(state="sent", sent_at=clock.now())
    courses.lapse_unpaid_booking(booking=booking, on=NOW + timedelta(days=20), by=club.by)
    return last(letter.household)


@case
def course_more_time(club):
    booking = club.book(club.cohort())
    courses.give_more_time(booking=booking, pay_by=date(2026, 10, 2), on=NOW, reason="payday", by=club.by)
    return last(booking.household)


def asked_on_the_page(club, times):
    cohort = club.cohort()
    child = Named("Ada", "Mirabar", date(2014, 3, 9))
    form = PartyForm("Ida Mirabar", "ida@example.org", "", [child], [cohort], "I agree.")
    for _ in range(times):
        booking = courses.book_from_page(course=cohort.course, form=form, on=NOW, key=uuid.uuid4())
    return last(booking.household)


@case
def course_asked_for_on_the_page(club):
    return asked_on_the_page(club, 1)


@case
def course_asked_for_twice(club):
    return asked_on_the_page(club, 2)


@case
def course_new_days(club):
    cohort = club.cohort()
    booking = club.book(cohort)
    cohort.first_session += timedelta(days=7)
    cohort.last_session += timedelta(days=7)
    courses.save_cohort(cohort=cohort, on=NOW, by=club.by)
    return last(booking.household)


@case
def course_cancelled(club):
    cohort = club.cohort()
    booking = club.book(cohort)
    pay(booking.household, "126.00", club.by)
    courses.cancel_cohort(cohort=cohort, on=NOW, reason="the range is flooded", by=club.by)
    return last(booking.household)


@case
def course_cancelled_after_leaving(club):
    booking = club.book(club.cohort())
    cohort = booking.places.get().cohort
    pay(booking.household, "126.00", club.by)
    courses.withdraw(booking=booking, on=date(2026, 9, 29), reason="moving away", by=club.by)
    courses.cancel_cohort(cohort=cohort, on=date(2026, 9, 30), reason="the range is flooded", by=club.by)
    return last(booking.household)


@case
def course_held_for_family(club):
    """Somebody the club knows already books on the page: nothing is owed until they accept by their own link."""
    family()
    return asked_on_the_page(club, 1)


@case
def course_cancelled_of_two_bookings(club):
    cohort = club.cohort()
    children = family("Mirabar", "Ada", "Ben")
    for child in children:
        courses.book_party(course=cohort.course, people=[child], cohorts=[cohort], on=NOW, by=club.by)
    pay(children[0].household, "252.00", club.by)
    courses.cancel_cohort(cohort=cohort, on=NOW, reason="the range is flooded", by=club.by)
    return last(children[0].household)


@case
def range_day_called_off(club):
    factories.hire()
    day, later = factories.range_day(), factories.range_day(NOW + timedelta(days=7))
    children = family("Mirabar", "Ada", "Ben")
    for child in children:
        rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=Paid.CARD, by=club.by)
    rangeday.call_off_day(range_day=day, reason="lightning", on=NOW, by=club.by, move_to=later, tell_them=True)
    return last(children[0].household)


@case
def news_of_the_club(club):
    home = family("Mirabar", "Ada", "Ben")[0].household
    news.write_to_many(
        to=To("All families", {home.pk: [child.pk for child in home.people.all()]}), subject="Our fair",
        text="Our fair is on 3 October.\n\nWe hope to see {children}.", concern=Concern.NEWS, on=NOW, by=club.by,
    )  # fmt: skip
    return last(home)
