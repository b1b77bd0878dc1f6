"""The form of the parents' page."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory
from djmoney.money import Money

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.courses import selectors
from clubdesk.courses.models import ADULT_FROM, MOST_IN_A_PARTY, Booking, Cohort, Course
from clubdesk.courses.services import Child, PartyForm
from clubdesk.money import shown
from clubdesk.roll.models import age_on, fault_of_birth_date
from clubdesk.screens.fields import DayField, PickMany

MOST_CHILDREN = MOST_IN_A_PARTY - 1


def room_in_words(cohort: Any) -> str:
    """How much room a cohort has, not to the seat: by an exact number a stranger could tell who is booked already."""
    left = max(cohort.capacity - cohort.taken, 0)
    if not left:
        return "full, with a waitlist"
    return next(words for most, words in ROOM if left >= most)


ROOM = ((8, "8 or more seats left"), (4, "4 or more seats left"), (1, "last seats"))


class OpenCohorts(PickMany):
    """Dates to choose from, each with what it costs; `fees` says so by first session."""

    fees: Mapping[date, tuple[Money | None, Money | None]] = {}

    def label_from_instance(self, cohort: Any) -> str:
        room = room_in_words(cohort)
        days = f"{long_day(cohort.first_session, weekday=True)} to {long_day(cohort.last_session)}"
        age = f", from age {cohort.youngest}" if cohort.youngest else ""
        return f"{cohort.name}: {days}{age}{self._fee(cohort.first_session)} ({room})"

    def _fee(self, day: date) -> str:
        child, adult = self.fees.get(day, (None, None))
        named = [shown(child)] if child else []
        if adult:
            named.append(f"adults {shown(adult)}")
        return "".join(f", {each}" for each in named)


class DatesForm(forms.Form):
    """Which of the dates to come a family that waits can make."""

    cohorts = OpenCohorts(
        Cohort.objects.none(),
        label="Which could you make?",
        help_text="Tick each that suits, also one that did not when you booked. You keep your turn.",
        error_messages={"required": "Tick at least one, so that we know when you can come."},
    )

    def __init__(self, *args: Any, booking: Booking, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        to_come = selectors.cohorts_to_come(booking.course, clock.today())
        field = self.fields["cohorts"]
        assert isinstance(field, OpenCohorts)
        field.fees = selectors.fees_of(booking.course, [cohort.first_session for cohort in to_come])
        field.queryset = to_come
        cannot = set(booking.cannot_make.all())
        field.initial = [cohort.pk for cohort in to_come if cohort not in cannot]


class BirthDayField(DayField):
    """A date of birth: in the past, and of somebody alive."""

    def clean(self, value: Any) -> Any:
        day = super().clean(value)
        if day and (fault := fault_of_birth_date(day, clock.today())):
            raise forms.ValidationError(fault)
        return day

    default_validators: list[Any] = []


class GuardianForm(forms.Form):
    """The guardian, the cohorts and the consent; `website` is a trap that only programs fill in."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    given_name = forms.CharField(
        label="Your given name", max_length=60, widget=forms.TextInput({"autocomplete": "given-name"})
    )
    family_name = forms.CharField(
        label="Your family name", max_length=39, widget=forms.TextInput({"autocomplete": "family-name"})
    )
    email = forms.EmailField(
        label="Your e-mail",
        help_text="Your place, or your turn on the waitlist, is confirmed there.",
        widget=forms.EmailInput({"autocomplete": "email"}),
    )
    phone = forms.CharField(label="Your phone", max_length=30, widget=forms.TextInput({"autocomplete": "tel"}))
    too = forms.BooleanField(label="I would like to do the course too", required=False)
    birth_date = BirthDayField(label="Then your date of birth", required=False, initial=None)
    cohorts = OpenCohorts(
        Cohort.objects.none(),
        label="Which could you make?",
        help_text="Tick each that suits. You get the first with room for all of you, or wait for one of them.",
        error_messages={"required": "Tick at least one, so that we know when you can come."},
    )
    consent = forms.BooleanField(
        label="I am a parent or guardian of these children and agree",
        error_messages={"required": "We can only book with your agreement."},
    )
    website = forms.CharField(required=False, widget=forms.TextInput({"tabindex": "-1", "autocomplete": "off"}))

    def __init__(self, *args: Any, course: Course, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        to_come = selectors.cohorts_to_come(course, clock.today())
        if to_come:
            field = self.fields["cohorts"]
            assert isinstance(field, OpenCohorts)
            field.fees = selectors.fees_of(course, [cohort.first_session for cohort in to_come])
            field.queryset = to_come
        else:
            del self.fields["cohorts"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        born = cleaned.get("birth_date")
        if cleaned.get("too") and not born:
            self.add_error("birth_date", "Give your date of birth if you would like to do the course too.")
        if cleaned.get("too") and born and age_on(born, clock.today()) < ADULT_FROM:
            self.add_error("birth_date", "This is for the parent or guardian; check the year.")
        return cleaned

    def clean_phone(self) -> str:
        phone = str(self.cleaned_data["phone"])
        if sum(sign.isdigit() for sign in phone) < 6:
            raise forms.ValidationError("Give a phone number with at least six digits.")
        return phone


class ChildForm(forms.Form):
    given_name = forms.CharField(label="Given name", max_length=60)
    family_name = forms.CharField(label="Family name", max_length=60)
    birth_date = BirthDayField(label="Date of birth", initial=None)

    def __init__(self, *args: Any, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)

    def clean_birth_date(self) -> Any:
        born = self.cleaned_data["birth_date"]
        if born and age_on(born, clock.today()) >= ADULT_FROM:
            raise forms.ValidationError("This is for a child; to do the course yourself, tick that below.")
        return born


class Children(BaseFormSet[ChildForm]):
    default_error_messages = {
        **BaseFormSet.default_error_messages,
        "too_few_forms": "Name at least one child.",
        "too_many_forms": "Book the other children on their own.",
    }

    def clean(self) -> None:
        named = [
            tuple(str(value).casefold() for value in form.cleaned_data.values())
            for form in self.forms
            if form.cleaned_data
        ]
        if len(set(named)) < len(named):
            raise forms.ValidationError("The same child stands here twice.")


ChildFormSet = formset_factory(
    ChildForm,
    formset=Children,
    extra=0,
    min_num=1,
    max_num=MOST_CHILDREN,
    absolute_max=MOST_CHILDREN,
    validate_min=True,
    validate_max=True,
)


def too_young(children: list[dict[str, Any]], cohorts: list[Cohort]) -> str:
    """What a guardian is told of a child who is below the age of each cohort that they could make; blank if none is."""
    for child in filter(None, children):
        if cohorts and all(child["birth_date"] > cohort.born_by for cohort in cohorts):
            first = cohorts[0]
            age = age_on(child["birth_date"], first.first_session)
            return (
                f"{child['given_name']} is {age} on the first day of {first.name}, which starts at {first.youngest}. "
                "Tick a later date, or ask the club: it can book a younger child whose reach it has checked."
            )
    return ""


def party_of(guardian: dict[str, Any], children: list[dict[str, Any]], wording: str) -> PartyForm:
    """What the verb is told, from the cleaned data of both forms."""
    people = [Child(each["given_name"], each["family_name"], each["birth_date"]) for each in children if each]
    if guardian["too"]:
        people.append(Child(guardian["given_name"], guardian["family_name"], guardian["birth_date"]))
    return PartyForm(
        guardian_name=f"{guardian['given_name']} {guardian['family_name']}",
        email=guardian["email"],
        phone=guardian["phone"],
        people=people,
        cohorts=list(guardian.get("cohorts") or []),
        wording=wording,
    )
