"""Screens of the range day, made for a phone at the range."""

from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock
from clubdesk.fees.admin import CancelForm
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import AmountFormField, as_amount, nil, shown
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import Banking, Gear, Paid, RangeDay, SignOn, Tap, TapState, TillCount
from clubdesk.roll.models import Person
from clubdesk.screens import (
    DocumentAdmin,
    HappenedField,
    PickField,
    RoomAdmin,
    Section,
    VerbForm,
    VerbPage,
    amount_column,
    link_to,
    page_of,
)


class SignOnForm(VerbForm):
    person = PickField(
        Person, through=(SignOn, "person"), label="Who", required=False, help_text="A few letters of the name."
    )
    visitor_name = forms.CharField(label="Or a visitor's name", required=False, max_length=100)
    gear = forms.ChoiceField(
        choices=[(Gear.HIRE, "Club gear"), (Gear.OWN, "Own gear")], widget=forms.RadioSelect, initial=Gear.HIRE
    )
    paid = forms.ChoiceField(label="Paid by", choices=Paid.choices, widget=forms.RadioSelect, initial=Paid.CASH)


class SignOnPage(VerbPage):
    slug = "sign-on"
    title = "Sign on"
    button = "Sign on"
    permission = "rangeday.add_signon"
    form_class = SignOnForm

    def applies(self, target: RangeDay) -> bool:
        return target.closed_on is None

    def heading(self, target: RangeDay) -> str:
        return f"Sign on: {target}"

    def facts(self, target: RangeDay) -> list[tuple[str, Any]]:
        return [
            *((label, figure if figure is not None else "no price yet") for label, figure in selectors.board(target)),
            ("Signed on so far", target.sign_ons.filter(selectors.STANDS).count()),
        ]

    def perform(self, *, target: RangeDay, by: Any, **cleaned: Any) -> SignOn:
        return services.sign_on(range_day=target, by=by, **cleaned)

    def done(self, result: SignOn) -> str:
        if result.amount == nil():
            return f"{result.who} is signed on; nothing to pay."
        return f"{result.who} is signed on: {shown(result.handed_over)}, {result.get_paid_display().lower()}."

    def destination(self, result: SignOn) -> str:
        return self.url(result.range_day)


class SheetStep(VerbPage):
    slug = "sheet"
    routed = False
    title = "Sheet for the phone"
    permission = "rangeday.add_signon"

    def applies(self, target: RangeDay) -> bool:
        return target.closed_on is None

    def url(self, target: Any) -> str:
        return reverse("admin:range_sheet", args=[target.pk])


class CloseForm(VerbForm):
    counted = AmountFormField(label="Counted in the tin")
    second_counter = forms.ModelChoiceField(
        label="Counted with", queryset=get_user_model().objects.filter(is_active=True, is_staff=True)
    )
    reason = forms.CharField(
        label="Reason for a difference",
        required=False,
        max_length=150,
        help_text="Only where the tin is over or short.",
    )
    on = HappenedField(label="Counted on")


class CloseDayPage(VerbPage):
    slug = "close"
    title = "Count the tin and close the day"
    intro = "Two people count. A difference is posted to Cash over and short with your reason."
    button = "Close the day"
    permission = "rangeday.close_rangeday"
    form_class = CloseForm

    def applies(self, target: RangeDay) -> bool:
        return target.closed_on is None

    def facts(self, target: RangeDay) -> list[tuple[str, Any]]:
        day = selectors.days_with_takings().get(pk=target.pk)
        return [
            ("Cash taken today", as_amount(day.cash)),
            ("Cards taken today", as_amount(day.card)),
            ("Put on account", as_amount(day.account)),
            ("Should be in the tin", selectors.till_expected(target)),
        ]

    def perform(self, *, target: RangeDay, by: Any, **cleaned: Any) -> RangeDay:
        return services.close_day(range_day=target, by=by, **cleaned).range_day

    def done(self, result: RangeDay) -> str:
        return f"{result} is closed."


def count_section(request: HttpRequest, day: RangeDay) -> Section:
    count = TillCount.objects.filter(range_day=day).select_related("recorded_by", "second_counter").first()
    rows = (
        [
            (
                count.expected,
                count.counted,
                count.difference,
                count.reason,
                f"{count.recorded_by}, {count.second_counter}",
            )
        ]
        if count
        else []
    )
    return Section("Till count", ["Expected", "Counted", "Difference", "Reason", "By"], rows, "Not counted yet.")


def sign_ons_section(request: HttpRequest, day: RangeDay) -> Section:
    rows = [
        (link_to(row, row.who), row.get_gear_display(), row.amount, row.get_paid_display())
        for row in day.sign_ons.filter(selectors.STANDS).select_related("person").order_by("-pk")
    ]
    return Section(f"Signed on: {len(rows)}", ["Who", "Gear", "Fee", "Paid by"], rows, "Nobody yet.")


def questions_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """What phones sent that the book could not do by itself."""
    rows = [
        (link_to(tap, f"{timezone.localtime(tap.tapped_at):%H:%M}"), tap.who, tap.question)
        for tap in selectors.questions(day)
    ]
    return Section("Questions from the phones", ["Tapped at", "Who", "Question"], rows) if rows else None


class AnswerForm(VerbForm):
    record = forms.TypedChoiceField(
        label="What is right",
        choices=[("", "It stays as it stands"), ("yes", "Record what is missing now")],
        coerce=bool,
        required=False,
        widget=forms.RadioSelect,
        initial="",
    )
    answer = forms.CharField(label="What you found out", max_length=150)


class AnswerTapPage(VerbPage):
    slug = "answer"
    title = "Answer this question"
    intro = (
        "If money was taken twice, give it back or record a receipt on the household’s page. If a fee was mistyped, "
        "cancel the sign-on first, then record what is missing."
    )
    button = "Save the answer"
    permission = "rangeday.close_rangeday"
    form_class = AnswerForm

    def applies(self, target: Tap) -> bool:
        return target.state == TapState.QUESTION

    def facts(self, target: Tap) -> list[tuple[str, Any]]:
        by = target.recorded_by.get_full_name() or target.recorded_by.get_username()
        tapped = f"{target.get_gear_display()}, {target.get_paid_display().lower()}"
        return [("Who", target.who), ("Tapped", f"{tapped}, by {by}"), ("Question", target.question)]

    def perform(self, *, target: Tap, by: Any, record: bool, answer: str, key: Any) -> Tap:
        return services.answer_tap(tap=target, record=record, answer=answer, on=clock.today(), by=by)

    def done(self, result: Tap) -> str:
        return "Answered."

    def destination(self, result: Tap) -> str:
        return page_of(result.range_day)


@admin.register(Tap)
class TapAdmin(DocumentAdmin):
    list_display = ["__str__", "state", "gear", "paid", "question"]
    list_select_related = ["range_day"]
    list_filter = ["state"]
    fields = [
        "range_day",
        "tapped_at",
        "who",
        "gear",
        "paid",
        "state",
        "question",
        "answer",
        "answered_by",
        "recorded_by",
    ]
    readonly_fields = fields
    pages = [AnswerTapPage()]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    @admin.display(description="Who")
    def who(self, tap: Tap) -> str:
        return tap.who


@admin.register(RangeDay)
class RangeDayAdmin(RoomAdmin):
    list_display = ["date", "place", "people", "cash", "card", "account", "closed_on"]
    date_hierarchy = "date"
    fields = ["date", "place"]
    pages = [SheetStep(), SignOnPage(), CloseDayPage()]
    section_makers = [questions_section, count_section, sign_ons_section]
    sections_first = True

    def get_queryset(self, request: HttpRequest) -> Any:
        return selectors.days_with_takings().order_by("-date")

    def get_changeform_initial_data(self, request: HttpRequest) -> dict[str, Any]:
        latest = RangeDay.objects.first()
        return {"date": clock.today(), **({"place": latest.place} if latest else {})}

    def response_add(self, request: HttpRequest, obj: RangeDay, post_url_continue: Any = None) -> HttpResponse:
        """A day that has begun leads straight to its sheet."""
        if SheetStep().offered(request, obj) and "_addanother" not in request.POST:
            return HttpResponseRedirect(SheetStep().url(obj))
        return super().response_add(request, obj, post_url_continue)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    @admin.display(description="People", ordering="people")
    def people(self, day: Any) -> int:
        return day.people

    @admin.display(description="Cash", ordering="cash")
    def cash(self, day: Any) -> str:
        return shown(day.cash)

    @admin.display(description="Card", ordering="card")
    def card(self, day: Any) -> str:
        return shown(day.card)

    @admin.display(description="On account", ordering="account")
    def account(self, day: Any) -> str:
        return shown(day.account)


class CancelSignOnPage(VerbPage):
    slug = "cancel"
    title = "Cancel this sign-on"
    intro = "For one recorded by mistake: what was posted is reversed, a charge is credited."
    button = "Cancel the sign-on"
    permission = "rangeday.change_signon"
    form_class = CancelForm

    def applies(self, target: SignOn) -> bool:
        return target.cancelled_on is None and target.range_day.closed_on is None

    def facts(self, target: SignOn) -> list[tuple[str, Any]]:
        return [("Who", target.who), ("Fee", target.amount), ("Paid by", target.get_paid_display())]

    def perform(self, *, target: SignOn, by: Any, on: Any, reason: str, key: Any) -> SignOn:
        return services.cancel_sign_on(sign_on=target, on=on, reason=reason, by=by)

    def done(self, result: SignOn) -> str:
        return f"Cancelled: {result.who}."


@admin.register(SignOn)
class SignOnAdmin(DocumentAdmin):
    list_display = ["who", "range_day", "gear", "amount_shown", "paid", "cancelled_on"]
    list_select_related = ["person", "range_day"]
    list_filter = ["gear", "paid"]
    search_fields = ["person__given_name", "person__family_name", "visitor_name"]
    search_help_text = "A name"
    date_hierarchy = "range_day__date"
    fields = [
        "range_day", "who", "gear", "amount_shown", "rounding_shown", "paid", "charge",
        "cancelled_on", "cancel_reason", "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    pages = [CancelSignOnPage()]
    amount_shown = amount_column("amount", "Fee")
    rounding_shown = amount_column("rounding", "Cash rounding")


class BankForm(VerbForm):
    amount = AmountFormField()
    on = HappenedField(label="Banked on")


class BankTakingsPage(VerbPage):
    title = "Bank takings"
    intro = "Write down cash that was brought from the till to the bank."
    button = "Record the banking"
    permission = "rangeday.add_banking"
    form_class = BankForm

    def facts(self, target: Any) -> list[tuple[str, Any]]:
        return [("In the till", as_amount(balance(Role.TILL, clock.today())))]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Banking:
        return services.bank_takings(by=by, **cleaned)


@admin.register(Banking)
class BankingAdmin(DocumentAdmin):
    list_display = ["banked_on", "amount_shown", "recorded_by"]
    list_select_related = ["recorded_by"]
    fields = ["banked_on", "amount_shown", "recorded_by"]
    readonly_fields = fields
    add_page = BankTakingsPage()
    amount_shown = amount_column("amount", "Amount")
