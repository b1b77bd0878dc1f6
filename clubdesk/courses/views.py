"""Pages of the courses room: the parents' own, and what is printed."""

import time
import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

from django import forms
from django.conf import settings
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse
from django.urls import reverse
from django.views.decorators.cache import never_cache

from clubdesk import clock
from clubdesk.care import texts
from clubdesk.courses import checks, selectors, services, words
from clubdesk.courses.certificate import certificate_pdf
from clubdesk.courses.forms import DatesForm, OpenCohorts, ParentsForm
from clubdesk.courses.models import Booking, Certificate, Cohort, Course, PlaceState
from clubdesk.errors import Refused
from clubdesk.faults import is_busy, sentence_of
from clubdesk.fees.models import Charge
from clubdesk.fees.promises import charged_by
from clubdesk.handing import PDF, file_answer, hand_out
from clubdesk.ledger.models import Book
from clubdesk.roll.models import Guardian
from clubdesk.roll.selectors import guardian_to_write_to
from clubdesk.roll.views import family_page, for_family
from clubdesk.screens.pages import site_page
from clubdesk.screens.promises import Did, foretold
from clubdesk.screens.rows import MORE, grown, left_alone
from clubdesk.verbs import may, verb_of

CONSENT = texts.DATA
"""What a booking agrees to where the course has no words of its own: the same as the use of data elsewhere."""
TRIES = 5
SLOW_DOWN = "Too many bookings came from here just now. Please wait an hour and try again, or phone the club."


def _family_page(
    request: HttpRequest, template: str, title: str, status: int = 200, **context: object
) -> TemplateResponse:
    return family_page(request, f"book/{template}.html", title, status, **context)


def address_of(request: HttpRequest) -> str:
    """Where the request comes from; behind PROXIES of the club's own, what the outermost of them saw."""
    if settings.PROXIES:
        seen = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",") if part.strip()]
        if len(seen) >= settings.PROXIES:
            return str(seen[-settings.PROXIES])
    return str(request.META.get("REMOTE_ADDR", ""))


@never_cache
def courses(request: HttpRequest) -> HttpResponse:
    """The courses that parents can book; where there is one, its page at once."""
    found = list(Course.objects.filter(on_parents_page=True))
    if len(found) == 1:
        return course(request, found[0].pk)
    return _family_page(request, "courses", "Courses", courses=found)


@never_cache
def course(request: HttpRequest, pk: int) -> HttpResponse:
    """A course's cohorts and one form for all who come; then what it comes to; then it is booked."""
    shown = get_object_or_404(Course.objects.select_related("fee_item", "adult_fee_item"), pk=pk, on_parents_page=True)
    if request.method != "POST":
        return _course_page(request, shown, ParentsForm(target=shown, initial={"key": uuid.uuid4()}))
    if MORE in request.POST or "change" in request.POST:
        return _course_page(request, shown, _as_typed(request, shown))
    form = ParentsForm(request.POST, target=shown)
    if request.POST.get("website"):
        return HttpResponseRedirect(reverse("book:thanks"))
    if not form.is_valid():
        return _course_page(request, shown, form, status=422)
    try:
        kind = "address" if "seen" in request.POST else "look"
        if not _in_turn(lambda: services.within_limits(kind, address_of(request))):
            form.add_error(None, SLOW_DOWN)
            return _course_page(request, shown, form, status=429)
        party = form.as_sent(shown.consent_text or CONSENT)
        if "seen" not in request.POST:
            return _look_page(request, shown, party)
        key = uuid.uuid5(form.cleaned_data["key"], repr(party))
        if _in_turn(lambda: services.within_limits("email", party.email)):
            _in_turn(lambda: services.book_from_page(course=shown, form=party, on=clock.today(), key=key))
    except (Refused, IntegrityError, OperationalError) as refusal:
        form.add_error(None, sentence_of(refusal))
        return _course_page(request, shown, form, status=422)
    return HttpResponseRedirect(reverse("book:thanks"))


def _as_typed(request: HttpRequest, shown: Course) -> ParentsForm:
    """The same form again, with room for one more where that was asked for; nothing is complained of yet."""
    typed: QueryDict = request.POST
    if MORE in typed and ParentsForm.rows_class:
        typed = grown(typed, ParentsForm.rows_class)
    form = ParentsForm(typed, target=shown)
    assert form.rows is not None
    left_alone(form, form.rows)
    return form


def _look_page(request: HttpRequest, shown: Course, party: services.PartyForm) -> HttpResponse:
    """What it comes to for a family that the club does not know yet, whoever asks; all that was typed goes along."""
    as_new = replace(party, email=f"{uuid.uuid4().hex}@nobody.invalid")

    def act() -> Booking:
        return services.book_from_page(course=shown, form=as_new, on=clock.today(), key=uuid.uuid4())

    facts = _in_turn(lambda: foretold(act, partial(_comes_to, party=party)))
    left_out = ("csrfmiddlewaretoken", "seen")
    return _family_page(
        request,
        "look",
        f"{shown.name}: is this right?",
        course=shown,
        facts=facts,
        button="Book",
        sent=[(name, value) for name, values in request.POST.lists() if name not in left_out for value in values],
    )


def _comes_to(did: Did[Booking], party: services.PartyForm) -> Iterator[tuple[str, object]]:
    yield "For", ", ".join(f"{each.given_name} {each.family_name}" for each in party.people)
    yield "Then", " ".join(words.standing_in_words(did.result, asks=False))
    if len(party.people) > 1 and (watched := checks.watched_of(did.result, clock.today())):
        who = selectors.names(watched)
        yield "Or", f"book the others alone first, and then {who}: so they need not wait"
    for charge in did.rows(Charge):
        yield f"Fee for {charge.person}", charge.amount
    yield "You owe", charged_by(did)
    yield "A letter goes to", party.email


def _in_turn(act: Any) -> Any:
    """Do it, waiting again for a turn where very many write at the same moment."""
    for attempt in range(TRIES):
        try:
            return act()
        except OperationalError as error:
            if attempt == TRIES - 1 or not is_busy(error):
                raise
            time.sleep(0.2 * (attempt + 1))
    return None


def _course_page(request: HttpRequest, shown: Course, form: ParentsForm, status: int = 200) -> HttpResponse:
    today = clock.today()
    to_come = selectors.cohorts_to_come(shown, today)
    full = not any(cohort.taken < cohort.capacity for cohort in to_come)
    return _family_page(
        request,
        "course",
        shown.name,
        status=status,
        course=shown,
        fees=[] if to_come else _fees_in_words(shown, today),
        wait=selectors.wait_estimates(shown, today).likely(selectors.JOINING_NOW) if full else "",
        full=full,
        form=form,
        consent=shown.consent_text or CONSENT,
        rules=words.rules_in_words(shown),
    )


def _fees_in_words(shown: Course, today: date) -> list[tuple[str, Any]]:
    """What the course costs today, where the fee schedule says so: for a course of which no date is set."""
    child, adult = selectors.fees_of(shown, [today])[today]
    labels = ("Fee for a child" if shown.adult_fee_item_id else "Fee", "Fee for an adult")
    return [(label, amount) for label, amount in zip(labels, (child, adult), strict=True) if amount]


@never_cache
def thanks(request: HttpRequest) -> HttpResponse:
    """The same for everyone, whatever the book knew before."""
    return _family_page(request, "thanks", "Thank you")


class LeaveForm(forms.Form):
    """Who of the party withdraws; the reason is for the family to give or not."""

    places = forms.MultipleChoiceField(
        label="Who withdraws?",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick who withdraws."},
    )
    reason = forms.CharField(label="Would you tell us why? (optional)", max_length=120, required=False)

    def __init__(self, *args: Any, booking: Booking, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        self.standing = {
            str(place.pk): place for place in selectors.places_of(booking) if selectors.can_leave(place, clock.today())
        }
        field = self.fields["places"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(pk, str(place.person)) for pk, place in self.standing.items()]
        field.initial = list(self.standing)


def _booking_of(guardian: Guardian, pk: int) -> Booking:
    """A booking of the guardian's own family; Http404 for any other."""
    rows = Booking.objects.select_related("course", "household", "guardian")
    return get_object_or_404(rows, pk=pk, household=guardian.household_id)


@for_family
def own(request: HttpRequest, guardian: Guardian, pk: int) -> HttpResponse:
    """A family's own page: where it stands, its offer, and withdrawing."""
    booking = _booking_of(guardian, pk)
    error, wrong = "", None
    if request.method == "POST":
        try:
            wrong = _act(request, booking)
            if wrong is None:
                return HttpResponseRedirect(reverse("book:own", args=[pk]))
        except (Refused, IntegrityError, OperationalError) as refusal:
            error = sentence_of(refusal)
            booking = _booking_of(guardian, pk)
    places = selectors.places_of(booking)
    standing = any(selectors.can_leave(place, clock.today()) for place in places)
    leave = wrong if isinstance(wrong, LeaveForm) else None
    if request.method != "POST" and "leave" in request.GET and standing:
        leave = LeaveForm(booking=booking)
    waits, asks = booking.state == PlaceState.WAITING, words.asked_of(booking)
    return _family_page(
        request,
        "own",
        f"Your booking: {booking.course}",
        status=422 if error or wrong else 200,
        booking=booking,
        sentences=words.standing_in_words(booking, asks=asks is None),
        asks=asks,
        likely=words.wait_in_words(booking) if waits else "",
        apart=words.apart_in_words(booking),
        offered=booking.state == PlaceState.OFFERED,
        standing=standing,
        certificates=Certificate.objects.filter(place__booking=booking).select_related("place__person"),
        leave=leave,
        dates=_dates_form(booking, wrong) if waits and not leave else None,
        back=_given_back(places),
        error=error,
    )


def _dates_form(booking: Booking, wrong: forms.Form | None) -> DatesForm | None:
    """The dates that a family which waits can say it makes; None where none is set."""
    form = wrong if isinstance(wrong, DatesForm) else DatesForm(booking=booking)
    field = form.fields["cohorts"]
    assert isinstance(field, OpenCohorts)
    return form if field.queryset else None


def _act(request: HttpRequest, booking: Booking) -> LeaveForm | DatesForm | None:
    """Accept, book apart, withdraw or say which dates suit; returns the form where it is not filled in rightly."""
    today = clock.today()
    if request.POST.get("act") == "dates":
        dates = DatesForm(request.POST, booking=booking)
        if not dates.is_valid():
            return dates
        can_make = list(dates.cleaned_data["cohorts"])
        _in_turn(lambda: services.change_dates_by_family(booking=booking, can_make=can_make, on=today))
        return None
    if request.POST.get("act") == "accept":
        _in_turn(lambda: services.accept_by_family(booking=booking, on=today))
        return None
    if request.POST.get("act") == "apart":
        _in_turn(lambda: services.book_apart_by_family(booking=booking, on=today))
        return None
    form = LeaveForm(request.POST, booking=booking)
    if not form.is_valid():
        return form
    leaving = [form.standing[pk] for pk in form.cleaned_data["places"]]
    reason = form.cleaned_data["reason"]
    _in_turn(lambda: services.withdraw_by_family(booking=booking, places=leaving, on=today, reason=reason))
    return None


def _given_back(places: list[Any]) -> list[tuple[str, str]]:
    """What would become of each fee if its place were withdrawn today."""
    today = clock.today()
    return [
        (f"If {place.person.given_name} withdraws today", " ".join(words.refund_for_the_family(taken)))
        for place in places
        if place.state == PlaceState.HELD
        and selectors.can_leave(place, today)
        and (taken := selectors.if_withdrawn(place, today))
    ]


@for_family
def own_certificate(request: HttpRequest, guardian: Guardian, pk: int, certificate: int) -> HttpResponse:
    """A family's certificate, by its own link."""
    booking = _booking_of(guardian, pk)
    return _pdf(request, get_object_or_404(Certificate, pk=certificate, place__booking=booking))


class CheckForm(forms.Form):
    number = forms.CharField(label="Number on the certificate", max_length=20)
    family_name = forms.CharField(label="Family name on it", max_length=60)


@never_cache
def check_certificate(request: HttpRequest) -> HttpResponse:
    """Whether a certificate is genuine, for whoever holds it: it takes its number and the name on it."""
    form = CheckForm(request.GET or None, label_suffix="")
    found, asked = None, form.is_valid()
    if asked:
        number = "".join(filter(str.isdigit, form.cleaned_data["number"]))
        found = Certificate.objects.filter(
            number=number, place__person__family_name__iexact=form.cleaned_data["family_name"].strip()
        ).select_related("place__cohort__course").first()  # fmt: skip
    return _family_page(request, "certificate", "Check a certificate", form=form, asked=asked, certificate=found)


def _pdf(request: HttpRequest, certificate: Certificate, what: str = "") -> HttpResponse:
    content, name = certificate_pdf(certificate, Book.objects.get().club_name), f"certificate-{certificate.number}.pdf"
    return file_answer(request, content, kind=PDF, name=name, is_shown=True, what=what)


# Behind the sign-in


def draw_checks(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Whom to watch at the range, each with a button for who can draw."""
    today = clock.today()
    places = checks.needed(today).select_related("person", "course", "booking__guardian", "booking__household")
    rows = places.prefetch_related("booking__household__guardians").order_by("person__given_name", "booking__rank")
    found = [
        {
            "place": place,
            "age": place.person.age_on(today),
            "guardian": place.booking.guardian or guardian_to_write_to(place.booking.household),
            "key": uuid.uuid4(),
        }
        for place in rows
    ]
    return site_page(
        request,
        site,
        "courses/draw_checks.html",
        "Draw checks to do",
        rows=found,
        opens=checks.next_open_day(today),
        may_record=may(request.user, verb_of(services.record_reach_check).permission),
    )


def certificate(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """The certificate to print."""
    rows = Certificate.objects.select_related("place__person", "place__cohort__course")
    return _pdf(request, get_object_or_404(rows, pk=pk), "printed a certificate")


def sheet(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """Everyone of a cohort on one page to print: guardian and phone, and a box for each session."""
    if not may(request.user, "roll.view_household"):
        raise PermissionDenied
    cohort = get_object_or_404(Cohort.objects.select_related("course"), pk=pk)
    offered = cohort.places.filter(state=PlaceState.OFFERED).select_related("person")
    places = list(
        cohort.places.filter(state=PlaceState.HELD)
        .select_related("person__household", "booking__guardian", "booking__household")
        .prefetch_related("booking__household__guardians", "attendances")
        .order_by("person__given_name", "person__family_name")
    )
    owed = selectors.still_owed(places)
    rows = []
    for place in places:
        guardian = place.booking.guardian or guardian_to_write_to(place.booking.household)
        came = {each.held_on for each in place.attendances.all()}
        rows.append(
            {
                "person": place.person,
                "age": place.person.age_on(cohort.first_session),
                "guardian": guardian,
                "owed": owed.get(place.pk),
                "sessions": [day in came for day in cohort.sessions],
            }
        )
    hand_out(request, "opened the list of a cohort, with guardians and phones", rows=len(rows))
    return site_page(
        request,
        site,
        "courses/sheet.html",
        str(cohort),
        cohort=cohort,
        rows=rows,
        offered=offered,
        blank=range(3),
        printed_on=clock.today(),
    )
