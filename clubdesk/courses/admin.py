"""Screens of the courses room."""

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from django import forms
from django.contrib import admin
from django.db.models import Count, Max, Q
from django.forms import BaseInlineFormSet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text, long_day
from clubdesk.courses import letters, selectors, services, words
from clubdesk.courses.forecast import PRIOR_IN_WORDS
from clubdesk.courses.models import (
    STANDING,
    Booking,
    BookingEvent,
    Certificate,
    Cohort,
    Course,
    Happened,
    Place,
    PlaceState,
    ReachCheck,
    RefundStep,
)
from clubdesk.fees.admin import reason_field
from clubdesk.mail.models import Message
from clubdesk.money import nil, shown
from clubdesk.roll.admin import HouseholdAdmin, PersonAdmin
from clubdesk.roll.models import Household, Person
from clubdesk.screens import (
    Bar,
    DayField,
    DocumentAdmin,
    HappenedField,
    Link,
    PickField,
    PickMany,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    add_page_of,
    link_to,
    page_of,
)

FIRST_OF_A_LIST = 50


def in_room_words(cohort: Any) -> str:
    """How full a cohort is, for a choice: “3 of 14 left”."""
    left = max(cohort.capacity - cohort.taken, 0)
    return f"{left} of {cohort.capacity} left" if left else "full"


class CohortChoices(PickMany):
    def label_from_instance(self, cohort: Any) -> str:
        return f"{cohort}, from {day_text(cohort.first_session)} ({in_room_words(cohort)})"


class CohortChoice(forms.ModelChoiceField):
    def label_from_instance(self, cohort: Any) -> str:
        return f"{cohort}, from {day_text(cohort.first_session)} ({in_room_words(cohort)})"


class AskingForm(VerbForm):
    """Whoever books says which cohorts of one course they can make."""

    cohorts = CohortChoices(
        Cohort.objects.none(),
        label="Cohorts they can make",
        help_text="They get the first with room for all of them. Where none has room they wait, in order of arrival.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["cohorts"].queryset = selectors.cohorts_not_over(clock.today())  # type: ignore[attr-defined]

    def clean_cohorts(self) -> list[Cohort]:
        cohorts = list(self.cleaned_data["cohorts"])
        if len({cohort.course_id for cohort in cohorts}) > 1:
            raise forms.ValidationError("Choose cohorts of one course; book the other course on its own.")
        return cohorts


class BookForm(AskingForm):
    """A parent on the phone: the child from the roll, or a new family in the same form. Eight fields."""

    person = PickField(Person, through=(Place, "person"), label="Who, if already on the roll", required=False)
    guardian = forms.CharField(label="Or a new family: guardian’s name", max_length=100, required=False)
    phone = forms.CharField(label="Guardian’s phone", max_length=30, required=False)
    email = forms.EmailField(
        label="Guardian’s e-mail", required=False, help_text="The confirmation and every offer go there."
    )
    given_name = forms.CharField(label="Child’s given name", max_length=60, required=False)
    family_name = forms.CharField(label="Child’s family name", max_length=60, required=False)
    birth_date = DayField(label="Child’s date of birth", required=False, initial=None)
    field_order = ["person", "guardian", "phone", "email", "given_name", "family_name", "birth_date", "cohorts"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        new = [cleaned.get(name) for name in ("guardian", "given_name", "family_name", "birth_date")]
        if not cleaned.get("person") and not all(new):
            raise forms.ValidationError(
                "Choose somebody from the roll, or write down a new family: guardian, child’s name and date of birth."
            )
        if cleaned.get("person") and any(new):
            raise forms.ValidationError("Choose somebody from the roll, or write down a new family; not both.")
        return cleaned


def told(booking: Booking) -> str:
    """Where the party stands now; and, where no letter can tell it, whom to phone."""
    sentences = words.standing_in_words(booking)
    guardian = letters.who_is_written_to(booking)
    if guardian is None or not guardian.email:
        phone = f" on {guardian.phone}" if guardian and guardian.phone else ""
        sentences.append(f"No letter can go out, since no e-mail address is known: tell them yourself{phone}.")
    return " ".join(sentences)


class AskingPage(VerbPage):
    """Books, and says where the party stands now."""

    permission = "courses.add_place"

    def book(self, people: Sequence[Person], cohorts: Sequence[Cohort], by: Any, key: Any) -> Booking:
        return services.book_party(
            course=cohorts[0].course, people=people, cohorts=cohorts, by=by, on=clock.today(), key=key
        )

    def done(self, result: Booking) -> str:
        return told(result)


class BookPage(AskingPage):
    title = "Book a course place"
    intro = "For several of a family: put them on the roll, then “Book a course together” on the household’s page."
    button = "Book the place"
    form_class = BookForm

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        found = super().initial(request, target)
        if "cohorts" in found:
            found["cohorts"] = [found["cohorts"]]
        return found

    def perform(self, *, target: Any, by: Any, key: Any, cohorts: Any, person: Any, **new: Any) -> Booking:
        if person:
            return self.book([person], cohorts, by, key)
        return services.book_new_family(cohorts=cohorts, by=by, on=clock.today(), key=key, **new)


class PeopleChoices(PickMany):
    def label_from_instance(self, obj: Any) -> str:
        return str(obj.person if isinstance(obj, Place) else obj)


class BookFamilyForm(AskingForm):
    people = PeopleChoices(Person.objects.none(), label="Who does the course together")
    field_order = ["people", "cohorts"]

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["people"].queryset = self.target.people.all()  # type: ignore[attr-defined]


class BookFamilyPage(AskingPage):
    """On a household's page: several of a family who want to stay together."""

    slug = "book-course"
    title = "Book a course together"
    button = "Book the places"
    form_class = BookFamilyForm

    def perform(self, *, target: Household, by: Any, key: Any, people: Any, cohorts: Any) -> Booking:
        return self.book(list(people), cohorts, by, key)


class ReachCheckForm(VerbForm):
    on = HappenedField(label="Checked on")
    checked_by = forms.CharField(label="Who watched the child draw", max_length=100)


class ReachCheckPage(VerbPage):
    slug = "reach-check"
    title = "Record a reach check"
    intro = (
        "Somebody qualified has seen that this child can draw and hold the club’s lightest bow safely. From now on "
        "the minimum age does not hold the child back. Whether to accept younger children is for the club’s rules "
        "and its coaches to say."
    )
    button = "Record the check"
    permission = "courses.add_reachcheck"
    form_class = ReachCheckForm

    def applies(self, target: Person) -> bool:
        return target.age_on(clock.today()) < 18

    def perform(self, *, target: Person, by: Any, on: date, checked_by: str, key: Any) -> ReachCheck:
        return services.record_reach_check(person=target, checked_by=checked_by, on=on, by=by, key=key)

    def done(self, result: ReachCheck) -> str:
        return f"Recorded: {result}."

    def destination(self, result: ReachCheck) -> str:
        return page_of(result.person)


def reach_checks_section(request: HttpRequest, person: Person) -> Section:
    rows = [(check.checked_on, check.checked_by) for check in person.reach_checks.all()]
    return Section("Reach checks", ["Checked", "By"], rows, "None recorded.")


def bookings_section(request: HttpRequest, household: Household) -> Section | None:
    """What the household has booked or waits for."""
    bookings = household.bookings.filter(state__in=STANDING).select_related("course", "household")
    places = Place.objects.filter(booking__in=bookings, state__in=STANDING).select_related("person", "cohort", "course")
    rows = [
        (link_to(place.booking, str(place.person)), str(place.cohort or place.course), place.get_state_display())
        for place in places.select_related("booking")
    ]
    return Section("Courses", ["Who", "Cohort", "Place"], rows) if rows else None


PersonAdmin.pages.append(ReachCheckPage())
PersonAdmin.section_makers.append(reach_checks_section)
HouseholdAdmin.pages.append(BookFamilyPage())
HouseholdAdmin.section_makers.append(bookings_section)


# A booking: what a party can do


def what_came_of_it(booking: Booking) -> str:
    """The last withdrawal in words, and to whom its seat was offered."""
    event = booking.events.filter(kind=Happened.WITHDRAWN).last()
    if event is None:
        return ""
    after = BookingEvent.objects.filter(pk__gt=event.pk, kind=Happened.OFFERED, booking__course=booking.course_id)
    offers = [
        f"{each.booking.household}: {each.words}" for each in after.select_related("booking__household__party")[:3]
    ]
    return " ".join([event.words, *offers])


class LeavingForm(VerbForm):
    places = PeopleChoices(Place.objects.none(), label="Who")
    on = HappenedField(label="On")
    reason = reason_field()

    states: Sequence[PlaceState] = STANDING

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        over = Q(cohort__last_session__lt=clock.today())
        rows = self.target.places.filter(~over, state__in=self.states).select_related("person", "cohort")
        self.fields["places"].queryset = rows  # type: ignore[attr-defined]
        self.fields["places"].initial = list(rows) if len(rows) == 1 else []


class BookingPage(VerbPage):
    """What is common to the pages of a booking: the facts."""

    permission = "courses.change_place"

    def facts(self, target: Booking) -> list[tuple[str, Any]]:
        return [("Now", " ".join(words.standing_in_words(target)))]

    def done(self, result: Booking) -> str:
        return told(result)


class WithdrawPage(BookingPage):
    slug = "withdraw"
    title = "Withdraw"
    intro = "The fee is credited by the course’s refund rule, and the seat is offered to the next party that fits."
    button = "Withdraw"
    form_class = LeavingForm

    def applies(self, target: Booking) -> bool:
        return any(selectors.can_leave(place, clock.today()) for place in selectors.places_of(target))

    def facts(self, target: Booking) -> list[tuple[str, Any]]:
        today = clock.today()
        kept = [
            (f"If {place.person} withdraws today", words.money_in_words(taken))
            for place in selectors.places_of(target)
            if place.state == PlaceState.HELD and (taken := selectors.if_withdrawn(place, today))
        ]
        return [*super().facts(target), *kept]

    def perform(self, *, target: Booking, by: Any, key: Any, **cleaned: Any) -> Booking:
        return services.withdraw(booking=target, by=by, **cleaned)

    def done(self, result: Booking) -> str:
        return f"{what_came_of_it(result)} {told(result)}"


class TransferForm(LeavingForm):
    states = (PlaceState.HELD,)
    cohort = CohortChoice(Cohort.objects.none(), label="To")
    field_order = ["places", "cohort", "on", "reason"]

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        rows = selectors.cohorts_not_over(clock.today()).filter(course=self.target.course)
        self.fields["cohort"].queryset = rows  # type: ignore[attr-defined]


class TransferPage(BookingPage):
    slug = "transfer"
    title = "Transfer to another cohort"
    intro = "The money goes with them: the fee becomes income when the new cohort starts."
    button = "Transfer"
    form_class = TransferForm

    def applies(self, target: Booking) -> bool:
        places = selectors.places_of(target)
        return any(each.state == PlaceState.HELD and selectors.can_leave(each, clock.today()) for each in places)

    def perform(self, *, target: Booking, by: Any, key: Any, **cleaned: Any) -> Booking:
        return services.transfer(booking=target, by=by, **cleaned)


class AcceptForm(VerbForm):
    on = HappenedField(label="Accepted on")


class AcceptPage(BookingPage):
    slug = "accept"
    title = "Accept the offer"
    intro = "The family says yes: the fee is charged."
    button = "Accept the offer"
    form_class = AcceptForm

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.OFFERED

    def perform(self, *, target: Booking, by: Any, on: date, key: Any) -> Booking:
        return services.accept_offer(booking=target, on=on, by=by)


class CohortsForm(VerbForm):
    cannot_make = CohortChoices(Cohort.objects.none(), label="Cannot make", required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["cannot_make"]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = selectors.cohorts_to_come(self.target.course, clock.today())
        field.initial = list(self.target.cannot_make.all())


class CohortsPage(BookingPage):
    slug = "cohorts"
    title = "Change which cohorts they can make"
    button = "Save"
    form_class = CohortsForm

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.WAITING

    def perform(self, *, target: Booking, by: Any, cannot_make: Any, key: Any) -> Booking:
        return services.change_cohorts(booking=target, cannot_make=list(cannot_make), on=clock.today(), by=by)


class MoveForm(VerbForm):
    before = PickField(
        Booking,
        through=(BookingEvent, "booking"),
        label="In front of",
        required=False,
        help_text="Find a waiting family by name.",
    )
    last = forms.BooleanField(label="Or to the end of the waitlist", required=False)
    reason = reason_field()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if bool(cleaned.get("before")) == bool(cleaned.get("last")):
            raise forms.ValidationError("Choose whom to stand in front of, or the end of the waitlist.")
        return cleaned


class MovePage(BookingPage):
    slug = "move"
    title = "Change the order"
    intro = "First come, first served: change the order only for a good reason. It is kept, with your name."
    button = "Move"
    form_class = MoveForm

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.WAITING

    def perform(self, *, target: Booking, by: Any, before: Any, last: bool, reason: str, key: Any) -> Booking:
        return services.move_in_queue(booking=target, before=before, reason=reason, on=clock.today(), by=by)


def owes_by_a_day(booking: Booking) -> bool:
    """Whether the party has places that lapse if they are not paid."""
    return booking.pay_by is not None and any(selectors.still_owed(selectors.places_of(booking)).values())


class MoreTimeForm(VerbForm):
    pay_by = DayField(label="May pay until")
    reason = reason_field()


class MoreTimePage(BookingPage):
    slug = "more-time"
    title = "Give more time to pay"
    button = "Give more time"
    form_class = MoreTimeForm

    def applies(self, target: Booking) -> bool:
        return owes_by_a_day(target)

    def perform(self, *, target: Booking, by: Any, pay_by: date, reason: str, key: Any) -> Booking:
        return services.give_more_time(booking=target, pay_by=pay_by, reason=reason, on=clock.today(), by=by)


class PhonedForm(VerbForm):
    on = HappenedField(label="Phoned on")


class PhonedPage(BookingPage):
    slug = "phoned"
    title = "Reminded by phone"
    intro = "You have told the family that the fee is not paid. The place lapses after the course’s days from then."
    button = "They were reminded"
    form_class = PhonedForm

    def applies(self, target: Booking) -> bool:
        return owes_by_a_day(target)

    def perform(self, *, target: Booking, by: Any, on: date, key: Any) -> Booking:
        return services.remind_by_phone(booking=target, on=on, by=by)


class PaymentStep(VerbPage):
    slug = "payment"
    routed = False
    title = "Record their payment"
    permission = "fees.add_receipt"

    def applies(self, target: Booking) -> bool:
        return any(selectors.still_owed(selectors.places_of(target)).values())

    def url(self, target: Any) -> str:
        return reverse("admin:roll_household_receipt", args=[target.household_id])


def party_section(request: HttpRequest, booking: Booking) -> Section:
    places = selectors.places_of(booking)
    owed = selectors.still_owed(places)
    today = clock.today()
    rows = [
        (
            link_to(place.person),
            place.person.age_on(place.cohort.first_session if place.cohort else today),
            link_to(place.cohort, place.cohort.name) if place.cohort else "",
            place.get_state_display(),
            paid_in_words(place, owed),
        )
        for place in places
    ]
    return Section("The party", ["Who", "Age then", "Cohort", "Place", "Fee"], rows)


def paid_in_words(place: Place, owed: dict[int, Any]) -> str:
    if place.charge_id is None:
        return ""
    if place.state not in STANDING:
        return f"owes {shown(owed[place.pk])}" if owed.get(place.pk) else "nothing owed"
    return f"owes {shown(owed[place.pk])}" if owed.get(place.pk) else "paid"


def wait_section(request: HttpRequest, booking: Booking) -> Section | None:
    if booking.state != PlaceState.WAITING:
        return None
    waits = selectors.wait_estimates(booking.course, clock.today())
    title = f"Number {selectors.position(booking)} on the waitlist, {waits.in_words(booking.pk)}"
    return Section(title, ["Cohort", "Chance of a place"], waits.table(booking.pk), "No cohort is set up yet.")


def history_section(request: HttpRequest, booking: Booking) -> Section:
    events = booking.events.select_related("recorded_by")
    rows = [(event.on, event.words, event.by_whom) for event in events]
    return Section("History", ["Day", "What happened", "By"], rows)


def letters_section(request: HttpRequest, booking: Booking) -> Section:
    events = [f"booking event {pk}" for pk in booking.events.values_list("pk", flat=True)]
    letters = Message.objects.filter(about__in=events).order_by("pk")
    rows = [
        (each.written_at.date(), link_to(each, each.subject), each.to, each.get_state_display()) for each in letters
    ]
    return Section("Letters", ["Day", "Letter", "To", "Now"], rows)


@admin.register(Booking)
class BookingAdmin(DocumentAdmin):
    list_display = ["household", "people", "state", "seats", "course", "booked_on"]
    list_select_related = ["household", "course"]
    list_filter = ["state", "course"]
    search_fields = ["household__name", "guardian__name", "places__person__given_name", "places__person__family_name"]
    search_help_text = "A family, guardian or child"
    fields = ["household", "guardian", "course", "booked_on", "number", "state", "offer_lapses_on", "pay_by",
              "reminded_on", "cohorts_not_made"]  # fmt: skip
    readonly_fields = fields
    sections_first = True
    add_page = BookPage()
    pages = [
        AcceptPage(),
        PaymentStep(),
        WithdrawPage(),
        TransferPage(),
        CohortsPage(),
        MovePage(),
        MoreTimePage(),
        PhonedPage(),
    ]
    section_makers = [party_section, wait_section, history_section, letters_section]

    def get_ordering(self, request: HttpRequest) -> list[str]:
        """A waitlist in its own order, all else the newest first."""
        return ["course", "rank"] if request.GET.get("state__exact") == PlaceState.WAITING else ["-pk"]

    def get_queryset(self, request: HttpRequest) -> Any:
        return super().get_queryset(request).prefetch_related("places__person")

    @admin.display(description="Who")
    def people(self, booking: Booking) -> str:
        return selectors.names(place.person for place in booking.places.all())

    @admin.display(description="Cannot make")
    def cohorts_not_made(self, booking: Booking) -> str:
        return ", ".join(cohort.name for cohort in booking.cannot_make.all()) or "–"

    def get_search_results(self, request: HttpRequest, queryset: Any, search_term: str) -> Any:
        """To choose whom to move in front of, only who waits is found."""
        found, duplicates = super().get_search_results(request, queryset, search_term)
        if "autocomplete" in request.path:
            found = found.filter(state=PlaceState.WAITING)
        return found, duplicates


class PlaceWithdrawForm(VerbForm):
    on = HappenedField(label="Withdrawn on")
    reason = reason_field()


class PlaceWithdrawPage(VerbPage):
    slug = "withdraw"
    title = "Withdraw this place"
    intro = "The fee is credited by the course’s refund rule, and the seat is offered to the next party that fits."
    button = "Withdraw the place"
    permission = "courses.change_place"
    form_class = PlaceWithdrawForm

    def applies(self, target: Place) -> bool:
        return selectors.can_leave(target, clock.today())

    def facts(self, target: Place) -> list[tuple[str, Any]]:
        facts: list[tuple[str, Any]] = [("Who", target.person), ("Now", target.get_state_display())]
        if target.state == PlaceState.HELD and (taken := selectors.if_withdrawn(target, clock.today())):
            facts.append(("If withdrawn today", words.money_in_words(taken)))
        return facts

    def perform(self, *, target: Place, by: Any, on: Any, reason: str, key: Any) -> Place:
        return services.withdraw_place(place=target, on=on, reason=reason, by=by)

    def done(self, result: Place) -> str:
        return what_came_of_it(result.booking)


class MembershipStep(VerbPage):
    """The step from the course into the club."""

    slug = "join"
    routed = False
    title = "Take out a membership"
    permission = "membership.add_membership"

    def applies(self, target: Place) -> bool:
        return target.state == PlaceState.HELD

    def url(self, target: Any) -> str:
        return f"{reverse('admin:membership_membership_add')}?person={target.person_id}"


class CertificateStep(VerbPage):
    slug = "certificate"
    routed = False
    title = "Certificate (PDF)"
    permission = "courses.view_certificate"

    def applies(self, target: Place) -> bool:
        return hasattr(target, "certificate")

    def url(self, target: Any) -> str:
        return reverse("admin:course_certificate", args=[target.certificate.pk])


def attendance_section(request: HttpRequest, place: Place) -> Section:
    rows = [(each.held_on,) for each in place.attendances.all()]
    return Section("Came to", ["Session"], rows, "No session yet.")


@admin.register(Place)
class PlaceAdmin(DocumentAdmin):
    list_display = ["person", "cohort", "state", "booking"]
    list_select_related = ["person", "cohort__course", "booking__household", "booking__course", "course"]
    list_filter = ["state", ("cohort", admin.RelatedOnlyFieldListFilter)]
    search_fields = ["person__given_name", "person__family_name"]
    search_help_text = "A name"
    fields = ["person", "course", "cohort", "state", "ended_on", "booking", "charge"]
    readonly_fields = fields
    pages = [PlaceWithdrawPage(), CertificateStep(), MembershipStep()]
    section_makers = [attendance_section]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


class CertificatePdfStep(VerbPage):
    slug = "pdf"
    routed = False
    title = "Certificate (PDF)"
    permission = "courses.view_certificate"

    def url(self, target: Any) -> str:
        return reverse("admin:course_certificate", args=[target.pk])


@admin.register(Certificate)
class CertificateAdmin(DocumentAdmin):
    list_display = ["shown_number", "person", "completed_on"]
    list_select_related = ["place__person"]
    search_fields = ["number", "place__person__given_name", "place__person__family_name"]
    search_help_text = "A number without spaces, or a name"
    fields = ["shown_number", "person", "completed_on"]
    readonly_fields = fields

    pages = [CertificatePdfStep()]

    @admin.display(description="Number")
    def shown_number(self, certificate: Certificate) -> str:
        return certificate.shown_number

    @admin.display(description="Who")
    def person(self, certificate: Certificate) -> str:
        return str(certificate.place.person)


# A cohort: who is in it, and what to do next


def cancelled_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Where a cohort was cancelled: when, why, and where each of its parties stands now."""
    if cohort.cancelled_on is None:
        return None
    told = BookingEvent.objects.filter(cohort=cohort, kind=Happened.RETURNED).select_related(
        "booking__household__party"
    )
    rows = [(link_to(each.booking, str(each.booking.household)), each.booking.get_state_display()) for each in told]
    title = f"Cancelled on {day_text(cohort.cancelled_on)}: {cohort.cancel_reason}"
    return Section(title, ["Party", "Now"], rows, "Nobody was in it.")


def seated_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Who is in and who is offered, with age, what is to pay and what to do next."""
    if cohort.cancelled_on:
        return None
    places = list(
        cohort.places.filter(state__in=(PlaceState.HELD, PlaceState.OFFERED))
        .select_related("person", "cohort__course", "booking__guardian", "booking__household", "certificate")
        .order_by("booking__rank", "pk")
    )
    owed = selectors.still_owed(places)
    came = selectors.sessions_come_to(cohort)
    held = [place for place in places if place.state == PlaceState.HELD]
    begun = cohort.first_session <= clock.today()
    rows = []
    for place in places:
        row: list[Any] = [link_to(place, str(place.person)), next_step(place, cohort, owed), paid_in_words(place, owed)]
        row += [place.person.age_on(cohort.first_session), state_in_words(place)]
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


def next_step(place: Place, cohort: Cohort, owed: dict[int, Any]) -> Link | str:
    """What to do next about a place, a click away."""
    booking = place.booking
    if place.state == PlaceState.OFFERED:
        return Link("They say yes", reverse("admin:courses_booking_accept", args=[booking.pk]))
    if owed.get(place.pk):
        return Link("Record their payment", reverse("admin:roll_household_receipt", args=[booking.household_id]))
    if hasattr(place, "certificate"):
        return Link("Certificate", reverse("admin:course_certificate", args=[place.certificate.pk]))
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
    first = list(
        waiting.select_related("household", "course").prefetch_related("cannot_make", "places__person")[
            :FIRST_OF_A_LIST
        ]
    )
    waits = selectors.wait_estimates(course, clock.today())
    young = set(selectors.waiting_places_too_young_for(cohort).values_list("booking", flat=True)) if cohort else set()
    rows = []
    for index, booking in enumerate(first, 1):
        people = [place.person for place in booking.places.all() if place.state == PlaceState.WAITING]
        row: list[Any] = [index, link_to(booking, f"{selectors.names(people)}, {booking.household}"), booking.seats]
        row += [booking.booked_on, waits.likely(booking.pk)]
        if cohort:
            cannot = "cannot make it" if cohort in booking.cannot_make.all() else ""
            row.append(cannot or ("too young without a reach check" if booking.pk in young else "yes"))
        rows.append(row)
    more = f", the first {FIRST_OF_A_LIST} shown" if count > len(first) else ""
    title = f"{count} {'party waits' if count == 1 else 'parties wait'} for {course}{more}"
    columns = ["", "Party", "Places", "Since", "Most likely"] + (["Age and dates fit"] if cohort else [])
    return Section(title, columns, rows, "Nobody waits.", note=PRIOR_IN_WORDS if rows else "")


class BookHerePage(VerbPage):
    """The button on a cohort's page: the same form, with the cohort chosen."""

    slug = "book"
    routed = False
    title = "Book a place here"
    permission = "courses.add_place"

    def applies(self, target: Cohort) -> bool:
        return target.last_session >= clock.today() and target.cancelled_on is None

    def url(self, target: Any) -> str:
        return f"{add_page_of(Booking)}?cohorts={target.pk}"


class AttendanceForm(VerbForm):
    session = forms.DateField(widget=forms.HiddenInput)
    present = PeopleChoices(Place.objects.none(), label="Who came", required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        held = self.target.places.filter(state=PlaceState.HELD).select_related("person").order_by("person__given_name")
        field = self.fields["present"]
        field.queryset = held  # type: ignore[attr-defined]
        day = self.initial.get("session") or self.data.get("session")
        field.label = f"Who came on {long_day(day, weekday=True)}" if isinstance(day, date) else field.label


class AttendancePage(VerbPage):
    """One session's list; the cohort's page has a link to each session."""

    slug = "attendance"
    title = "Who came"
    button = "Save who came"
    permission = "courses.change_place"
    form_class = AttendanceForm

    def applies(self, target: Cohort) -> bool:
        return target.first_session <= clock.today() and target.cancelled_on is None

    def initial(self, request: HttpRequest, target: Cohort) -> dict[str, Any]:
        """The session asked for, or the latest that has begun, with who is marked as present already."""
        asked = session_asked(target, request.GET.get("session", ""))
        there = Place.objects.filter(cohort=target, attendances__held_on=asked)
        return {"session": asked, "present": list(there)}

    def perform(self, *, target: Cohort, by: Any, session: date, present: Any, key: Any) -> Cohort:
        came = services.record_attendance(cohort=target, session=session, present=list(present), by=by)
        target.said = f"{long_day(session, weekday=True)}: {len(came)} came."  # type: ignore[attr-defined]
        return target

    def done(self, result: Any) -> str:
        return f"Saved for {result.said}"


def session_asked(cohort: Cohort, text: str) -> date:
    begun = [day for day in cohort.sessions if day <= clock.today()] or cohort.sessions[:1]
    return next((day for day in cohort.sessions if day.isoformat() == text), begun[-1])


def sessions_section(request: HttpRequest, cohort: Cohort) -> Section | None:
    """Each session that has begun, with how many came and the way to its list."""
    if not AttendancePage().applies(cohort):
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


class CertificatesPage(VerbPage):
    slug = "certificates"
    title = "Issue certificates"
    button = "Issue the certificates"
    permission = "courses.change_place"
    form_class = VerbForm

    def applies(self, target: Cohort) -> bool:
        return target.first_session <= clock.today() and target.cancelled_on is None

    def facts(self, target: Cohort) -> list[tuple[str, Any]]:
        needed = target.course.sessions_to_complete
        came = selectors.sessions_come_to(target)
        done = sum(count >= needed for count in came.values())
        return [("The course asks for", f"{needed} sessions"), ("Have come so often", f"{done} of {len(came)}")]

    def perform(self, *, target: Cohort, by: Any, key: Any) -> Cohort:
        target.issued = len(services.issue_certificates(cohort=target, by=by))  # type: ignore[attr-defined]
        return target

    def done(self, result: Any) -> str:
        if not result.issued:
            return "No new certificate: nobody else has come often enough yet."
        return f"{result.issued} new certificates; each stands beside its name."


class SheetStep(VerbPage):
    slug = "sheet"
    routed = False
    title = "Sheet to print"
    permission = "courses.view_cohort"

    def url(self, target: Any) -> str:
        return reverse("admin:course_sheet", args=[target.pk])


class CancelForm(VerbForm):
    on = HappenedField(label="Cancelled on")
    reason = reason_field()


class CancelPage(VerbPage):
    slug = "cancel"
    title = "Cancel this cohort"
    intro = "Every fee is credited in full, and each party is offered the next cohort with room, in order of arrival."
    button = "Cancel the cohort"
    permission = "courses.change_cohort"
    form_class = CancelForm

    def applies(self, target: Cohort) -> bool:
        return target.cancelled_on is None and target.last_session >= clock.today()

    def facts(self, target: Cohort) -> list[tuple[str, Any]]:
        places = list(target.places.filter(state=PlaceState.HELD).select_related("charge"))
        fees = sum((place.charge.amount for place in places if place.charge), nil())
        return [("Places held", len(places)), ("Fees to be credited", fees)]

    def perform(self, *, target: Cohort, by: Any, on: date, reason: str, key: Any) -> Cohort:
        return services.cancel_cohort(cohort=target, on=on, reason=reason, by=by)

    def done(self, result: Cohort) -> str:
        return f"{result} is cancelled; every family has a letter."


@admin.register(Cohort)
class CohortAdmin(RoomAdmin):
    list_display = ["__str__", "first_session", "last_session", "capacity", "taken", "cancelled_on"]
    search_fields = ["name", "course__name"]
    list_filter = ["course"]
    fields = ["course", "name", "first_session", "last_session", "days_between", "capacity", "minimum_age"]
    pages = [BookHerePage(), AttendancePage(), CertificatesPage(), SheetStep(), CancelPage()]
    section_makers = [cancelled_section, seated_section, sessions_section, waiting_section]
    sections_first = True

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return ["course"] if obj else []

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        cancelled = obj is not None and obj.cancelled_on is not None
        return not cancelled and super().has_change_permission(request, obj)

    def get_queryset(self, request: HttpRequest) -> Any:
        return selectors.cohorts_with_seats().order_by("-first_session")

    @admin.display(description="Seats taken", ordering="taken")
    def taken(self, cohort: Any) -> int:
        return cohort.taken

    def save_model(self, request: HttpRequest, obj: Cohort, form: Any, change: bool) -> None:
        last = BookingEvent.objects.aggregate(last=Max("pk"))["last"] or 0
        services.save_cohort(cohort=obj, on=clock.today(), by=request.user)  # type: ignore[arg-type]
        offers = BookingEvent.objects.filter(pk__gt=last, kind=Happened.OFFERED)
        if offers:
            seats = sum(offer.seats for offer in offers)
            self.message_user(request, f"{len(offers)} waiting parties were offered {seats} seats, and have a letter.")


class RefundSteps(BaseInlineFormSet):
    """Who leaves later never gets more back."""

    def clean(self) -> None:
        super().clean()
        kept = [form.cleaned_data for form in self.forms if form.cleaned_data and not form.cleaned_data.get("DELETE")]
        steps = sorted(
            (each["days_before"], each["percent"]) for each in kept if "days_before" in each and "percent" in each
        )
        if len({days for days, _ in steps}) < len(steps):
            raise forms.ValidationError("The same number of days stands there twice.")
        if any(later[1] < earlier[1] for earlier, later in pairwise(steps)):
            raise forms.ValidationError("Who withdraws later would get more back than who withdraws earlier.")


class RefundStepInline(admin.StackedInline):
    model = RefundStep
    formset = RefundSteps
    extra = 0
    fields = [("days_before", "percent")]
    verbose_name_plural = "What is given back to who withdraws (none: all of it)"


def figures_section(request: HttpRequest, course: Course) -> Section:
    """Each cohort in figures, with bars for the share of seats filled and of people who completed it."""
    rows = [
        (
            link_to(each.cohort, each.cohort.name),
            each.cohort.capacity,
            Bar(each.held, each.cohort.capacity),
            *(
                Bar(part, each.held) if each.cohort.last_session + timedelta(days=days) < clock.today() else "–"
                for part, days in ((each.completed, 0), (each.members_after_30, 30), (each.members_after_90, 90))
            ),
            each.fees,
        )
        for each in selectors.course_figures(course, clock.today())
    ]
    columns = ["Cohort", "Seats", "Filled", "Completed", "Members after 30 days", "After 90 days", "Fees"]
    return Section("In figures", columns, rows, "No cohort yet.")


def course_queue_section(request: HttpRequest, course: Course) -> Section:
    return queue_section(course)


def rule_section(request: HttpRequest, course: Course) -> Section:
    rows = [(sentence,) for sentence in words.rules_in_words(course)]
    return Section("Its rules, as families read them", ["For places taken from now on"], rows)


@admin.register(Course)
class CourseAdmin(RoomAdmin):
    list_display = ["name", "fee_item", "adult_fee_item", "minimum_age", "offer_days", "on_parents_page"]
    list_select_related = ["fee_item", "adult_fee_item"]
    fieldsets = [
        (None, {"fields": ["name", "fee_item", "adult_fee_item", "minimum_age", "sessions_to_complete"]}),
        ("Offers and payment", {"fields": ["offer_days", "pay_days", "reminder_days"]}),
        ("The parents’ page", {"fields": ["on_parents_page", "consent_text"]}),
    ]
    inlines = [RefundStepInline]
    section_makers = [course_queue_section, figures_section, rule_section]
    sections_first = True
