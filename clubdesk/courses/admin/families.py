"""What courses add to the pages of a person and of a household."""

from django import forms
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.admin.asking import AskingForm, AskingPage, PeopleChoices
from clubdesk.courses.models import ADULT_FROM, STANDING, Place, ReachCheck
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import HappenedField, choose_from, form_of
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import VerbPage


class BookFamilyForm(AskingForm[Household]):
    people = PeopleChoices(Person.objects.none(), label="Who does the course together")
    field_order = ["people", "cohorts"]

    def prepare(self) -> None:
        super().prepare()
        choose_from(self, "people", self.target.people.all())


class BookFamilyPage(AskingPage[Household]):
    """Several of a family who want to stay together."""

    slug = "book-course"
    verb = services.book_party
    button = "Book the places"
    form_class = BookFamilyForm

    def arguments(self, target: Household, cleaned: dict[str, object]) -> dict[str, object]:
        cohorts = cleaned["cohorts"]
        assert isinstance(cohorts, list)
        return {**super().arguments(target, cleaned), "course": cohorts[0].course}


class ReachCheckPage(VerbPage[Person, ReachCheck]):
    slug = "reach-check"
    verb = services.record_reach_check
    target = "person"
    intro = (
        "Somebody qualified has seen that this child can draw and hold the club’s lightest bow safely. From now on "
        "the minimum age does not hold the child back. Whether to accept younger children is for the club’s rules "
        "and its coaches to say."
    )
    button = "Record the check"
    form_class = form_of(
        on=HappenedField(label="Checked on"),
        checked_by=forms.CharField(label="Who watched the child draw", max_length=100),
    )
    lands_on_target = True

    def applies(self, target: Person) -> bool:
        return target.age_on(clock.today()) < ADULT_FROM

    def done(self, target: Person, result: ReachCheck) -> str:
        return f"Recorded: {result}."


def reach_checks_section(request: HttpRequest, person: Person) -> Section:
    rows = [(check.checked_on, check.checked_by) for check in person.reach_checks.all()]
    return Section("Draw checks", ["Checked", "By"], rows, "None recorded.")


def bookings_section(request: HttpRequest, household: Household) -> Section | None:
    """What the household has booked or waits for."""
    bookings = household.bookings.filter(state__in=STANDING).select_related("course", "household")
    places = Place.objects.filter(booking__in=bookings, state__in=STANDING).select_related("person", "cohort", "course")
    rows = [
        (link_to(place.booking, str(place.person)), str(place.cohort or place.course), place.get_state_display())
        for place in places.select_related("booking")
    ]
    return Section("Courses", ["Who", "Cohort", "Place"], rows) if rows else None
