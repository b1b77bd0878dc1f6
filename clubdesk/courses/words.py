"""What a family and the history are told in sentences."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.courses import selectors
from clubdesk.courses.models import STANDING, Booking, Cohort, Course, Place, PlaceState
from clubdesk.errors import Refused
from clubdesk.fees.selectors import TakenBack, credited
from clubdesk.money import nil, shown, total


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


def standing_in_words(booking: Booking) -> list[str]:
    """Where the party stands now, a sentence for each cohort or queue that its places are in."""
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
            paid = f"{shown(owed)} {'is' if len(group) == 1 else 'are'} still to pay." if owed else "The fee is paid."
            by = f" Please pay by {long_day(booking.pay_by)}." if owed and booking.pay_by else ""
            sentences.append(f"{who} {have} {places} in {starts}. {paid}{by}")
    return sentences or ["You have no place and wait for none."]


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
        fee = total(selectors.price_for(place.person, cohort).amount for place in places)
    except Refused:
        return ""
    return f" The fee is {shown(fee)}."


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
    """What became of a fee, for the history: “86.00 of the fee taken back, 40.00 kept”."""
    parts = [
        (taken.credited, "of the fee taken back"),
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
        sentences = [f"{because}The club keeps {shown(taken.kept)} of the fee of {shown(taken.fee)}{part}."]
        if taken.credited > nil():
            sentences.append(f"You no longer owe the other {shown(taken.credited)}.")
    if taken.to_credit > nil():
        sentences.append(
            f"{shown(taken.to_credit)} that you have paid stands to your credit: it pays what you owe next, or write "
            "to the club to have it paid back."
        )
    if taken.voucher_freed > nil():
        free = "is not claimed" if taken.by_voucher <= nil() else f"pays only {shown(taken.by_voucher)} of it"
        again = "; you can use it for another fee this year" if taken.by_voucher <= nil() else ""
        sentences.append(f"Your sport voucher {free}{again}.")
    return [" ".join(sentences)]
