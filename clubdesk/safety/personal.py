"""What this room holds about people. What an incident says of somebody is kept as long as the club says, and then goes
by itself: erasing somebody's details does not change it, and says so.
"""

from collections.abc import Iterator, Sequence

from clubdesk.clock import day_text
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal, Told
from clubdesk.safety import selectors
from clubdesk.safety.models import Involved, Stay, Turn, VolunteerCheck

KEPT = "kept with the record of an incident as long as the club says, and gone with its words after that"


def _duty(home: Household) -> Iterator[Sequence[object]]:
    of = {"person__household": home}
    for check in VolunteerCheck.objects.filter(**of).select_related("person"):
        words = f"{check.number}, good through {day_text(check.expires_on)} {check.end_reason}".strip()
        yield (str(check.person), check.verified_on, check.get_kind_display(), words)
    for turn in Turn.objects.filter(**of).select_related("person", "range_day"):
        yield (str(turn.person), turn.range_day.date, f"On duty: {turn.get_duty_display().lower()}", turn.end_reason)
    for stay in Stay.objects.filter(**of).select_related("person", "range_day"):
        agreed = f", as agreed by {stay.agreed_by}" if stay.agreed_by else ""
        words = f"collected by {stay.collected_by}{agreed}" if stay.left_at else ""
        yield (str(stay.person), stay.range_day.date, "Came without a guardian", words)


def _incidents(home: Household) -> Iterator[Sequence[object]]:
    """That there is a record, and what was done; its words may be about others, and are read out by who keeps it."""
    rows = Involved.objects.filter(person__household=home, incident__at_risk=False).select_related("incident", "person")
    for row in rows:
        of = row.incident
        told = f"told on {day_text(of.told_on)}: {of.told_whom}" if of.told_on else "nobody was told yet"
        yield (row.name, of.happened_on, str(of.get_kind_display()), of.place, of.first_aid, told)


def what_stays(person: Person) -> Iterator[str]:
    """What of somebody stays though the details are erased, why, and until when."""
    for incident, until in selectors.names_kept_of(person):
        yield (
            f"The name in the record of the {incident.get_kind_display().lower()} of {day_text(incident.happened_on)}:"
            f" such records are kept to {day_text(until)}, since they may be asked for many years later."
        )


PERSONAL = (
    Personal(
        "safety.VolunteerCheck",
        person="person",
        family="person__household",
        erased=(Erase("number"), Erase("end_reason")),
        told=("number", "end_reason"),
        retained_from=("verified_on",),
    ),
    Personal(
        "safety.Turn",
        person="person",
        family="person__household",
        erased=(Erase("end_reason"),),
        told=("end_reason",),
        retained_from=("range_day__date",),
    ),
    Personal(
        "safety.Stay",
        person="person",
        family="person__household",
        erased=(Erase("collected_by"), Erase("agreed_by")),
        told=("collected_by", "agreed_by"),
        retained_from=("range_day__date",),
    ),
    Personal("safety.Involved", person="person", family="person__household", told=("name",), free={"name": KEPT}),
)
TOLD = (
    Told("Duty", (("Who", 26), ("Day", 14), ("What", 30), ("Words", 60)), _duty),
    Told(
        "Incidents",
        (("Who", 26), ("Day", 14), ("What", 14), ("Where", 26), ("First aid", 40), ("Guardian", 40)),
        _incidents,
        permission="safety.view_incident",
    ),
)
