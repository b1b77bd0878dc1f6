"""Asking for places: what the pages share on which somebody books, and how they say where a party stands then."""

from typing import Generic

from django import forms

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.courses import letters, selectors, words
from clubdesk.courses.models import Booking, Cohort, Place
from clubdesk.roll.models import Person
from clubdesk.screens.fields import PickMany, Target, VerbForm, choose_from
from clubdesk.screens.verbs import VerbPage


def in_room_words(cohort: selectors.SeatedCohort) -> str:
    """A cohort, and how full it is, for a choice: “3 of 14 left”."""
    left = max(cohort.capacity - cohort.taken, 0)
    room = f"{left} of {cohort.capacity} left" if left else "full"
    return f"{cohort}, from {day_text(cohort.first_session)} ({room})"


class CohortChoices(PickMany):
    def label_from_instance(self, obj: selectors.SeatedCohort) -> str:
        return in_room_words(obj)


class CohortChoice(forms.ModelChoiceField[Cohort]):
    def label_from_instance(self, obj: selectors.SeatedCohort) -> str:  # type: ignore[override]  # its rows have seats
        return in_room_words(obj)


class PeopleChoices(PickMany):
    def label_from_instance(self, obj: Person | Place) -> str:
        return str(obj.person if isinstance(obj, Place) else obj)


class AskingForm(VerbForm[Target]):
    """Whoever books says which cohorts of one course they can make."""

    cohorts = CohortChoices(
        Cohort.objects.none(),
        label="Cohorts they can make",
        help_text="They get the first with room for all of them. Where none has room they wait, in order of arrival.",
    )

    def prepare(self) -> None:
        choose_from(self, "cohorts", selectors.cohorts_not_over(clock.today()))

    def clean_cohorts(self) -> list[Cohort]:
        cohorts = list(self.cleaned_data["cohorts"])
        if len({cohort.course_id for cohort in cohorts}) > 1:
            raise forms.ValidationError("Choose cohorts of one course; book the other course on its own.")
        return cohorts


class AskingPage(VerbPage[Target, Booking], Generic[Target]):
    """Books, and says where the party stands now."""

    def done(self, target: Target, result: Booking) -> str:
        return told(result)


def told(booking: Booking) -> str:
    """Where the party stands now; and, where no letter can tell it, whom to phone."""
    sentences = words.standing_in_words(booking)
    guardian = letters.who_is_written_to(booking)
    if guardian is None or not guardian.email:
        phone = f" on {guardian.phone}" if guardian and guardian.phone else ""
        sentences.append(f"No letter can go out, since no e-mail address is known: tell them yourself{phone}.")
    return " ".join(sentences)
