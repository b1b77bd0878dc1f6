"""Screens of a booking: the phone call that makes one, and what a party can do."""

from collections.abc import Sequence
from decimal import Decimal

from django import forms
from django.contrib import admin
from django.db import models
from django.db.models import Prefetch, Q, QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString

from clubdesk import clock
from clubdesk.courses import checks, selectors, services, words
from clubdesk.courses.admin.asking import (
    BooksPage,
    CohortChoice,
    CohortChoices,
    OneCourse,
    PeopleChoices,
    told,
    with_fees,
)
from clubdesk.courses.forms import AskingForm, BirthDayField, Who, WhoRow
from clubdesk.courses.models import (
    MOST_IN_A_PARTY,
    STANDING,
    Booking,
    BookingEvent,
    Cohort,
    Happened,
    Place,
    PlaceState,
)
from clubdesk.fees.promises import charged_by
from clubdesk.mail.models import Message
from clubdesk.money import shown
from clubdesk.roll.finding import of_family
from clubdesk.roll.known import SOMEBODY_ELSE, born_as, page_of_family, pointed_out
from clubdesk.roll.models import Person
from clubdesk.roll.selectors import reached_by
from clubdesk.screens.fields import (
    Cleaned,
    DayField,
    HappenedField,
    PickField,
    VerbForm,
    choose_from,
    day_form,
    form_of,
    reason_field,
)
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.rows import rows_of
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage


class WhoByPhone(WhoRow):
    """The same, or somebody of the roll."""

    person = PickField(Person, through=(Place, "person"), label="On the roll already", required=False)
    given_name = forms.CharField(label="Or given name", max_length=60, required=False)
    family_name = forms.CharField(label="Family name", max_length=60, required=False)
    birth_date = BirthDayField(label="Date of birth", required=False, initial=None)
    field_order = ["person", "given_name", "family_name", "birth_date"]

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        typed = [bool(cleaned.get(name)) for name in ("given_name", "birth_date")]
        if cleaned.get("person") and any(typed):
            raise forms.ValidationError("Choose somebody from the roll, or write down somebody new; not both.")
        if not cleaned.get("person") and self.has_changed() and not (all(typed) and cleaned.get("family_name")):
            raise forms.ValidationError("Choose somebody from the roll, or write names and date of birth.")
        return cleaned


class BookForm(OneCourse, AskingForm[None]):
    """A parent on the phone: the same form as on the parents' page, with whoever is on the roll already."""

    rows_class = rows_of(WhoByPhone, Who, most=MOST_IN_A_PARTY, least=1)
    gives = ("people", "is_new")
    rows_first = True
    cohorts = CohortChoices(
        Cohort.objects.none(), label=AskingForm.base_fields["cohorts"].label,
        help_text=AskingForm.base_fields["cohorts"].help_text,
        error_messages={"required": "Tick at least one, so that it is known when they can come."},
    )  # fmt: skip
    field_order = ["guardian", "phone", "email", "cohorts"]

    def prepare(self) -> None:
        super().prepare()
        for name in ("guardian", "phone", "email"):
            self.fields[name].required = False
        self.fields["guardian"].help_text = "Of a family that is new; blank where somebody is on the roll already."
        with_fees(self, selectors.cohorts_not_over(clock.today()))
        if self.data.get(SOMEBODY_ELSE):
            self.fields[SOMEBODY_ELSE] = forms.CharField(widget=forms.HiddenInput)  # ticked before it was looked at

    def asked(self, row: Cleaned) -> object:
        return row.get("person") or super().asked(row)

    def clean(self) -> Cleaned:
        cleaned = super().clean()
        cleaned.pop(SOMEBODY_ELSE, None)
        people = cleaned.get("people") or []
        new = [each for each in people if isinstance(each, services.Named)]
        if new and len(new) == len(people) and not cleaned.get("guardian") and "guardian" not in self.errors:
            self.add_error("guardian", "Write down the guardian of the new family.")
        if new and not self.errors and (said := self._who_is_known(new, cleaned)):
            self.fields.pop(SOMEBODY_ELSE, None)
            raise forms.ValidationError(said)
        return {**cleaned, "is_new": bool(new)}

    def _who_is_known(self, new: Sequence[services.Named], cleaned: Cleaned) -> SafeString | None:
        """Those named or the guardian where the roll knows them, unless somebody ticked that they are others.

        Whoever presses twice is known since the first press.
        """
        if "key" in cleaned and Booking.objects.filter(key=cleaned["key"]).exists():
            return None
        children = born_as([(each.given_name, each.family_name, each.birth_date) for each in new])
        guardians = reached_by(cleaned.get("email") or "", cleaned.get("phone") or "")
        chosen = "".join(f"&cohorts={cohort.pk}" for cohort in cleaned.get("cohorts") or [])
        return pointed_out(
            [*children, *guardians],
            self.data,
            use=lambda each: f"?person={each.pk}{chosen}" if isinstance(each, Person) else page_of_family(each),
        )


class BookPage(BooksPage[None]):
    verb = services.book_by_phone
    intro = "A row for each child or adult of one family. You see what it comes to before anything is booked."
    button = "Book the places"
    form_class = BookForm

    def initial(self, request: HttpRequest, target: None) -> dict[str, object]:
        found = super().initial(request, target)
        if "cohorts" in found:
            found["cohorts"] = request.GET.getlist("cohorts")
        if "person" in request.GET:
            found["people"] = [{"person": request.GET["person"]}]
        return found


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


class LeavingForm(VerbForm[Booking]):
    places = PeopleChoices(Place.objects.none(), label="Who")
    on = HappenedField(label="On")
    reason = reason_field()

    states: Sequence[PlaceState] = STANDING

    def prepare(self) -> None:
        over = Q(cohort__last_session__lt=clock.today())
        places = self.target.places.filter(~over, state__in=self.states).select_related("person", "cohort")
        rows = choose_from(self, "places", places)
        self.fields["places"].initial = list(rows) if len(rows) == 1 else []


class BookingPage(VerbPage[Booking, Booking]):
    """What is common to the pages of a booking: the facts."""

    target = "booking"

    def facts(self, target: Booking) -> Facts:
        return [("Now", " ".join(words.standing_in_words(target)))]

    def done(self, target: Booking, result: Booking) -> str:
        return told(result)


class WithdrawPage(BookingPage):
    slug = "withdraw"
    verb = services.withdraw
    intro = (
        "The fee is credited by the course’s refund rule, and the place is offered to the next booking that fits. Tick "
        "only who leaves: the others keep their places, or their turn."
    )
    button = "Withdraw"
    form_class = LeavingForm

    def applies(self, target: Booking) -> bool:
        return any(selectors.can_leave(place, clock.today()) for place in selectors.places_of(target))

    def facts(self, target: Booking) -> Facts:
        today = clock.today()
        kept = [
            (f"If {place.person} withdraws today", words.money_in_words(taken))
            for place in selectors.places_of(target)
            if place.state == PlaceState.HELD and (taken := selectors.if_withdrawn(place, today))
        ]
        return [*super().facts(target), *kept]

    def done(self, target: Booking, result: Booking) -> str:
        return f"{what_came_of_it(result)} {told(result)}"


class TransferForm(LeavingForm):
    states = (PlaceState.HELD,)
    cohort = CohortChoice(Cohort.objects.none(), label="To")
    field_order = ["places", "cohort", "on", "reason"]

    def prepare(self) -> None:
        super().prepare()
        choose_from(self, "cohort", selectors.cohorts_not_over(clock.today()).filter(course=self.target.course))


class TransferPage(BookingPage):
    slug = "transfer"
    verb = services.transfer
    intro = "The money goes with them: the fee becomes income when the new cohort starts."
    button = "Transfer"
    form_class = TransferForm

    def applies(self, target: Booking) -> bool:
        places = selectors.places_of(target)
        return any(each.state == PlaceState.HELD and selectors.can_leave(each, clock.today()) for each in places)


class AcceptPage(BookingPage):
    slug = "accept"
    verb = services.accept_offer
    intro = "The family says yes: the fee is charged."
    button = "Accept the offer"
    form_class = day_form("Accepted on")

    def promises(self, target: Booking) -> Facts:
        return self.foretold(target, lambda did: [("Fee to be charged", charged_by(did))])

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.OFFERED


class AddPersonForm(VerbForm[Booking]):
    person = forms.ModelChoiceField(Person.objects.none(), label="Who waits with them")

    def prepare(self) -> None:
        choose_from(self, "person", selectors.who_could_join(self.target, clock.today()))


class AddPersonPage(BookingPage):
    slug = "add-person"
    verb = services.add_to_group
    intro = (
        "One of the same family. The group keeps its turn, and is offered places once there is room for all of them."
    )
    button = "Add to the group"
    form_class = AddPersonForm

    def applies(self, target: Booking) -> bool:
        waits = target.state == PlaceState.WAITING and target.seats < MOST_IN_A_PARTY
        return waits and selectors.who_could_join(target, clock.today()).exists()

    def done(self, target: Booking, result: Booking) -> str:
        waits = selectors.wait_estimates(result.course, clock.today())
        return f"{told(result)} The wait: {waits.in_words(result.pk)}."


class CohortsForm(VerbForm[Booking]):
    cannot_make = CohortChoices(Cohort.objects.none(), label="Cannot make", required=False)

    def prepare(self) -> None:
        choose_from(self, "cannot_make", selectors.cohorts_to_come(self.target.course, clock.today()))
        self.fields["cannot_make"].initial = list(self.target.cannot_make.all())


class CohortsPage(BookingPage):
    slug = "cohorts"
    verb = services.change_cohorts
    form_class = CohortsForm

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.WAITING


ASKS_FOR_WHO_WAITS: tuple[type[models.Model], str] = (BookingEvent, "booking")
"""Through which foreign key the finder asks for a party to stand in front of."""


class MoveForm(VerbForm[Booking]):
    before = PickField(
        Booking,
        through=ASKS_FOR_WHO_WAITS,
        label="In front of",
        required=False,
        help_text="Find a waiting family by name.",
    )
    last = forms.BooleanField(label="Or to the end of the waitlist", required=False)
    reason = reason_field()

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if bool(cleaned.get("before")) == bool(cleaned.get("last")):
            raise forms.ValidationError("Choose whom to stand in front of, or the end of the waitlist.")
        return cleaned


class ApartPage(BookingPage):
    slug = "apart"
    verb = services.book_apart
    intro = "Each is offered a place alone, in the turn of the group. They may come to different cohorts."
    button = "Book them apart"

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.WAITING and target.seats > 1

    def facts(self, target: Booking) -> Facts:
        said = words.apart_in_words(target)
        return [*super().facts(target), *([("Would it be quicker?", said)] if said else [])]


class MovePage(BookingPage):
    slug = "move"
    verb = services.move_in_queue
    intro = "First come, first served: change the order only for a good reason. It is kept, with your name."
    button = "Move"
    form_class = MoveForm
    asks_only = ("last",)

    def applies(self, target: Booking) -> bool:
        return target.state == PlaceState.WAITING


def owes_by_a_day(booking: Booking) -> bool:
    """Whether the party has places that lapse if they are not paid."""
    return booking.pay_by is not None and any(selectors.still_owed(selectors.places_of(booking)).values())


class MoreTimePage(BookingPage):
    slug = "more-time"
    verb = services.give_more_time
    button = "Give more time"
    form_class = form_of(pay_by=DayField(label="May pay until"), reason=reason_field())

    def applies(self, target: Booking) -> bool:
        return owes_by_a_day(target)


class PhonedPage(BookingPage):
    slug = "phoned"
    verb = services.remind_by_phone
    intro = "You have told the family that the fee is not paid. The place lapses after the course’s days from then."
    button = "They were reminded"
    form_class = day_form("Phoned on")

    def applies(self, target: Booking) -> bool:
        return owes_by_a_day(target)


class PaymentStep(LinkPage[Booking]):
    title = "Record their payment"
    permission = "fees.add_receipt"

    def applies(self, target: Booking) -> bool:
        return any(selectors.still_owed(selectors.places_of(target)).values())

    def url(self, target: Booking) -> str:
        return reverse("admin:roll_household_receipt", args=[target.household_id])


def party_section(request: HttpRequest, booking: Booking) -> Section:
    places = selectors.places_of(booking)
    owed = selectors.still_owed(places)
    today = clock.today()
    watched = {person.pk for person in checks.watched_of(booking, today)}
    rows = [
        (
            link_to(place.person),
            place.person.age_on(place.cohort.first_session if place.cohort else today),
            link_to(place.cohort, place.cohort.name) if place.cohort else "",
            f"{place.get_state_display()}{', draw check to do' if place.person_id in watched else ''}",
            paid_in_words(place, owed),
        )
        for place in places
    ]
    return Section("The booking", ["Who", "Age then", "Cohort", "Place", "Fee"], rows)


def paid_in_words(place: Place, owed: dict[int, Decimal]) -> str:
    if place.charge_id is None:
        return ""
    if owed.get(place.pk):
        return f"owes {shown(owed[place.pk])}"
    return "paid" if place.state in STANDING else "nothing owed"


def wait_section(request: HttpRequest, booking: Booking) -> Section | None:
    if booking.state != PlaceState.WAITING:
        return None
    waits = selectors.wait_estimates(booking.course, clock.today())
    title = f"Number {selectors.position(booking)} on the waitlist, {words.wait_in_words(booking)}"
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


class DatesFilter(admin.SimpleListFilter):
    """Who waits and can make none of the dates to come: the coordinator asks again."""

    title = "dates"
    parameter_name = "dates"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("none", "Can make none of the dates")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Booking]) -> QuerySet[Booking]:
        return queryset.filter(pk__in=selectors.bound_to_no_date(clock.today())) if self.value() else queryset


@admin.register(Booking)
class BookingAdmin(DocumentAdmin[Booking]):
    list_display = ("household", "people", "state", "seats", "course", "booked_on")
    list_select_related = ("household", "course")
    list_filter = ("state", "course", DatesFilter)
    search_fields = (
        "=number", "household__name", "household__guardians__name", "places__person__given_name",
        "places__person__family_name",
    )  # fmt: skip
    search_help_text = "A booking number, a family, guardian or child, or a payment reference"
    also_finds = (of_family("household"),)
    fields = (
        "household", "guardian", "course", "booked_on", "number", "state", "offer_lapses_on", "pay_by", "reminded_on",
        "cohorts_not_made",
    )  # fmt: skip
    readonly_fields = fields
    sections_first = True
    add_page = BookPage()
    pages = (
        AcceptPage(),
        PaymentStep(),
        WithdrawPage(),
        TransferPage(),
        CohortsPage(),
        MovePage(),
        ApartPage(),
        AddPersonPage(),
        MoreTimePage(),
        PhonedPage(),
    )
    section_makers = (party_section, wait_section, history_section, letters_section)

    def get_ordering(self, request: HttpRequest) -> tuple[str, ...]:
        """A waitlist in its own order, all else the newest first."""
        return ("course", "rank") if request.GET.get("state__exact") == PlaceState.WAITING else ("-pk",)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Booking]:
        return (
            super().get_queryset(request).prefetch_related(Prefetch("places", Place.objects.select_related("person")))
        )

    @admin.display(description="Who")
    def people(self, booking: Booking) -> str:
        return selectors.names(place.person for place in booking.places.all())

    @admin.display(description="Cannot make")
    def cohorts_not_made(self, booking: Booking) -> str:
        return ", ".join(cohort.name for cohort in booking.cannot_make.all()) or "–"

    def get_search_results(
        self, request: HttpRequest, queryset: QuerySet[Booking], search_term: str
    ) -> tuple[QuerySet[Booking], bool]:
        """To choose whom to move in front of, only who waits is found."""
        found, duplicates = super().get_search_results(request, queryset, search_term)
        model, field = ASKS_FOR_WHO_WAITS
        asks = (request.GET.get("app_label"), request.GET.get("model_name"), request.GET.get("field_name"))
        if asks == (model._meta.app_label, model._meta.model_name, field):
            found = found.filter(state=PlaceState.WAITING)
        return found, duplicates
