"""Screens of a cohort: who is in it, who waits, and what to do next."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django import forms
from django.contrib import admin, messages
from django.db.models import Count, Prefetch, QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.courses import checks, letters, selectors, services, telling
from clubdesk.courses.admin.asking import PeopleChoices
from clubdesk.courses.admin.bookings import paid_in_words
from clubdesk.courses.admin.places import PdfStep
from clubdesk.courses.admin.saving import CohortForm, tell_fields
from clubdesk.courses.forecast import PRIOR_IN_WORDS
from clubdesk.courses.models import (
    TAKES_A_SEAT,
    Booking,
    BookingEvent,
    Certificate,
    Cohort,
    Course,
    Happened,
    Place,
    PlaceState,
)
from clubdesk.courses.services.waitlist import locked
from clubdesk.fees.promises import claimed_of, credited_by
from clubdesk.mail.sections import not_reached
from clubdesk.mail.selectors import reached_in_words
from clubdesk.money import nil
from clubdesk.screens.fields import HappenedField, VerbForm, choose_from, reason_field
from clubdesk.screens.promises import Did
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import Link, Section, add_page_of, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage, signed_in

if TYPE_CHECKING:
    from django.contrib.admin.options import _FieldsetSpec

FIRST_OF_A_LIST = 50


def cancelled_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Where a cohort was cancelled: when, why, and where each of its parties stands now."""
    if cohort.cancelled_on is None:
        return None
    told = BookingEvent.objects.filter(cohort=cohort, kind=Happened.RETURNED).select_related(
        "booking__household__party"
    )
    rows = [(link_to(each.booking, str(each.booking.household)), each.booking.get_state_display()) for each in told]
    title = f"Cancelled on {day_text(cohort.cancelled_on)}: {cohort.cancel_reason}"
    return Section(title, ["Booking", "Now"], rows, "Nobody was in it.")


def seated_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Who is in and who is offered, with age, what is to pay and what to do next."""
    if cohort.cancelled_on:
        return None
    places = list(
        cohort.places.filter(state__in=TAKES_A_SEAT)
        .select_related("person", "cohort__course", "booking__guardian", "booking__household", "certificate")
        .order_by("booking__rank", "pk")
    )
    owed = selectors.still_owed(places)
    came = selectors.sessions_come_to(cohort)
    young = set(checks.seated_too_young_for(cohort).values_list("pk", flat=True))
    held = [place for place in places if place.state == PlaceState.HELD]
    begun = cohort.first_session <= clock.today()
    rows = []
    for place in places:
        row: list[object] = [
            link_to(place, str(place.person)),
            next_step(place, cohort, owed),
            paid_in_words(place, owed),
        ]
        age = place.person.age_on(cohort.first_session)
        row += [f"{age}, too young without a draw check" if place.pk in young else age, state_in_words(place)]
        if begun:
            row.append(f"{came.get(place.pk, 0)} of {len(cohort.sessions)}")
        rows.append(row)
    offered = len(places) - len(held)
    title = f"{len(places)} of {cohort.capacity} seats taken: {len(held)} held, {offered} offered"
    columns = ["Who", "Next", "Fee", "Age on the first day", "Place"] + (["Came to"] if begun else [])
    return Section(title, columns, rows, "Nobody is booked yet.")


def state_in_words(place: Place) -> str:
    until = place.booking.offer_lapses_on
    return f"{place.get_state_display()}{f' until {day_text(until, year=False)}' if until else ''}"


def next_step(place: Place, cohort: Cohort, owed: dict[int, Decimal]) -> Link | str:
    """What to do next about a place, a click away."""
    booking = place.booking
    if place.state == PlaceState.OFFERED:
        return Link("They say yes", reverse("admin:courses_booking_accept", args=[booking.pk]))
    if owed.get(place.pk):
        return Link("Record their payment", reverse("admin:roll_household_receipt", args=[booking.household_id]))
    if hasattr(place, "certificate"):
        return Link("Certificate", PdfStep().url(place.certificate))
    if cohort.last_session < clock.today():
        return Link("Membership", f"{reverse('admin:membership_membership_add')}?person={place.person_id}")
    return ""


def waiting_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Who waits for the course, first the next; whether this cohort would do for them."""
    if cohort.cancelled_on or cohort.first_session < clock.today():
        return None
    return queue_section(cohort.course, cohort)


def queue_section(course: Course, cohort: Cohort | None = None) -> Section:
    waiting = selectors.waitlist(course)
    count = waiting.count()
    places = Prefetch("places", Place.objects.select_related("person"))
    with_places = waiting.select_related("household", "course").prefetch_related("cannot_make", places)
    first = list(with_places[:FIRST_OF_A_LIST])
    waits = selectors.wait_estimates(course, clock.today())
    young = set(checks.waiting_places_too_young_for(cohort).values_list("booking", flat=True)) if cohort else set()
    watched = set(checks.needed(clock.today()).filter(booking__in=first).values_list("booking", flat=True))
    rows = []
    for index, booking in enumerate(first, 1):
        people = [place.person for place in booking.places.all() if place.state == PlaceState.WAITING]
        row = [index, link_to(booking, f"{selectors.names(people)}, {booking.household}"), booking.seats]
        first_checked = "first a draw check; else " if booking.pk in watched else ""
        row += [booking.booked_on, f"{first_checked}{waits.likely(booking.pk)}"]
        if cohort:
            cannot = "cannot make it" if cohort in booking.cannot_make.all() else ""
            row.append(cannot or ("too young without a draw check" if booking.pk in young else "yes"))
        rows.append(row)
    more = f", the first {FIRST_OF_A_LIST} shown" if count > len(first) else ""
    title = f"{count} {'booking waits' if count == 1 else 'bookings wait'} for {course}{more}"
    columns = ["", "Booking", "Places", "Since", "Most likely"] + (["Age and dates fit"] if cohort else [])
    return Section(title, columns, rows, "Nobody waits.", note=PRIOR_IN_WORDS if rows else "")


class BookHereStep(LinkPage[Cohort]):
    """The button on a cohort's page: the form that books, with the cohort chosen."""

    title = "Book a place here"
    permission = "courses.add_place"

    def applies(self, target: Cohort) -> bool:
        return target.last_session >= clock.today() and target.cancelled_on is None

    def url(self, target: Cohort) -> str:
        return f"{add_page_of(Booking)}?cohorts={target.pk}"


class AttendanceForm(VerbForm[Cohort]):
    session = forms.DateField(widget=forms.HiddenInput)
    present = PeopleChoices(Place.objects.none(), label="Who came", required=False)

    def prepare(self) -> None:
        held = self.target.places.filter(state=PlaceState.HELD).select_related("person").order_by("person__given_name")
        choose_from(self, "present", held)
        day = self.initial.get("session")
        if isinstance(day, date):
            self.fields["present"].label = f"Who came on {long_day(day, weekday=True)}"


def has_begun(cohort: Cohort) -> bool:
    return cohort.first_session <= clock.today() and cohort.cancelled_on is None


class AttendancePage(VerbPage[Cohort, services.Came]):
    """One session's list; the cohort's page has a link to each session."""

    slug = "attendance"
    verb = services.record_attendance
    target = "cohort"
    button = "Save who came"
    form_class = AttendanceForm
    lands_on_target = True

    def applies(self, target: Cohort) -> bool:
        return has_begun(target)

    def initial(self, request: HttpRequest, target: Cohort) -> dict[str, object]:
        """The session asked for, or the latest that has begun, with who is marked as present already."""
        asked = session_asked(target, request.GET.get("session", ""))
        there = Place.objects.filter(cohort=target, attendances__held_on=asked)
        return {"session": asked, "present": list(there)}

    def done(self, target: Cohort, result: services.Came) -> str:
        return f"Saved for {long_day(result.session, weekday=True)}: {len(result.who)} came."


def session_asked(cohort: Cohort, text: str) -> date:
    begun = [day for day in cohort.sessions if day <= clock.today()] or cohort.sessions[:1]
    return next((day for day in cohort.sessions if day.isoformat() == text), begun[-1])


def sessions_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Each session that has begun, with how many came and the way to its list."""
    if not has_begun(cohort):
        return None
    counted = dict(
        Place.objects.filter(cohort=cohort, attendances__isnull=False)
        .values_list("attendances__held_on")
        .annotate(count=Count("pk"))
    )
    url = reverse("admin:courses_cohort_attendance", args=[cohort.pk])
    rows = [
        (Link(long_day(day, weekday=True), f"{url}?session={day.isoformat()}"), counted.get(day, 0))
        for day in cohort.sessions
        if day <= clock.today()
    ]
    return Section("Sessions", ["Who came on", "Came"], rows)


class CertificatesPage(VerbPage[Cohort, list[Certificate]]):
    slug = "certificates"
    verb = services.issue_certificates
    target = "cohort"
    button = "Issue the certificates"
    lands_on_target = True

    def applies(self, target: Cohort) -> bool:
        return has_begun(target)

    def facts(self, target: Cohort) -> Facts:
        needed = target.course.sessions_to_complete
        came = selectors.sessions_come_to(target)
        done = sum(count >= needed for count in came.values())
        return [("The course asks for", f"{needed} sessions"), ("Have come so often", f"{done} of {len(came)}")]

    def done(self, target: Cohort, result: list[Certificate]) -> str:
        if not result:
            return "No new certificate: nobody else has come often enough yet."
        return f"{len(result)} new certificates; each stands beside its name."


class SheetStep(LinkPage[Cohort]):
    title = "Sheet to print"
    permission = "courses.view_cohort"

    def url(self, target: Cohort) -> str:
        return reverse("admin:course_sheet", args=[target.pk])


class CancelForm(VerbForm[Cohort]):
    on = HappenedField(label="Cancelled on")
    reason = reason_field()
    tell_them, letter = tell_fields(
        telling.CANCELLED, telling.OF_CANCELLING, "What becomes of the fee and of their turn follows for each family."
    )


class CancelPage(VerbPage[Cohort, Cohort]):
    slug = "cancel"
    verb = services.cancel_cohort
    target = "cohort"
    intro = "Every fee is credited in full, and each booking is offered the next cohort with room, in order of arrival."
    button = "Cancel the cohort"
    form_class = CancelForm

    def applies(self, target: Cohort) -> bool:
        return target.cancelled_on is None and target.last_session >= clock.today()

    def facts(self, target: Cohort) -> Facts:
        return [("Places held", target.places.filter(state=PlaceState.HELD).count())]

    def promises(self, target: Cohort) -> Facts:
        charges = list(
            target.places.filter(state=PlaceState.HELD, charge__isnull=False).values_list("charge", flat=True)
        )

        def tell(did: Did[Cohort]) -> Iterator[tuple[str, object]]:
            yield "Fees to be credited", credited_by(did)
            if (claimed := claimed_of(charges)) > nil():
                yield "Stays, since it is claimed by voucher", claimed
            yield "Letters", reached_in_words(letters.of_cancelling(did.result))

        return self.foretold(target, tell, reason=self.title)

    def done(self, target: Cohort, result: Cohort) -> str:
        return f"{result} is cancelled. {reached_in_words(letters.of_cancelling(result))}"


def to_ring_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Whom no letter reached about a cohort that was cancelled, or lately got other days."""
    return not_reached(telling.about_changes(cohort))


def to_paste_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """What the club can post where its families read it."""
    if not cohort.cancelled_on and not telling.about_changes(cohort).exists():
        return None
    return Section("To paste where the club posts its news", ["Text"], [(telling.to_paste(cohort),)])


@admin.register(Cohort)
class CohortAdmin(RoomAdmin[Cohort]):
    list_display = ("__str__", "first_session", "last_session", "capacity", "taken", "cancelled_on")
    search_fields = ("name", "course__name")
    search_help_text = "The name of a cohort or course"
    list_filter = ("course",)
    form = CohortForm
    own_fields = (
        "course", "name", "first_session", "last_session", "days_between", "begins_at", "ends_at", "capacity",
        "minimum_age",
    )  # fmt: skip
    pages = (BookHereStep(), AttendancePage(), CertificatesPage(), SheetStep(), CancelPage())
    section_makers = (
        cancelled_section, to_ring_section, to_paste_section, seated_section, sessions_section, waiting_section,
    )  # fmt: skip
    sections_first = True

    def get_fieldsets(self, request: HttpRequest, obj: Cohort | None = None) -> "_FieldsetSpec":
        """Where families have a place, what they are told if the days change stands below."""
        own: _FieldsetSpec = [(None, {"fields": self.own_fields})]
        count = telling.in_it(obj).values("household").distinct().count() if obj and not obj.cancelled_on else 0
        if not count or not self.has_change_permission(request, obj):
            return own
        families = "1 family has" if count == 1 else f"{count} families have"
        told = f"If its days change: {families} a place or an offer"
        return [*own, (told, {"fields": ("tell_them", "letter")})]

    def get_readonly_fields(self, request: HttpRequest, obj: Cohort | None = None) -> list[str]:
        return ["course"] if obj else []

    def has_change_permission(self, request: HttpRequest, obj: Cohort | None = None) -> bool:
        cancelled = obj is not None and obj.cancelled_on is not None
        return not cancelled and super().has_change_permission(request, obj)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Cohort]:
        return selectors.cohorts_with_seats().order_by("-first_session")

    @admin.display(description="Places taken", ordering="taken")
    def taken(self, cohort: selectors.SeatedCohort) -> int:
        return cohort.taken

    def hold(self, row: Cohort) -> None:
        locked(row.course)

    def save_model(self, request: HttpRequest, obj: Cohort, form: forms.ModelForm[Cohort], change: bool) -> None:
        assert isinstance(form, CohortForm)
        saved = form.save_as(obj, signed_in(request))
        if saved.told:
            self.message_user(request, f"The days have changed. {reached_in_words(saved.told)}")
        if saved.offered:
            count, seats = len(saved.offered), saved.seats
            offered = reached_in_words(letters.of_offers(saved.offered))
            self.message_user(request, f"{count} waiting bookings were offered {seats} seats. {offered}")
        for place in saved.too_young:
            young = checks.too_young(place.person, saved.cohort)
            self.message_user(request, f"{young}. Record a draw check, or ask the family.", messages.WARNING)
