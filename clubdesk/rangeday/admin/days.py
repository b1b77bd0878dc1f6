"""Screens of a range day: who signed on, what the phones asked, the count, and a day called off."""

from collections.abc import Iterator, Sequence
from datetime import date, time, timedelta

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.mail.sections import not_reached
from clubdesk.mail.selectors import reached_in_words
from clubdesk.rangeday import kits, letters, selectors, services
from clubdesk.rangeday.admin.counting import (
    CloseDayPage,
    ConfirmCountPage,
    HandInPage,
    ReopenDayPage,
    count_section,
    pieces_section,
)
from clubdesk.rangeday.admin.sign_ons import SignOnPage
from clubdesk.rangeday.models import Paid, RangeDay, SignOn
from clubdesk.screens.fields import DayField, TimeInput, VerbForm, choose_from, form_of
from clubdesk.screens.promises import Did
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import Section, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage


class SheetStep(LinkPage[RangeDay]):
    title = "Sheet for the phone"
    permission = "rangeday.add_signon"

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def url(self, target: RangeDay) -> str:
        return reverse("admin:range_sheet", args=[target.pk])


def _letter(written: str, fields: Sequence[str]) -> forms.CharField:
    return forms.CharField(
        label="The letter",
        required=False,
        initial=written,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=f"{', '.join(f'{{{name}}}' for name in fields)} are filled in for each family.",
    )


class TellForm(VerbForm[RangeDay]):
    """Why nobody shoots on the day after all, and who is told."""

    reason = forms.CharField(label="Why", max_length=100, help_text="Such as: lightning.")
    tell_them = forms.BooleanField(label="Tell the families by mail, each by one letter", required=False, initial=True)
    also_usual = forms.BooleanField(label="Also who usually comes on such days", required=False, initial=True)


class CallOffForm(TellForm):
    move_to = forms.ModelChoiceField(
        label="What is prepaid moves to",
        queryset=RangeDay.objects.none(),
        required=False,
        empty_label="No day yet: it stays on their accounts",
    )
    letter = _letter(letters.AS_WRITTEN, letters.FIELDS)
    field_order = ("reason", "move_to", "tell_them", "also_usual", "letter")

    def prepare(self) -> None:
        choose_from(self, "move_to", selectors.open_days_after(self.target))


class MoveForm(TellForm):
    to = DayField(label="To which day", initial=None, help_text="At the same range and hours.")
    letter = _letter(letters.AS_MOVED, letters.MOVED_FIELDS)
    field_order = ("to", "reason", "tell_them", "also_usual", "letter")


class OtherwisePage(VerbPage[RangeDay, services.CalledOff]):
    """A day on which nobody shoots after all; says first whom that concerns."""

    target = "range_day"
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def facts(self, target: RangeDay) -> Facts:
        signed = target.sign_ons.filter(selectors.STANDS).select_related("person")
        families = letters.affected(target, signed, also_usual=True)
        own = [each for each in families if each.signed]
        without = [each for each in families if not (each.guardian and each.guardian.email)]
        return [
            ("Signed on", len(signed)),
            ("Families of who signed on", len(own)),
            ("Families of who usually comes besides", len(families) - len(own)),
            ("Of all these without an e-mail address", len(without)),
        ]

    def done(self, target: RangeDay, result: services.CalledOff) -> str:
        did = f"moved to {day_text(result.instead.date, weekday=True)}" if result.instead else "called off"
        if not result.letters:
            return f"{target} is {did}. No letter went out: tell the families as you usually do."
        return f"{target} is {did}. {reached_in_words(result.letters)}"


class MoveDayPage(OtherwisePage):
    slug = "move"
    verb = services.move_day
    intro = (
        "Who has signed on is signed on for the other day at the same price, and what was paid pays for it. This day "
        "then stands as called off."
    )
    button = "Move the day"
    form_class = MoveForm


class CallOffPage(OtherwisePage):
    slug = "call-off"
    verb = services.call_off_day
    intro = (
        "Nobody is charged. What a family paid goes to its account, where it pays the day that you choose or else "
        "its oldest open fee. A visitor without a family gets the money back by hand; the day then lists who. Kit "
        "that is out counts as back."
    )
    button = "Call the day off"
    form_class = CallOffForm


class PlanForm(VerbForm[None]):
    first_day = DayField(label="First day")
    last_day = DayField(label="Last day", initial=None, help_text="Such as the last Saturday of the term.")
    every = forms.TypedChoiceField(
        label="How often",
        coerce=int,
        initial=7,
        choices=[(7, "Every week"), (14, "Every second week"), (1, "Every day")],
    )
    place = forms.CharField(label="Range", max_length=60, initial="Main range")
    begins_at = forms.TimeField(label="From", required=False, widget=TimeInput, help_text="Such as 9:00.")
    ends_at = forms.TimeField(label="Until", required=False, widget=TimeInput)

    def prepare(self) -> None:
        """As the last day that stands, a week after it."""
        if latest := RangeDay.objects.first():
            as_before = {"place": latest.place, "begins_at": latest.begins_at, "ends_at": latest.ends_at}
            self.initial = {"first_day": latest.date + timedelta(days=7), **as_before, **self.initial}


class PlanPage(VerbPage[None, services.Planned]):
    slug = "plan"
    verb = services.plan_days
    intro = (
        "Families see them among the club’s dates. Days that stand already, and times without shooting, are passed "
        "over."
    )
    button = "Set them up"
    form_class = PlanForm
    looks_first = True

    def preview(self, target: None, cleaned: dict[str, object]) -> Facts:
        def tell(did: Did[services.Planned]) -> Iterator[tuple[str, object]]:
            yield "Set up", ", ".join(day_text(day.date, weekday=True) for day in did.result.days) or "none"
            yield from ((words, _listed(days)) for words, days in _passed_over(did.result) if days)

        return self.foretold(target, tell, **cleaned)

    def done(self, target: None, result: services.Planned) -> str:
        count = len(result.days)
        passed = [f"{words}: {_listed(days)}." for words, days in _passed_over(result) if days]
        return " ".join([f"{count} range {'day was' if count == 1 else 'days were'} set up.", *passed])


def hour(at: time | None) -> str:
    return f"{at:%H:%M}" if at else ""


def _passed_over(planned: services.Planned) -> tuple[tuple[str, Sequence[date]], ...]:
    return ("They stand already", planned.stood), ("Nobody shoots then", planned.closed)


def _listed(days: Sequence[date]) -> str:
    return ", ".join(day_text(day, weekday=True, year=False) for day in days)


class HoursPage(VerbPage[RangeDay, RangeDay]):
    slug = "hours"
    verb = services.set_hours
    target = "range_day"
    intro = "As families read it among the club’s dates. Both blank: it is not said."
    form_class = form_of(
        begins_at=forms.TimeField(label="From", required=False, widget=TimeInput),
        ends_at=forms.TimeField(label="Until", required=False, widget=TimeInput),
    )
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def initial(self, request: HttpRequest, target: RangeDay) -> dict[str, object]:
        return {"begins_at": target.begins_at, "ends_at": target.ends_at, **super().initial(request, target)}

    def done(self, target: RangeDay, result: RangeDay) -> str:
        return f"{result} is {f'from {result.hours}' if result.hours else 'without hours'}."


def standing_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """That the day was called off, and what became of what each had to pay."""
    if not day.called_off_on:
        return None
    rows = [(link_to(row, row.who), row.handed_over, _became_of(row)) for row in selectors.called_off(day)]
    by_card = any(row.paid == Paid.CARD for row in selectors.to_hand_back(day))
    return Section(
        f"Called off: {day.called_off_reason}",
        ["Who", "Had to pay", "What becomes of it"],
        rows,
        "Nobody had anything to pay.",
        note="A card payment is given back on the reader." if by_card else "",
    )


def _became_of(row: SignOn) -> str:
    if row.person is None:
        return f"hand it back ({row.get_paid_display().lower()})" if row.paid != Paid.ACCOUNT else "nothing"
    moved = getattr(row, "moved_to", None)
    where = f"signed on for {day_text(moved.range_day.date)}" if moved else ""
    if row.paid == Paid.ACCOUNT:
        return where or "not charged"
    return f"paid for {day_text(moved.range_day.date)}" if moved else "paid to their family’s account"


def to_paste_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """What the club can post where its families read it."""
    rows = [(letters.to_paste(day),)]
    return Section("To paste where the club posts its news", ["Text"], rows) if day.called_off_on else None


def to_ring_section(request: HttpRequest, day: RangeDay) -> Section | None:
    return not_reached(letters.of_calling_off(day)) if day.called_off_on else None


def kit_out_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """What was given out on the day and has not come back."""
    rows = [
        (link_to(loan.kit), loan.kit.words or "–", loan.sign_on.who,
         f"{day_text(timezone.localtime(loan.given_at), year=False)}, {timezone.localtime(loan.given_at):%H:%M}")
        for loan in kits.kit_out(day)
    ]  # fmt: skip
    return Section("Kit still out", ["Kit", "", "With", "Since"], rows) if rows else None


def sign_ons_section(request: HttpRequest, day: RangeDay) -> Section:
    rows = [
        (link_to(row, row.who), row.get_gear_display(), row.amount, _paid_by(row))
        for row in day.sign_ons.filter(selectors.STANDS)
        .select_related("person", "moved_from__range_day")
        .order_by("-pk")
    ]
    return Section(f"Signed on: {len(rows)}", ["Who", "Gear", "Fee", "Paid by"], rows, "Nobody yet.")


def _paid_by(row: SignOn) -> str:
    if row.moved_from:
        return f"On account, moved from {day_text(row.moved_from.range_day.date, year=False)}"
    return row.get_paid_display()


def questions_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """What phones sent that the book could not do by itself."""
    rows = [
        (link_to(tap, f"{timezone.localtime(tap.tapped_at):%H:%M}"), tap.who, tap.question)
        for tap in selectors.questions(day)
    ]
    return Section("Questions from the phones", ["Tapped at", "Who", "Question"], rows) if rows else None


class StandingFilter(admin.SimpleListFilter):
    title = "standing"
    parameter_name = "standing"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("uncounted", "Not counted yet"), ("called-off", "Called off")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[RangeDay]) -> QuerySet[RangeDay]:
        if self.value() == "uncounted":
            return queryset.filter(pk__in=selectors.uncounted(clock.today()).values("pk"))
        return queryset.filter(called_off_on__isnull=False) if self.value() == "called-off" else queryset


@admin.register(RangeDay)
class RangeDayAdmin(RoomAdmin[RangeDay]):
    list_display = ("date", "place", "standing", "people", "cash_shown", "card_shown", "account_shown")
    list_filter = (StandingFilter,)
    date_hierarchy = "date"
    fields = ("date", "place", "begins_at", "ends_at")
    pages = (
        SheetStep(),
        SignOnPage(),
        CloseDayPage(),
        HandInPage(),
        ConfirmCountPage(),
        ReopenDayPage(),
        HoursPage(),
        MoveDayPage(),
        CallOffPage(),
    )
    main_pages = ("SheetStep", "CloseDayPage", "ConfirmCountPage", "ReopenDayPage", "CallOffPage")
    list_pages = (PlanPage(),)
    section_makers = (
        to_ring_section, to_paste_section, standing_section, questions_section, kit_out_section, count_section,
        pieces_section, sign_ons_section,
    )  # fmt: skip
    sections_first = True
    change_list_template = "rangeday/days.html"
    cash_shown = amount_column("cash", "Cash")
    card_shown = amount_column("card", "Card")
    account_shown = amount_column("account", "On account")

    def get_queryset(self, request: HttpRequest) -> QuerySet[RangeDay]:
        return selectors.days_with_takings().order_by("-date")

    def get_changeform_initial_data(self, request: HttpRequest) -> dict[str, str | list[str]]:
        latest = RangeDay.objects.first()
        today: dict[str, str | list[str]] = {"date": clock.today().isoformat()}
        if latest is None:
            return today
        hours = {"begins_at": hour(latest.begins_at), "ends_at": hour(latest.ends_at)}
        return {**today, "place": latest.place, **hours}

    def response_add(self, request: HttpRequest, obj: RangeDay, post_url_continue: str | None = None) -> HttpResponse:
        """A day that has begun leads straight to its sheet."""
        if SheetStep().offered(request, obj) and "_addanother" not in request.POST:
            return HttpResponseRedirect(SheetStep().url(obj))
        return super().response_add(request, obj, post_url_continue)

    def has_change_permission(self, request: HttpRequest, obj: RangeDay | None = None) -> bool:
        return False

    @admin.display(description="People", ordering="people")
    def people(self, day: selectors.DayWithTakings) -> int:
        return day.people

    @admin.display(description="Standing", ordering="closed_on")
    def standing(self, day: RangeDay) -> str:
        return day.standing
