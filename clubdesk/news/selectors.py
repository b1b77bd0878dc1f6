"""Questions about writing to many: who may be written to, whom a letter reaches, and what became of one."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db.models import Count, QuerySet

from clubdesk.audiences import Audience, ToCome
from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.mail.fields import in_a_row
from clubdesk.mail.models import Message, MessageState
from clubdesk.news.models import Writing
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.selectors import guardian_to_write_to, wants_news
from clubdesk.rooms import in_order

THE_SAME_WITHIN = timedelta(days=7)
"""A family that had the very same letter within so long does not get it again."""
MOST_DAYS = 6
"""So many of the next dates stand in a letter."""


@dataclass(frozen=True)
class To:
    """Who is written to, in words; the people whom it concerns by their families, all by their ids."""

    words: str
    families: Mapping[int, Sequence[int]]


@dataclass(frozen=True)
class Family:
    """One that is written to: its guardian, and those of it whom the letter concerns."""

    household: Household
    guardian: Guardian | None
    people: Sequence[Person]

    @property
    def phones(self) -> list[str]:
        return [each.phone for each in self.household.guardians.all() if each.phone]


@dataclass
class Reached:
    """Whom a letter goes to; who has no address; who wants no news; and who had the very same lately."""

    by_mail: list[Family] = field(default_factory=list)
    without: list[Family] = field(default_factory=list)
    declined: list[Family] = field(default_factory=list)
    had_it: list[Family] = field(default_factory=list)


def audiences() -> list[Audience]:
    """Whom the rooms say that one may write to, lowest floor first."""
    return [each for room in in_order() for each in room.audiences]


def choices(on: date) -> list[tuple[str, list[tuple[str, str]]]]:
    """What one chooses from, in groups: the value that names an audience, “cohort:12”, and its words."""
    alone, groups = [], []
    for each in audiences():
        if each.choices is None:
            alone.append((f"{each.name}:0", each.title))
        elif found := [(f"{each.name}:{pk}", f"{each.title}: {words}") for pk, words in each.choices(on)]:
            groups.append((each.title, found))
    return [("All at once", alone), *groups]


def named(value: str, on: date) -> To:
    """The audience that a value names. Raises Refused for one that is none, or is there no more."""
    name, _, chosen = value.partition(":")
    words = dict(pair for _, group in choices(on) for pair in group).get(value)
    audience = next((each for each in audiences() if each.name == name), None)
    if words is None or audience is None:
        raise Refused("Choose whom to write to from the list.")
    return To(words, audience.families(int(chosen), on))


def reached(to: To, subject: str, text: str, is_news: bool, on: date) -> Reached:
    """Whom the letter would go to today; as many questions for ten families as for a thousand."""
    found, had = Reached(), _had_the_same(subject, text, on)
    wanted = {pk for people in to.families.values() for pk in people}
    people = {each.pk: each for each in Person.objects.filter(pk__in=wanted, erased_on=None)}
    homes = Household.objects.filter(pk__in=to.families).prefetch_related("guardians")
    for home in homes.order_by("name", "pk"):
        guardian = wants_news(home) if is_news else guardian_to_write_to(home)
        own = [people[pk] for pk in to.families[home.pk] if pk in people]
        family = Family(home, guardian, own)
        if is_news and guardian is None and home.guardians.all():
            found.declined.append(family)
        elif home.pk in had:
            found.had_it.append(family)
        elif guardian and guardian.email:
            found.by_mail.append(family)
        else:
            found.without.append(family)
    return found


def _had_the_same(subject: str, text: str, on: date) -> set[int]:
    """The families, by their ids, that were written the same subject and text lately."""
    same = Writing.objects.filter(subject=subject, text=text, written_on__gt=on - THE_SAME_WITHIN)
    found: set[int] = set()
    for writing in same:
        found |= {pk for pk in letters_of(writing).values_list("household", flat=True) if pk}
    return found


def next_dates(people: Collection[int], on: date) -> dict[int, list[ToCome]]:
    """What is to come for each of the people, the earliest first, as the rooms say."""
    found: dict[int, list[ToCome]] = {}
    for room in in_order():
        for each in room.to_come(list(people), on) if room.to_come else ():
            found.setdefault(each.person, []).append(each)
    return {person: sorted(dates, key=lambda each: each.day) for person, dates in found.items()}


def dates_in_words(people: Iterable[Person], dates: Mapping[int, Sequence[ToCome]]) -> str:
    """A line a day, with who of the family it is for; that there is none where there is none."""
    lines: dict[tuple[date, str], list[str]] = {}
    for person in people:
        for each in dates.get(person.pk, ()):
            lines.setdefault((each.day, each.what), []).append(person.given_name)
    said = [
        f"{long_day(day, weekday=True)}: {what} ({in_a_row(names)})"
        for (day, what), names in sorted(lines.items())[:MOST_DAYS]
    ]
    return "\n".join(said) or "no dates yet"


def about(writing: Writing, household: int) -> str:
    return f"news {writing.pk} household {household}"


def letters_of(writing: Writing) -> QuerySet[Message]:
    return Message.objects.filter(about__startswith=f"news {writing.pk} household ")


def standing(writing: Writing) -> dict[str, int]:
    """How many of its letters stand how, in the words of the mail room."""
    counted = letters_of(writing).order_by().values_list("state").annotate(Count("pk"))
    return {MessageState(state).label: count for state, count in counted}
