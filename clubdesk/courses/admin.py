"""Screens of the courses room."""

from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.courses import selectors, services
from clubdesk.courses.models import STANDING, Cohort, Course, Place, PlaceState
from clubdesk.fees.admin import reason_field
from clubdesk.fees.selectors import charges_with_open
from clubdesk.money import shown
from clubdesk.roll.models import Person
from clubdesk.screens import (
    DayField,
    DocumentAdmin,
    PickField,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    add_page_of,
    link_to,
)


class CohortChoice(forms.ModelChoiceField):
    """Cohorts that are not over, each with the seats left or how many wait."""

    def label_from_instance(self, cohort: Any) -> str:
        left = cohort.capacity - cohort.taken
        state = (
            f"{left} of {cohort.capacity} left"
            if left > 0 and not cohort.waiting
            else f"full, {cohort.waiting} waiting"
        )
        return f"{cohort}, from {cohort.first_session:%-d %b %Y} ({state})"


class BookForm(VerbForm):
    person = PickField(
        Person, through=(Place, "person"), label="Who", help_text="Not on the roll yet? Add the family first."
    )
    cohort = CohortChoice(queryset=Cohort.objects.none())
    on = DayField(label="Booked on")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["cohort"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = (
            selectors.cohorts_with_seats().filter(last_session__gte=clock.today()).order_by("first_session")
        )


class BookPage(VerbPage):
    title = "Book a course place"
    intro = "Where the cohort is full, the child joins its waitlist, in order of arrival."
    button = "Book the place"
    permission = "courses.add_place"
    form_class = BookForm

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Place:
        return services.book_place(by=by, **cleaned)

    def done(self, result: Place) -> str:
        if result.state == PlaceState.WAITING:
            return f"{result.cohort} is full: {result.person} waits as number {selectors.position(result)}."
        assert result.charge is not None
        return f"{result.person} has a place in {result.cohort}; {shown(result.charge.amount)} charged."


class WithdrawForm(VerbForm):
    on = DayField(label="Withdrawn on")
    reason = reason_field()


class WithdrawPage(VerbPage):
    slug = "withdraw"
    title = "Withdraw this place"
    intro = "The fee is credited, and the seat is offered to whoever is next on the waitlist."
    button = "Withdraw the place"
    permission = "courses.change_place"
    form_class = WithdrawForm

    def applies(self, target: Place) -> bool:
        return target.state in STANDING

    def facts(self, target: Place) -> list[tuple[str, Any]]:
        return [("Who", target.person), ("Cohort", target.cohort), ("Now", target.get_state_display())]

    def perform(self, *, target: Place, by: Any, on: Any, reason: str, key: Any) -> Place:
        return services.withdraw_place(place=target, on=on, reason=reason, by=by)

    def done(self, result: Place) -> str:
        return f"Withdrawn: {result}."


class AcceptForm(VerbForm):
    on = DayField(label="Accepted on")


class AcceptPage(VerbPage):
    slug = "accept"
    title = "Accept the offered place"
    intro = "The family says yes: the fee is charged."
    button = "Accept the offer"
    permission = "courses.change_place"
    form_class = AcceptForm

    def applies(self, target: Place) -> bool:
        return target.state == PlaceState.OFFERED

    def facts(self, target: Place) -> list[tuple[str, Any]]:
        return [("Who", target.person), ("Offer open until", target.offer_lapses_on)]

    def perform(self, *, target: Place, by: Any, on: Any, key: Any) -> Place:
        return services.accept_offer(place=target, on=on, by=by)

    def done(self, result: Place) -> str:
        return f"{result.person} has a place in {result.cohort}."


@admin.register(Place)
class PlaceAdmin(DocumentAdmin):
    list_display = ["person", "cohort", "state", "booked_on", "queue_number"]
    list_select_related = ["person", "cohort__course"]
    list_filter = ["state", ("cohort", admin.RelatedOnlyFieldListFilter)]
    search_fields = ["person__given_name", "person__family_name"]
    search_help_text = "A name"
    fields = ["person", "cohort", "state", "booked_on", "queue_number", "offer_lapses_on", "ended_on", "charge"]
    readonly_fields = fields
    add_page = BookPage()
    pages = [AcceptPage(), WithdrawPage()]


def places_section(request: HttpRequest, cohort: Cohort) -> Section:
    """Who is in, is offered and waits, in that order, with age and what is still to pay."""
    places = cohort.places.filter(state__in=STANDING).select_related("person", "cohort__course")
    owed = {
        charge.pk: charge.open_amount
        for charge in charges_with_open().filter(place__cohort=cohort, place__state__in=STANDING)
    }
    rows = [
        (
            link_to(place, str(place.person)),
            place.person.age_on(cohort.first_session),
            place.get_state_display(),
            (f"owes {shown(owed[place.charge_id])}" if owed.get(place.charge_id) else "paid")
            if place.charge_id
            else "",
        )
        for place in sorted(
            places, key=lambda each: (STANDING.index(PlaceState(each.state)), each.queue_number or each.pk)
        )
    ]
    seated = sum(place.state in ("held", "offered") for place in places)
    title = f"{seated} of {cohort.capacity} seats taken, {len(places) - seated} waiting"
    return Section(title, ["Who", "Age", "Place", "Fee"], rows, "Nobody is booked yet.")


class BookHerePage(VerbPage):
    """The button on a cohort's page: the same form, with the cohort chosen."""

    slug = "book"
    routed = False
    title = "Book a place here"
    permission = "courses.add_place"

    def applies(self, target: Cohort) -> bool:
        return target.last_session >= clock.today()

    def url(self, target: Any) -> str:
        return f"{add_page_of(Place)}?cohort={target.pk}"


@admin.register(Cohort)
class CohortAdmin(RoomAdmin):
    list_display = ["__str__", "first_session", "last_session", "capacity", "taken", "waiting"]
    search_fields = ["name", "course__name"]
    list_filter = ["course"]
    fields = ["course", "name", "first_session", "last_session", "capacity", "minimum_age"]
    pages = [BookHerePage()]
    section_makers = [places_section]
    sections_first = True

    def get_queryset(self, request: HttpRequest) -> Any:
        return selectors.cohorts_with_seats().order_by("-first_session")

    @admin.display(description="Seats taken", ordering="taken")
    def taken(self, cohort: Any) -> int:
        return cohort.taken

    @admin.display(description="Waiting", ordering="waiting")
    def waiting(self, cohort: Any) -> int:
        return cohort.waiting

    def save_model(self, request: HttpRequest, obj: Cohort, form: Any, change: bool) -> None:
        services.save_cohort(cohort=obj, on=clock.today(), by=request.user)  # type: ignore[arg-type]


@admin.register(Course)
class CourseAdmin(RoomAdmin):
    list_display = ["name", "fee_item", "minimum_age", "offer_days"]
    list_select_related = ["fee_item"]
