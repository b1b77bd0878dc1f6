"""What families are told by mail of a range day: that it is called off, and what becomes of what they paid."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import QuerySet
from django.urls import reverse

from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.fees.letters import ACCOUNT
from clubdesk.fees.writing import write_to
from clubdesk.mail.fields import filled, in_a_row, paragraphs, refuse_unknown
from clubdesk.mail.models import Message
from clubdesk.money import nil, shown, total
from clubdesk.rangeday.audiences import usual_families
from clubdesk.rangeday.models import PAID_AT_THE_RANGE, Paid, RangeDay, SignOn
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.selectors import guardian_to_write_to, wants_news

FIELDS = ("children", "day", "range", "reason", "what was paid")
AS_WRITTEN = (
    "The range day on {day} is called off: {reason}.\n\nPlease do not come to {range} with {children}.\n\n"
    "{what was paid}"
)
MOVED_FIELDS = (*FIELDS, "new day")
AS_MOVED = (
    "The range day on {day} moves to {new day}: {reason}.\n\nPlease come to {range} with {children} on that day "
    "instead.\n\n{what was paid}"
)
NEVER_PAID = "Nothing is charged for the day."


@dataclass
class Affected:
    """A family that is told that a day is called off: its guardian, whom of it that concerns, and what they had paid.

    Who only usually comes has signed on for nothing.
    """

    household: Household
    guardian: Guardian | None
    people: list[Person]
    signed: list[SignOn] = field(default_factory=list)


def affected(day: RangeDay, signed: Iterable[SignOn], *, also_usual: bool) -> list[Affected]:
    """The families of who signed on, and of who usually comes but for guardians who want no news; by their names."""
    own: dict[int, list[SignOn]] = {}
    for row in signed:
        if row.person:
            own.setdefault(row.person.household_id, []).append(row)
    on_the_day = {row.person_id for rows in own.values() for row in rows if row.person_id}
    usual = usual_families(day, besides=on_the_day) if also_usual else {}
    people = {each.pk: each for each in Person.objects.filter(pk__in=[pk for own in usual.values() for pk in own])}
    homes = Household.objects.filter(pk__in={*own, *usual}).select_related("party").prefetch_related("guardians")
    found = []
    for home in homes.order_by("name", "pk"):
        rows = own.get(home.pk, [])
        guardian = guardian_to_write_to(home) if rows else wants_news(home)
        if rows or guardian:
            who = [row.person for row in rows if row.person] + [people[pk] for pk in usual.get(home.pk, ())]
            found.append(Affected(home, guardian, who, rows))
    return found


def refuse_unclear(text: str, fields: Sequence[str] = FIELDS) -> None:
    """Raise Refused where there is nothing to tell, or a field that nobody could fill in."""
    if not text.strip():
        raise Refused("Write what the families are told, or tell nobody.")
    refuse_unknown(text, fields)


def tell_called_off(
    day: RangeDay, text: str, families: Sequence[Affected], moved: Mapping[int, SignOn]
) -> list[Message]:
    """One letter a family. `moved` gives the new sign-on of each that moved to another day, by the old one's id."""
    said = {"reason": day.called_off_reason.rstrip(".")}
    subject = f"Called off: {long_day(day.date, weekday=True)}"
    return [_tell(day, text, subject, said, family, moved) for family in families]


def tell_moved(
    day: RangeDay, new: RangeDay, reason: str, text: str, families: Sequence[Affected], moved: Mapping[int, SignOn]
) -> list[Message]:
    """One letter a family that the day is another one now; `moved` as where a day is called off."""
    said = {"reason": reason.rstrip("."), "new day": long_day(new.date, weekday=True)}
    subject = f"Moved to {said['new day']}: the range day on {long_day(day.date, weekday=True)}"
    return [_tell(day, text, subject, said, family, moved) for family in families]


def _tell(
    day: RangeDay, text: str, subject: str, said: Mapping[str, str], family: Affected, moved: Mapping[int, SignOn]
) -> Message:
    values = {
        "children": in_a_row([each.given_name for each in family.people]),
        "day": long_day(day.date, weekday=True),
        "range": day.place,
        "what was paid": _became_of(family.signed, moved),
        **said,
    }
    return write_to(
        family.household,
        paragraphs(filled(text, values)),
        about=f"{_about(day)}{family.household.pk}",
        subject=subject,
        link_path=reverse("account:own"),
        leads=ACCOUNT,
        guardian=family.guardian,
    )


def _became_of(signed: Sequence[SignOn], moved: Mapping[int, SignOn]) -> str:
    """What becomes of what a family had paid, or was to pay; blank for who had not signed on."""
    sentences = []
    others = {row.pk: moved[row.pk] for row in signed if row.pk in moved}
    if others:
        names = in_a_row([row.person.given_name for row in signed if row.pk in others and row.person])
        where = next(iter(others.values())).range_day
        is_are = "are" if len(others) > 1 else "is"
        sentences.append(f"{names} {is_are} signed on for {long_day(where.date, weekday=True)} at the same price.")
    paid = [row for row in signed if row.paid in PAID_AT_THE_RANGE]
    amount = total(row.amount for row in paid)
    if amount > nil() and all(row.pk in others for row in paid):
        sentences.append(f"The {shown(amount)} that you paid pays for that day.")
    elif amount > nil():
        sentences.append(f"The {shown(amount)} that you paid stands to your credit and pays what you owe next.")
    elif not others and any(row.paid == Paid.ACCOUNT for row in signed):
        sentences.append(NEVER_PAID)
    return " ".join(sentences)


def _about(day: RangeDay) -> str:
    return f"range day {day.pk} called off household "


def of_calling_off(day: RangeDay) -> QuerySet[Message]:
    """The letters that told families that the day is called off."""
    return Message.objects.filter(about__startswith=_about(day))


def to_paste(day: RangeDay) -> str:
    """What the club can post where everybody reads it: it names nobody."""
    when = long_day(day.date, weekday=True)
    return f"Called off: the range day on {when} at {day.place} ({day.called_off_reason}). Please do not come."
