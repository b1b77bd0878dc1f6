"""What time alone changes in courses; each part is a transaction of its own, and doing it twice changes nothing."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.rooms import Done, Night


def lapse(on: date, by: User) -> Done:
    return Done(len(services.lapse_offers(on=on, by=by)) + len(services.lapse_unpaid(on=on, by=by)))


def remind(on: date, by: User) -> Done:
    return Done(len(services.remind_unpaid(on=on, by=by)))


def offer_seats(on: date, by: User) -> Done:
    """Offer what is free where somebody waits; a cohort that nobody can be offered for want of a price is told."""
    for course in selectors.courses_with_a_free_seat(max(on, clock.today())):
        services.offer_free_seats(course=course, on=on, by=by)
    return Done(not_yet=tuple(selectors.cohorts_without_price(on)))


def forget_uses(on: date, by: User) -> Done:
    services.forget_page_uses()
    return Done()


NIGHTS = (
    Night("offers and unpaid places lapsed", lapse),
    Night("families reminded", remind),
    Night("", offer_seats),
    Night("", forget_uses),
)
