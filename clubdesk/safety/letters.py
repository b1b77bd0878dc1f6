"""What volunteers are told: that they are on duty soon, that a turn was taken over, that a check lapses."""

from datetime import date, timedelta

from clubdesk.clock import long_day
from clubdesk.fees.writing import write_letter
from clubdesk.lettering import Field, LetterKind
from clubdesk.mail.models import Message
from clubdesk.roll.models import Guardian, Person
from clubdesk.safety.models import Turn, VolunteerCheck

SHORTLY = timedelta(days=14)
WHO = Field("who", "Who is on duty", "Ida Mirabar", must=True)
DUTY = Field("duty", "Which duty", "line supervisor", must=True)
RANGE = Field("range", "Where", "Main range")
HOURS = Field("hours", "From when until when, in brackets; blank where it was not said", " (9:00–12:00)", whole=True)

SOON = LetterKind(
    "safety.on_duty",
    "Somebody is on duty soon",
    "Goes to a volunteer’s family some days before a turn on duty.",
    subject="On duty on {{ day }}: {{ who }}",
    says=(
        "{{ who }} is on duty on {{ day }}{{ hours }}.\n\nWhere: {{ range }}. What: {{ duty }}.\n\n"
        "Please tell us today if that does not suit. Then somebody else can take it over."
    ),
    fields=(WHO, Field("day", "When", "Saturday, 12 September 2026", must=True), HOURS, RANGE, DUTY),
)
SWAPPED = LetterKind(
    "safety.swapped",
    "A turn on duty was taken over",
    "Goes to both families when one volunteer takes a turn over from another.",
    subject="Duty on {{ day }}: {{ after }} in place of {{ before }}",
    says=(
        "{{ after }} is on duty on {{ day }}{{ hours }}, in place of {{ before }}.\n\n"
        "Where: {{ range }}. What: {{ duty }}.\n\nThank you for arranging it."
    ),
    fields=(
        Field("after", "Who takes it over", "Odo Quoll", must=True),
        Field("before", "Whose turn it was", "Ida Mirabar", must=True),
        Field("day", "When", "Saturday, 12 September 2026", must=True),
        HOURS,
        RANGE,
        DUTY,
    ),
)
LAPSING = LetterKind(
    "safety.lapsing",
    "A volunteer’s check lapses soon",
    "Goes to a volunteer’s family two months before a check or accreditation lapses, and once more two weeks before.",
    subject="{{ what|capfirst }} of {{ who }}: good through {{ day }}",
    says=(
        "The {{ what }} of {{ who }} is good through {{ day }}.\n\n"
        "Please renew it in time, and show us the new one.\n\n"
        "After that day {{ who }} cannot be on duty until we have seen it."
    ),
    fields=(
        Field("what", "Which check", "working with children check", must=True),
        Field("who", "Whose it is", "Ida Mirabar", must=True),
        Field("day", "The last day on which it is good", "10 November 2026", must=True),
    ),
)
LETTERS = (SOON, SWAPPED, LAPSING)


def about_turn(turn: Turn) -> str:
    """A turn is told of once."""
    return f"turn on duty {turn.pk}"


def about_lapsing(check: VolunteerCheck, on: date) -> str:
    """A check is told of once in good time, and once shortly before it lapses."""
    return f"check {check.pk} lapses{' shortly' if check.expires_on - on <= SHORTLY else ''}"


def tell_turn(turn: Turn) -> Message:
    """That somebody is on duty in some days."""
    values = {"who": str(turn.person), **_of_the_day(turn)}
    return write_letter(turn.person.household, SOON, values, about=about_turn(turn), guardian=_own(turn.person))


def tell_swapped(taken: Turn) -> list[Message]:
    """To both, that one has taken the turn over from the other."""
    before = taken.takes_over
    assert before is not None, "a turn that was taken over"
    values = {"after": str(taken.person), "before": str(before.person), **_of_the_day(taken)}
    return [
        write_letter(
            each.household, SWAPPED, values, about=f"turn {taken.pk} taken over, to {each.pk}", guardian=_own(each)
        )
        for each in (before.person, taken.person)
    ]


def tell_lapsing(check: VolunteerCheck, about: str) -> Message:
    """That a check lapses soon."""
    what = check.get_kind_display()
    values = {
        "what": what[:1].lower() + what[1:],
        "who": str(check.person),
        "day": long_day(check.expires_on),
    }
    return write_letter(check.person.household, LAPSING, values, about=about, guardian=_own(check.person))


def _of_the_day(turn: Turn) -> dict[str, str]:
    day = turn.range_day
    return {
        "day": long_day(day.date, weekday=True),
        "hours": f" ({day.hours})" if day.hours else "",
        "range": day.place,
        "duty": turn.get_duty_display().lower(),
    }


def _own(person: Person) -> Guardian | None:
    """The volunteer as guardian of the family, where one of that name has an address; else whoever is written to."""
    own = Guardian.objects.filter(household=person.household_id, name__iexact=str(person)).exclude(email="")
    return own.order_by("pk").first()
