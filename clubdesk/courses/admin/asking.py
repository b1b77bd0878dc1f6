"""Asking for places: what the pages share on which somebody books, and how they say where a party stands then."""

from collections.abc import Iterator
from typing import Generic

from django import forms
from django.db.models import QuerySet

from clubdesk.courses import letters, selectors, words
from clubdesk.courses.forms import OpenCohorts, fees_by_course
from clubdesk.courses.models import Booking, Cohort, Course, Place
from clubdesk.fees.models import Charge
from clubdesk.fees.promises import charged_by
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.roll.models import Person
from clubdesk.screens.fields import Cleaned, PickMany, Target, choose_from
from clubdesk.screens.promises import Did
from clubdesk.screens.verbs import Facts, VerbPage


class CohortChoices(OpenCohorts):
    """The same dates as parents see them, with the course and the seats counted."""

    def named(self, cohort: selectors.SeatedCohort) -> str:
        return str(cohort)

    def room(self, cohort: selectors.SeatedCohort) -> str:
        left = max(cohort.capacity - cohort.taken, 0)
        return f"{left} of {cohort.capacity} left" if left else "full"


def with_fees(form: forms.BaseForm, rows: "QuerySet[selectors.SeatedCohort, selectors.SeatedCohort]") -> None:
    """Let the field of a form offer these cohorts, each with its fee."""
    field, found = form.fields["cohorts"], list(choose_from(form, "cohorts", rows))
    assert isinstance(field, CohortChoices)
    by_course: dict[Course, list[Cohort]] = {}
    for cohort in found:
        by_course.setdefault(cohort.course, []).append(cohort)
    field.fees = {key: fees for each in by_course.items() for key, fees in fees_by_course(*each).items()}


class CohortChoice(forms.ModelChoiceField[Cohort]):
    def label_from_instance(self, obj: selectors.SeatedCohort) -> str:  # type: ignore[override]  # its rows have seats
        return CohortChoices(Cohort.objects.none()).label_from_instance(obj)


class PeopleChoices(PickMany):
    def label_from_instance(self, obj: Person | Place) -> str:
        return str(obj.person if isinstance(obj, Place) else obj)


class OneCourse:
    """Of a form with dates: all of one course, since a booking is of one."""

    cleaned_data: Cleaned

    def clean_cohorts(self) -> list[Cohort]:
        cohorts = list(self.cleaned_data["cohorts"])
        if len({cohort.course_id for cohort in cohorts}) > 1:
            raise forms.ValidationError("Choose dates of one course; book the other course on its own.")
        return cohorts


class BooksPage(VerbPage[Target, Booking], Generic[Target]):
    """Says first what the booking would come to, then books, and says where the party stands now."""

    looks_first = True

    def preview(self, target: Target, cleaned: dict[str, object]) -> Facts:
        return self.foretold(target, comes_to, **cleaned)

    def done(self, target: Target, result: Booking) -> str:
        return told(result)


def comes_to(did: Did[Booking]) -> Iterator[tuple[str, object]]:
    """What a booking comes to: who is new on the roll, where they stand, each fee, and to whom letters go."""
    if new := [str(person) for person in did.rows(Person)]:
        yield "New on the roll", ", ".join(new)
    yield "Then", " ".join(words.standing_in_words(did.result))
    for charge in did.rows(Charge):
        yield f"Charged for {charge.person}", charge.amount
    yield "Charged in all", charged_by(did)
    yield "Letters", reached_in_words(did.rows(Message))


def told(booking: Booking) -> str:
    """Where the party stands now; and, where no letter can tell it, whom to phone."""
    sentences = words.standing_in_words(booking)
    guardian = letters.who_is_written_to(booking)
    if guardian is None or not guardian.email:
        phone = f" on {guardian.phone}" if guardian and guardian.phone else ""
        sentences.append(f"No letter can go out, since no e-mail address is known: tell them yourself{phone}.")
    return " ".join(sentences)
