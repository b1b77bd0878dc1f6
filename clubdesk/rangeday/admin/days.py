"""Screens of a range day: who signed on, what the phones asked, the count, and a day called off."""

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.admin.counting import CloseDayPage, ReopenDayPage, count_section, pieces_section
from clubdesk.rangeday.admin.sign_ons import SignOnPage
from clubdesk.rangeday.models import Paid, RangeDay, SignOn
from clubdesk.screens.fields import VerbForm, choose_from
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


class CallOffForm(VerbForm[RangeDay]):
    reason = forms.CharField(label="Why", max_length=120, help_text="Such as: lightning.")
    move_to = forms.ModelChoiceField(
        label="What is prepaid moves to",
        queryset=RangeDay.objects.none(),
        required=False,
        empty_label="No day yet: it stays on their accounts",
    )

    def prepare(self) -> None:
        choose_from(self, "move_to", selectors.open_days_after(self.target))


class CallOffPage(VerbPage[RangeDay, services.CalledOff]):
    slug = "call-off"
    verb = services.call_off_day
    target = "range_day"
    intro = (
        "Nobody is charged. What a family paid goes to its account, where it pays the day that you choose or else "
        "its oldest open fee. A visitor without a family gets the money back by hand; the day then lists who. Kit "
        "that is out counts as back."
    )
    button = "Call the day off"
    form_class = CallOffForm
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def facts(self, target: RangeDay) -> Facts:
        return [("Signed on", target.sign_ons.filter(selectors.STANDS).count())]

    def done(self, target: RangeDay, result: services.CalledOff) -> str:
        return f"{target} is called off. No letter went out: tell the families as you usually do."


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


def kit_out_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """What was given out on the day and has not come back."""
    rows = [
        (link_to(loan.kit), loan.kit.description or "–", loan.sign_on.who,
         f"{day_text(timezone.localtime(loan.given_at), year=False)}, {timezone.localtime(loan.given_at):%H:%M}")
        for loan in selectors.kit_out(day)
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
    fields = ("date", "place")
    pages = (SheetStep(), SignOnPage(), CloseDayPage(), ReopenDayPage(), CallOffPage())
    section_makers = (
        standing_section, questions_section, kit_out_section, count_section, pieces_section, sign_ons_section,
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
        return {"date": clock.today().isoformat(), **({"place": latest.place} if latest else {})}

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
