"""What a family and the history are told in sentences."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from itertools import pairwise

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.courses import checks, selectors
from clubdesk.courses.models import STANDING, Booking, Cohort, Course, Place, PlaceState
from clubdesk.errors import Refused
from clubdesk.fees.asking import IN_PARTS, Asked, asked, pay_by
from clubdesk.fees.selectors import TakenBack, credited
from clubdesk.ledger.selectors import book
from clubdesk.money import as_amount, nil, shown, total

MOST_DAYS_NAMED = 8


def days_in_words(cohort: Cohort) -> str:
    """The days of a cohort: “Sunday 4, 11, 18 and 25 October 2026”, or the first and the last of very many."""
    days = cohort.sessions
    weekday = f"{days[0]:%A} " if len({day.weekday() for day in days}) == 1 else ""
    if len(days) > MOST_DAYS_NAMED:
        return f"{len(days)} days, {weekday}{long_day(days[0])} to {long_day(days[-1])}"
    told = [_until_month_ends(day, after) for day, after in pairwise([*days, None]) if day]
    return weekday + " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def _until_month_ends(day: date, after: date | None) -> str:
    """The day alone where the next is of the same month; else with its month, and its year where that ends too."""
    if after and (after.year, after.month) == (day.year, day.month):
        return str(day.day)
    return f"{day.day} {day:%B}" if after and after.year == day.year else long_day(day)


LAPSES = "A place that is not paid by then lapses, and the next family hears of it."


def rules_in_words(course: Course) -> list[str]:
    """The course's own rules about paying, withdrawing and the certificate, as a family reads them."""
    sentences = ["The fee is due when you have a place; nothing is due while you wait."]
    if course.pay_days is not None:
        sentences.append(
            f"Please pay within {course.pay_days} days. A place that is not paid lapses after a reminder, "
            f"{course.reminder_days} days later at the earliest, and is then not owed."
        )
    steps = list(course.refund_steps.all())
    if steps:
        back = [f"{step.percent} % until {step.days_before} days before the first session" for step in steps]
        sentences.append(f"Who withdraws gets back {', '.join(back)}, and nothing after that.")
    else:
        sentences.append("Who withdraws gets the whole fee back.")
    sentences.append(f"An offer is held for {course.offer_days} days.")
    sentences.append(f"The certificate is for who comes to at least {course.sessions_to_complete} sessions.")
    return sentences


def standing_in_words(booking: Booking, asks: bool = True) -> list[str]:
    """Where the party stands now, a sentence for each cohort or queue that its places are in.

    `asks` says by when the fee is paid; what tells more of paying says it by itself.
    """
    standing = [place for place in selectors.places_of(booking) if place.state in STANDING]
    sentences = []
    for state, cohort in dict.fromkeys((place.state, place.cohort) for place in standing):
        group = [place for place in standing if (place.state, place.cohort) == (state, cohort)]
        who, have = selectors.names(place.person for place in group), "have" if len(group) > 1 else "has"
        if cohort is None:
            wait = "wait" if len(group) > 1 else "waits"
            sentences.append(
                f"{who} {wait} for {booking.course}, as number {selectors.position(booking)} in the queue."
            )
            if watched := checks.watched_of(booking, clock.today()):
                sentences.append(checks.asked_to_come(selectors.names(watched), clock.today()))
            continue
        places = "places" if len(group) > 1 else "a place"
        starts = f"{cohort}, which starts on {long_day(cohort.first_session, weekday=True)}"
        if state == PlaceState.OFFERED:
            verb = "are" if len(group) > 1 else "is"
            assert booking.offer_lapses_on, "an offer has its day"
            until = f"Answer by {long_day(booking.offer_lapses_on, weekday=True)}."
            sentences.append(f"{who} {verb} offered {places} in {starts}.{_fee_in_words(group, cohort)} {until}")
        else:
            owed = sum(selectors.still_owed(group).values(), Decimal(0))
            if cohort.last_session < clock.today():
                sentences.append(f"{who} did {cohort}.{f' {shown(owed)} still to pay.' if owed else ''}")
                continue
            owed_then = f"{_owed_in_words(booking, group, owed, asks)}{_free_to_leave(group)}"
            sentences.append(f"{who} {have} {places} in {starts}. {owed_then}")
    return sentences or ["You have no place and wait for none."]


def _owed_in_words(booking: Booking, places: Sequence[Place], owed: Decimal, asks: bool) -> str:
    """What is still to pay of places that are held, and by when."""
    if not owed:
        return "The fee is paid."
    still = f"{shown(owed)} {'is' if len(places) == 1 else 'are'} still to pay"
    if selectors.paid_in_parts(places, clock.today()):
        return f"{still}, in the parts that you agreed with the club."
    return f"{still}.{f' Please pay by {long_day(booking.pay_by)}.' if booking.pay_by and asks else ''}"


def asked_of(booking: Booking) -> Asked | None:
    """How the family is asked for the fees of the places that it has; None where nothing of them is to pay."""
    held = [place for place in selectors.places_of(booking) if place.state == PlaceState.HELD]
    owed = as_amount(sum(selectors.still_owed(held).values(), Decimal(0)))
    if owed <= nil():
        return None
    today = clock.today()
    if selectors.paid_in_parts(held, today):
        return asked(booking.household, owed, today, when="in the parts that you agreed with us")
    by = booking.pay_by or pay_by(min(place.charge.charged_on for place in held if place.charge), book())
    if by < today:
        return asked(booking.household, owed, today, when="now", otherwise=IN_PARTS)
    to_begin = any(place.cohort and place.cohort.first_session > today for place in held)
    otherwise = LAPSES if booking.pay_by and to_begin else IN_PARTS
    return asked(booking.household, owed, today, by=by, otherwise=otherwise)


def _free_to_leave(places: Sequence[Place]) -> str:
    """Until when who cannot make the new days may leave, where the club has changed them."""
    free = [each.free_to_leave_until for each in places if selectors.is_free_to_leave(each, clock.today())]
    if not free or free[0] is None:
        return ""
    return f" Its days have changed: who cannot make them can withdraw by {long_day(free[0])} and owes nothing."


def unpaid_in_words(held: Sequence[Place]) -> str:
    """That the fee of the places is not paid, or what of it is not."""
    owed = sum(selectors.still_owed(held).values(), Decimal(0))
    fee = total(place.charge.amount for place in held if place.charge) - total(
        credited(place.charge) for place in held if place.charge
    )
    if owed < fee.amount:
        return f"Thank you for what you have paid: of the fee of {shown(fee)}, {shown(owed)} is still to pay."
    return "The fee is not paid yet."


def _fee_in_words(places: Iterable[Place], cohort: Cohort) -> str:
    """What the places would cost; nothing where the fee schedule does not say."""
    try:
        prices = [place.offered_price or selectors.price_for(place.person, cohort) for place in places]
    except Refused:
        return ""
    return f" The fee is {shown(total(price.amount for price in prices))}."


def wait_in_words(booking: Booking) -> str:
    """When a booking that waits most likely has its places; where a draw check is needed, how it is without one."""
    waits = selectors.wait_estimates(booking.course, clock.today()).in_words(booking.pk)
    if not checks.watched_of(booking, clock.today()):
        return waits
    return f"without the draw check {waits}; with it, you are offered a place in your turn"


def apart_in_words(booking: Booking) -> str:
    """That a waiting group would have its places sooner if it were booked apart; blank where it would not."""
    chances = selectors.if_apart(booking, clock.today())
    if chances is None:
        return ""
    together, apart = map(selectors.percent, chances)
    return (
        f"Places for {booking.seats} seldom come free at once: in the cohorts that are set up you have them with "
        f"{together}. Booked apart, all of you have one with {apart}, and each keeps the turn of the group."
    )


def money_in_words(taken: TakenBack) -> str:
    """What became of a fee, for the history: “86.00 of the fee credited, 40.00 kept”."""
    parts = [
        (taken.credited, "of the fee credited"),
        (taken.kept, "kept"),
        (taken.claimed, "of it claimed by voucher"),
    ]
    return ", ".join(f"{shown(amount)} {words}" for amount, words in parts if amount > nil())


def refund_for_the_family(taken: TakenBack, because: str = "") -> list[str]:
    """What became of its fee, as a family reads it. `because` says why the club keeps a part."""
    if taken.fee <= nil():
        return []
    if taken.kept <= nil():
        sentences = [f"You no longer owe the fee of {shown(taken.fee)}."]
    else:
        claimed = min(taken.claimed, taken.kept)
        part = f" ({shown(claimed)} of it from your sport voucher, which is claimed already)" if claimed > nil() else ""
        keeps = f"{because}the club keeps" if because else "The club keeps"
        sentences = [f"{keeps} {shown(taken.kept)} of the fee of {shown(taken.fee)}{part}."]
        if taken.credited > nil():
            sentences.append(f"You no longer owe the other {shown(taken.credited)}.")
    return [" ".join([*sentences, *_free_again(taken)])]


def called_off_for_the_family(taken: TakenBack) -> list[str]:
    """What becomes of the fee of what the club has cancelled, as a family reads it."""
    if taken.fee <= nil():
        return []
    if taken.claimed <= nil():
        return refund_for_the_family(taken)
    sentences = [f"{shown(taken.claimed)} that your sport voucher has paid goes with you to your next dates."]
    if taken.credited > nil():
        sentences.append(f"You no longer owe the other {shown(taken.credited)}.")
    return [" ".join([*sentences, *_free_again(taken)])]


def asked_again(booking: Booking, on: date) -> list[str]:
    """What a family that can make none of the dates to come is asked; nothing where one of them would do."""
    if not selectors.bound_to_no_date(on).filter(pk=booking.pk).exists():
        return []
    to_come = list(selectors.cohorts_to_come(booking.course, on))
    named = ", ".join(f"{cohort.name} (from {long_day(cohort.first_session)})" for cohort in to_come)
    it, there = ("it", "there") if len(to_come) == 1 else ("them", "in those")
    return [
        f"When you booked you could not make {named}. "
        f"If you can now, tick {it} on your own page: until then we cannot offer you a place {there}."
    ]


def _free_again(taken: TakenBack) -> list[str]:
    """What the family has paid, or a voucher, that can pay something else now."""
    sentences = []
    if taken.to_credit > nil():
        sentences.append(
            f"{shown(taken.to_credit)} that you have paid stands to your credit: it pays what you owe next, or write "
            "to the club to have it paid back."
        )
    if taken.voucher_freed > nil():
        free = "is not claimed" if taken.by_voucher <= nil() else f"pays only {shown(taken.by_voucher)} of it"
        again = "; you can use it for another fee this year" if taken.by_voucher <= nil() else ""
        sentences.append(f"Your sport voucher {free}{again}.")
    return sentences
