"""What courses add to the pages of a person and of a household."""

from collections.abc import Iterable

from django import forms
from django.contrib.auth.models import User
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import checks, coming, selectors, services
from clubdesk.courses.admin.asking import BooksPage, CohortChoices, OneCourse, PeopleChoices, told, with_fees
from clubdesk.courses.models import ADULT_FROM, STANDING, Booking, Cohort, Place, ReachCheck
from clubdesk.fees.models import Charge
from clubdesk.fees.promises import charged_by, claimed_of, credited_by
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.money import nil, shown, total
from clubdesk.roll.models import Household, Person
from clubdesk.screens.fields import Cleaned, HappenedField, PickField, VerbForm, choose_from, form_of
from clubdesk.screens.promises import Did
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage


class BookFamilyForm(OneCourse, VerbForm[Household]):
    people = PeopleChoices(Person.objects.none(), label="Who does the course together", required=False)
    child = PickField(
        Person,
        through=(Place, "person"),
        label="A child of two homes who belongs to another family",
        required=False,
        help_text="This family books for the child and pays.",
    )
    cohorts = CohortChoices(
        Cohort.objects.none(),
        label="Dates they can make",
        help_text="They get the first with room for all of them. Where none has room they wait, in order of arrival.",
    )
    gives = ("payer",)

    def prepare(self) -> None:
        super().prepare()
        choose_from(self, "people", self.target.people.all())
        with_fees(self, selectors.cohorts_not_over(clock.today()))

    def clean(self) -> Cleaned:
        """Whoever else's child it is, the family of the page pays."""
        cleaned = super().clean() or {}
        child, people = cleaned.pop("child", None), list(cleaned.get("people") or [])
        if not child and not people and not self.errors:
            self.add_error("people", "Say who wants to do the course.")
        return {**cleaned, "people": [*people, child] if child else people, "payer": self.target if child else None}


class BookFamilyPage(BooksPage[Household]):
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


class WatchedPage(VerbPage[Person, ReachCheck]):
    """The same in one tap, at the range: whoever is signed in has just watched the child."""

    slug = "watched"
    verb = services.record_reach_check
    target = "person"
    title = "Can draw: record it"
    intro = ReachCheckPage.intro
    button = "I have watched it today"

    def applies(self, target: Person) -> bool:
        return checks.to_watch(clock.today()).filter(pk=target.pk).exists()

    def not_now(self, target: Person) -> str:
        return "no draw check is to do."

    def facts(self, target: Person) -> Facts:
        places = checks.needed(clock.today()).filter(person=target).select_related("course")
        return [("Waits for", "; ".join(str(place.course) for place in places) or "nothing")]

    def perform(self, *, target: Person, by: User, cleaned: Cleaned) -> ReachCheck:
        """Who watched the child is whoever taps."""
        watched_by = by.get_full_name() or by.get_username()
        given = self.arguments(target, {**cleaned, "checked_by": watched_by})
        return services.record_reach_check(by=by, **given)  # type: ignore[arg-type]

    def done(self, target: Person, result: ReachCheck) -> str:
        bookings = Booking.objects.filter(places__person=target, state__in=STANDING).distinct()
        return " ".join([f"Recorded: {result}.", *(told(each) for each in bookings.order_by("pk"))])

    def destination(self, target: Person, result: ReachCheck) -> str:
        return reverse("admin:draw_checks")


class MovePage(VerbPage[Person, Person]):
    """What goes along and who pays is shown before it is done."""

    slug = "move"
    verb = services.move_person
    target = "person"
    intro = (
        "What the child waits for and what is paid goes along, in the old turn. What is past stays as it was, and "
        "fees that were charged stay with whoever was charged, unless the new family takes them over below."
    )
    button = "Save that it is so"
    looks_first = True
    form_class = form_of(
        household=PickField(Household, through=(Person, "household"), label="Now belongs to"),
        takes_over=forms.BooleanField(
            label="The new family pays what is still open for courses to come",
            required=False,
            help_text="Otherwise the family that was charged pays on, and its place stays in its booking.",
        ),
    )

    def applies(self, target: Person) -> bool:
        return target.erased_on is None

    def facts(self, target: Person) -> Facts:
        places = coming.of_own_family(target, clock.today())
        waits = [f"{place.cohort or place.course} ({place.get_state_display().lower()})" for place in places]
        return [("Belongs to", target.household), ("To come", "; ".join(waits) or "nothing is booked")]

    def preview(self, target: Person, cleaned: dict[str, object]) -> Facts:
        def tell(did: Did[Person]) -> Iterable[tuple[str, object]]:
            yield "Then belongs to", str(did.result.household)
            places = Place.objects.filter(booking__in=did.rows(Booking)).select_related("cohort__course", "course")
            along = [f"{place.cohort or place.course}" for place in places]
            yield "Goes along", "; ".join(along) or "nothing"
            if stays := [f"{place.cohort or place.course}" for place in coming.of_others(did.result, clock.today())]:
                yield f"Stays with {target.household}", "; ".join(stays)
            yield from _of_fees(did, target.household)
            yield "Letters", reached_in_words(did.rows(Message))

        return self.foretold(target, tell, **cleaned)

    def done(self, target: Person, result: Person) -> str:
        return f"{result} belongs to {result.household} from now on."


def _of_fees(did: Did[Person], before: Household) -> Iterable[tuple[str, object]]:
    """What the new family owes, what is credited to the one before, and what vouchers that go along pay."""
    waiting = [each for each in did.rows(Charge) if each.carried_on]
    came, waits = total(each.amount for each in waiting), claimed_of(each.pk for each in waiting)
    if waits > nil():
        yield "A voucher goes along", f"{shown(waits)}, for the child’s next fee"
    if (pays := came - waits) > nil():
        yield "A voucher goes along", f"{shown(pays)}, and pays of what is taken over"
    if (charged := charged_by(did) - came) > nil():
        yield f"{did.result.household} owes", shown(charged - pays)
        yield f"{before} is credited", shown(credited_by(did) - came - pays)


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
