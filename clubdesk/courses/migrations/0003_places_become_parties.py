"""Each place that was booked becomes a party of one, in the order in which it arrived."""

from collections import defaultdict

from django.db import migrations

from clubdesk import guards

RANK_STEP = 2**20
ENDED = {"unreached": "lapsed"}


def lift_guards(apps, schema_editor):
    """They refuse exactly this; the end of `migrate` puts them back."""
    guards.remove(schema_editor.connection)


def make_parties(apps, schema_editor):
    booking, place, event = (apps.get_model("courses", name) for name in ("Booking", "Place", "BookingEvent"))
    cohort = apps.get_model("courses", "Cohort")
    guardian = apps.get_model("roll", "Guardian")
    numbers = {}
    stays, asked_for = one_wait_each(place)
    for row in place.objects.select_related("cohort", "person").order_by("recorded_at", "pk"):
        course = row.cohort.course_id
        number = numbers[course] = numbers.get(course, 0) + 1
        joined = row.state in ("waiting", "offered") and row.pk not in stays
        state = "withdrawn" if joined else ENDED.get(row.state, row.state)
        guardians = guardian.objects.filter(household=row.person.household_id).order_by("pk")
        party = booking.objects.create(
            course_id=course,
            household_id=row.person.household_id,
            guardian=guardians.exclude(email="").first() or guardians.first(),
            booked_on=row.booked_on,
            number=number,
            rank=number * RANK_STEP,
            state=state,
            seats=1,
            offer_lapses_on=row.offer_lapses_on,
            ended_on=row.booked_on if joined else row.ended_on,
            recorded_by_id=row.recorded_by_id,
        )
        booking.objects.filter(pk=party.pk).update(recorded_at=row.recorded_at)
        waits = state == "waiting"
        place.objects.filter(pk=row.pk).update(
            booking=party, course_id=course, state=state, cohort=None if waits else row.cohort_id
        )
        event.objects.create(
            booking=party,
            kind="booked",
            on=row.booked_on,
            words=f"Booked for {row.person.given_name}, {row.cohort.name}.",
            cohort_id=row.cohort_id,
            seats=1,
            recorded_by_id=row.recorded_by_id,
        )
        if joined:
            words = f"{row.person.given_name} waits once for the whole course now, with the first booking."
            event.objects.create(
                booking=party, kind="changed", on=row.booked_on, words=words, recorded_by_id=row.recorded_by_id
            )
        elif waits:
            party.cannot_make.set(cohort.objects.filter(course=course).exclude(pk__in=asked_for[row.person_id]))


def one_wait_each(place):
    """The place that goes on waiting for each person and course, the offered one or the first to arrive.

    And the cohorts that each person has asked for.
    """
    found, asked_for = {}, defaultdict(set)
    rows = place.objects.filter(state__in=("waiting", "offered")).select_related("cohort")
    for row in sorted(rows, key=lambda row: (row.state != "offered", row.recorded_at, row.pk)):
        found.setdefault((row.person_id, row.cohort.course_id), row.pk)
        asked_for[row.person_id].add(row.cohort_id)
    return set(found.values()), asked_for


class Migration(migrations.Migration):
    dependencies = [("courses", "0002_parties")]

    operations = [
        migrations.RunPython(lift_guards, migrations.RunPython.noop),
        migrations.RunPython(make_parties, migrations.RunPython.noop),
    ]
