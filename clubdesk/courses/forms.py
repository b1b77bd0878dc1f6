"""The form that asks for places in a course, for parents and coordinator alike; and which dates somebody can make."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django import forms
from djmoney.money import Money

from clubdesk import clock
from clubdesk.courses import selectors, words
from clubdesk.courses.models import MOST_IN_A_PARTY, Booking, Cohort, Course
from clubdesk.courses.services import Named, PartyForm
from clubdesk.money import shown
from clubdesk.roll.models import fault_of_birth_date
from clubdesk.screens.fields import Cleaned, DayField, PickMany, Target, VerbForm
from clubdesk.screens.rows import Rows, rows_of


def room_in_words(cohort: Any) -> str:
    """How much room a cohort has, not to the seat: by an exact number a stranger could tell who is booked already."""
    left = max(cohort.capacity - cohort.taken, 0)
    if not left:
        return "full, with a waitlist"
    return next(words for most, words in ROOM if left >= most)


ROOM = ((8, "8 or more seats left"), (4, "4 or more seats left"), (1, "last seats"))


Fees = Mapping[tuple[int, date], tuple[Money | None, Money | None]]


class OpenCohorts(PickMany):
    """Dates to choose from, each with what it costs; `fees` says so by course and first session."""

    fees: Fees = {}

    def label_from_instance(self, cohort: Any) -> str:
        age = f", from age {cohort.youngest}" if cohort.youngest else ""
        return f"{self.named(cohort)}: {words.days_in_words(cohort)}{age}{self._fee(cohort)} ({self.room(cohort)})"

    def named(self, cohort: Any) -> str:
        return str(cohort.name)

    def room(self, cohort: Any) -> str:
        return room_in_words(cohort)

    def _fee(self, cohort: Any) -> str:
        child, adult = self.fees.get((cohort.course_id, cohort.first_session), (None, None))
        named = [shown(child)] if child else []
        if adult:
            named.append(f"adults {shown(adult)}")
        return "".join(f", {each}" for each in named)


def fees_by_course(course: Course, cohorts: Iterable[Cohort]) -> Fees:
    """What each first session costs a child and an adult."""
    found = selectors.fees_of(course, [cohort.first_session for cohort in cohorts])
    return {(course.pk, day): amounts for day, amounts in found.items()}


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
        field.fees = fees_by_course(booking.course, to_come)
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


class WhoRow(forms.Form):
    """A child or an adult who would like to do the course."""

    given_name = forms.CharField(label="Given name", max_length=60)
    family_name = forms.CharField(label="Family name", max_length=60)
    birth_date = BirthDayField(label="Date of birth", initial=None)

    def __init__(self, *args: Any, **kwargs: Any):
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)


class Who(Rows):
    one, another, carries = "Person", "Add another child or adult", ("family_name",)
    default_error_messages = {
        **Rows.default_error_messages,
        "too_few_forms": "Say who would like to do the course.",
        "too_many_forms": f"A booking is for at most {MOST_IN_A_PARTY} people; book the others on their own.",
    }

    def clean(self) -> None:
        named = [tuple(str(value).casefold() for value in each.values()) for each in self.filled()]
        if len(set(named)) < len(named):
            raise forms.ValidationError("The same person stands here twice.")


class AskingForm(VerbForm[Target]):
    """Who asks, who would like to do the course, and which dates they can make: the same wherever somebody books."""

    rows_class = rows_of(WhoRow, Who, most=MOST_IN_A_PARTY, least=1)
    gives = ("people",)
    guardian = forms.CharField(label="Guardian’s name", max_length=100)
    email = forms.EmailField(
        label="Guardian’s e-mail", help_text="The place, or the turn on the waitlist, is confirmed there."
    )
    phone = forms.CharField(label="Guardian’s phone", max_length=30)
    cohorts = OpenCohorts(
        Cohort.objects.none(),
        label="Dates they can make",
        help_text="Tick each that suits. They get the first with room for all of them, or wait for one of them.",
        error_messages={"required": "Tick at least one, so that we know when you can come."},
    )

    def prepare(self) -> None:
        assert self.rows_class is not None
        started = self.initial.get("people")
        self.rows = self.rows_class(self.data if self.is_bound else None, initial=started, prefix="person")

    def clean(self) -> Cleaned:
        cleaned = super().clean() or {}
        if self.rows is not None and self.rows.is_valid():
            return {**cleaned, "people": [self.asked(each) for each in self.rows.filled()]}
        self.add_error(None, "Look at the rows below: one of them needs something.")
        return cleaned

    def asked(self, row: Cleaned) -> object:
        """Who a row is."""
        return Named(row["given_name"], row["family_name"], row["birth_date"])

    def clean_phone(self) -> str:
        phone = str(self.cleaned_data["phone"])
        if phone and sum(sign.isdigit() for sign in phone) < 6:
            raise forms.ValidationError("Give a phone number with at least six digits.")
        return phone


class ParentsForm(AskingForm[Course]):
    """The same on the parents' page, with the consent; `website` is a trap that only programs fill in."""

    guardian = forms.CharField(label="Your name", max_length=100, widget=forms.TextInput({"autocomplete": "name"}))
    email = forms.EmailField(
        label="Your e-mail",
        help_text="Your place, or your turn on the waitlist, is confirmed there.",
        widget=forms.EmailInput({"autocomplete": "email"}),
    )
    phone = forms.CharField(
        label="Your phone", max_length=30, widget=forms.TextInput({"autocomplete": "tel", "inputmode": "tel"})
    )
    consent = forms.BooleanField(
        label="I am a parent or guardian of each child above, and agree",
        error_messages={"required": "We can only book with your agreement."},
    )
    website = forms.CharField(required=False, widget=forms.TextInput({"tabindex": "-1", "autocomplete": "off"}))

    def prepare(self) -> None:
        super().prepare()
        field, to_come = self.fields["cohorts"], selectors.cohorts_to_come(self.target, clock.today())
        field.label = "Which could you make?"
        if not to_come:
            del self.fields["cohorts"]
            return
        assert isinstance(field, OpenCohorts)
        field.fees = fees_by_course(self.target, to_come)
        field.queryset = to_come

    def as_sent(self, wording: str) -> PartyForm:
        """What the verb is told; the form is valid."""
        cleaned = self.cleaned_data
        return PartyForm(
            guardian_name=cleaned["guardian"],
            email=cleaned["email"],
            phone=cleaned["phone"],
            people=cleaned["people"],
            cohorts=list(cleaned.get("cohorts") or []),
            wording=wording,
        )
