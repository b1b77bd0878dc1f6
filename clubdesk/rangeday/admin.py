"""Screens of the range day, made for a phone at the range."""

from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.defaultfilters import linebreaksbr
from django.urls import reverse
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.fees.admin import CancelForm
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import AmountFormField, as_amount, nil, shown
from clubdesk.rangeday import figures, selectors, services
from clubdesk.rangeday.forms import PiecesField
from clubdesk.rangeday.models import (
    Act,
    Banking,
    Gear,
    Kit,
    KitState,
    OwnGearCost,
    Paid,
    RangeDay,
    SafetyText,
    SignOn,
    Tap,
    TapState,
    TillCount,
)
from clubdesk.rangeday.services.kit import HAVE_IT_CHECKED
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
    visitor_guardian = forms.CharField(label="For a child: guardian's name", required=False, max_length=100)
    visitor_phone = forms.CharField(label="Guardian's phone", required=False, max_length=30)
    agreed = forms.BooleanField(label="The visitor read the safety rules and agrees to them", required=False)
    gear = forms.ChoiceField(
        choices=[(Gear.HIRE, "Club gear"), (Gear.OWN, "Own gear")], widget=forms.RadioSelect, initial=Gear.HIRE
    )
    paid = forms.ChoiceField(label="Paid by", choices=Paid.choices, widget=forms.RadioSelect, initial=Paid.CASH)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        rules = selectors.safety_text(self.target.date) if self.target else None
        self.fields["agreed"].help_text = linebreaksbr(rules.text) if rules else ""


class SignOnPage(VerbPage):
    slug = "sign-on"
    title = "Sign on"
    button = "Sign on"
    permission = "rangeday.add_signon"
    form_class = SignOnForm

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def heading(self, target: RangeDay) -> str:
        return f"Sign on: {target}"

    def facts(self, target: RangeDay) -> list[tuple[str, Any]]:
        return [
            *((label, figure if figure is not None else "no price yet") for label, figure in selectors.board(target)),
            ("Signed on so far", target.sign_ons.filter(selectors.STANDS).count()),
        ]

    def perform(self, *, target: RangeDay, by: Any, agreed: bool, **cleaned: Any) -> SignOn:
        safety = selectors.safety_text(target.date) if agreed else None
        return services.sign_on(range_day=target, by=by, safety=safety, **cleaned)

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
        return target.is_open

    def url(self, target: Any) -> str:
        return reverse("admin:range_sheet", args=[target.pk])


class ByName(forms.ModelChoiceField):
    """People who sign in, by their names."""

    def label_from_instance(self, user: Any) -> str:
        return _name(user)


class CloseForm(VerbForm):
    opening = AmountFormField(
        label="Float: what is in the tin besides today’s fees",
        help_text="All other cash that the ledger knows: what is left of earlier days, and what households paid in "
        "cash, less what was banked. Write less where some of it lies elsewhere.",
    )
    pieces = PiecesField(label="Notes and coins in the tin")
    card_slip = AmountFormField(
        label="Total on the card reader’s slip", required=False, help_text="Blank where no card was used."
    )
    receipts_on_slip = forms.BooleanField(
        label="Fees that households paid by card today are on this slip", required=False
    )
    second_counter = ByName(
        label="Counted with", queryset=get_user_model().objects.filter(is_active=True, is_staff=True)
    )
    reason = forms.CharField(
        label="Reason for a difference",
        required=False,
        max_length=150,
        help_text="Only where the tin or the slip is over or short.",
    )
    on = HappenedField(label="Counted on")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if self.target and selectors.tin(self.target).card_receipts == nil():
            del self.fields["receipts_on_slip"]


class CloseDayPage(VerbPage):
    slug = "close"
    title = "Count the tin and close the day"
    intro = "Two people count. A difference is posted to Cash over and short, and your reason is kept beside it."
    button = "Close the day"
    permission = "rangeday.close_rangeday"
    form_class = CloseForm

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def initial(self, request: HttpRequest, target: RangeDay) -> dict[str, Any]:
        return {"opening": selectors.tin(target).opening, "receipts_on_slip": True}

    def facts(self, target: RangeDay) -> list[tuple[str, Any]]:
        tin, day = selectors.tin(target), selectors.days_with_takings().get(pk=target.pk)
        out = selectors.kit_out(target).count()
        found = [
            ("Cash from today’s fees", tin.taken),
            ("Should be in the tin, with the float below", tin.expected(tin.opening)),
            *([("Cash fees of other ranges, not counted yet", tin.elsewhere)] if tin.elsewhere != nil() else []),
            ("Cards, by the sheet", tin.card),
            *([("Cards, households’ fees today", tin.card_receipts)] if tin.card_receipts != nil() else []),
            ("Put on account", as_amount(day.account)),
        ]
        return [*found, ("Kit still out", out)] if out else found

    def perform(self, *, target: RangeDay, by: Any, receipts_on_slip: bool = True, **cleaned: Any) -> RangeDay:
        count = services.close_day(range_day=target, by=by, receipts_on_slip=receipts_on_slip, **cleaned)
        return count.range_day

    def done(self, result: RangeDay) -> str:
        return f"{result} is closed."


class ReopenForm(VerbForm):
    reason = forms.CharField(label="Why it is opened again", max_length=150)


class ReopenDayPage(VerbPage):
    slug = "reopen"
    title = "Reopen this day"
    intro = (
        "The count stays, marked with your name and reason; its difference is reversed. Count the tin again afterwards."
    )
    button = "Reopen the day"
    permission = "rangeday.close_rangeday"
    form_class = ReopenForm

    def applies(self, target: RangeDay) -> bool:
        return target.closed_on is not None

    def perform(self, *, target: RangeDay, by: Any, reason: str, key: Any) -> RangeDay:
        return services.reopen_day(range_day=target, reason=reason, on=clock.today(), by=by).range_day

    def done(self, result: RangeDay) -> str:
        return f"{result} is open again."


class CallOffForm(VerbForm):
    reason = forms.CharField(label="Why", max_length=120, help_text="Such as: lightning.")
    move_to = forms.ModelChoiceField(
        label="What is prepaid moves to",
        queryset=RangeDay.objects.none(),
        required=False,
        empty_label="No day yet: it stays on their accounts",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["move_to"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = selectors.open_days_after(self.target)


class CallOffPage(VerbPage):
    slug = "call-off"
    title = "Call the day off"
    intro = (
        "Nobody is charged. What a household paid goes to its account, where it pays the day that you choose or else "
        "its oldest open fee. A visitor without a household gets the money back by hand; the day then lists who."
    )
    button = "Call the day off"
    permission = "rangeday.close_rangeday"
    form_class = CallOffForm

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def facts(self, target: RangeDay) -> list[tuple[str, Any]]:
        return [("Signed on", target.sign_ons.filter(selectors.STANDS).count())]

    def perform(self, *, target: RangeDay, by: Any, key: Any, **cleaned: Any) -> RangeDay:
        return services.call_off_day(range_day=target, on=clock.today(), by=by, **cleaned).day

    def done(self, result: RangeDay) -> str:
        return f"{result} is called off. No letter went out: tell the families as you usually do."


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
    return f"paid for {day_text(moved.range_day.date)}" if moved else "paid to their household’s account"


def count_section(request: HttpRequest, day: RangeDay) -> Section:
    counts = TillCount.objects.filter(range_day=day).select_related("recorded_by", "second_counter", "reopened_by")
    rows = [row for count in counts for row in _count_rows(count)]
    note = " ".join(_count_in_words(count) for count in counts)
    empty = "Nothing to count." if day.called_off_on else "Not counted yet."
    return Section("Count", ["What", "Expected", "Counted", "Difference"], rows, empty, note)


def _count_rows(count: TillCount) -> list[tuple[Any, ...]]:
    before = "Before it was reopened: " if count.reopened_on else ""
    rows = [(f"{before}tin".capitalize(), count.expected, count.counted, count.difference)]
    if count.card_expected != nil() or count.card_slip != nil():
        rows.append((f"{before}card slip".capitalize(), count.card_expected, count.card_slip, count.card_difference))
    return rows


def _count_in_words(count: TillCount) -> str:
    said = f"Counted by {_name(count.recorded_by)} and {_name(count.second_counter)}"
    said += f"; {count.reason}." if count.reason else "."
    if count.reopened_on:
        said += f" Reopened on {day_text(count.reopened_on)} by {_name(count.reopened_by)}: {count.reopen_reason}."
    return said


def _name(user: Any) -> str:
    return user.get_full_name() or user.get_username()


def pieces_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """The notes and coins of each count, the one that stands first."""
    counts = TillCount.objects.filter(range_day=day).prefetch_related("pieces")
    rows = [
        (as_amount(each.cents) / 100, each.number, as_amount(each.cents * each.number) / 100,
         "before it was reopened" if count.reopened_on else "")
        for count in counts
        for each in count.pieces.all()
    ]  # fmt: skip
    return Section("Notes and coins", ["Worth", "How many", "Together", ""], rows) if rows else None


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
        "cancel the sign-on first, then record what is missing. By recording a visitor you say that they agreed to the "
        "safety rules."
    )
    button = "Save the answer"
    permission = "rangeday.close_rangeday"
    form_class = AnswerForm

    def applies(self, target: Tap) -> bool:
        return target.state == TapState.QUESTION

    def facts(self, target: Tap) -> list[tuple[str, Any]]:
        by = target.recorded_by.get_full_name() or target.recorded_by.get_username()
        tapped = (
            f"{target.get_gear_display()}, {target.get_paid_display().lower()}"
            if target.act == Act.SIGN_ON
            else f"{target.get_act_display()}: {target.kit}"
        )
        return [("Who", target.who), ("Tapped", f"{tapped}, by {by}"), ("Question", target.question)]

    def perform(self, *, target: Tap, by: Any, record: bool, answer: str, key: Any) -> Tap:
        return services.answer_tap(tap=target, record=record, answer=answer, on=clock.today(), by=by)

    def done(self, result: Tap) -> str:
        return "Answered."

    def destination(self, result: Tap) -> str:
        return page_of(result.range_day)


@admin.register(Tap)
class TapAdmin(DocumentAdmin):
    list_display = ["__str__", "who", "state", "question", "act", "gear", "paid"]
    list_select_related = ["range_day"]
    list_filter = ["state", "act"]
    fields = [
        "range_day",
        "tapped_at",
        "act",
        "kit",
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


class StandingFilter(admin.SimpleListFilter):
    title = "standing"
    parameter_name = "standing"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        return [("uncounted", "Not counted yet"), ("called-off", "Called off")]

    def queryset(self, request: HttpRequest, queryset: Any) -> Any:
        if self.value() == "uncounted":
            return queryset.filter(pk__in=selectors.uncounted(clock.today()).values("pk"))
        return queryset.filter(called_off_on__isnull=False) if self.value() == "called-off" else queryset


@admin.register(RangeDay)
class RangeDayAdmin(RoomAdmin):
    list_display = ["date", "place", "standing", "people", "cash", "card", "account"]
    list_filter = [StandingFilter]
    date_hierarchy = "date"
    fields = ["date", "place"]
    pages = [SheetStep(), SignOnPage(), CloseDayPage(), ReopenDayPage(), CallOffPage()]
    section_makers = [
        standing_section, questions_section, kit_out_section, count_section, pieces_section, sign_ons_section,
    ]  # fmt: skip
    sections_first = True
    change_list_template = "rangeday/days.html"

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

    @admin.display(description="Standing", ordering="closed_on")
    def standing(self, day: RangeDay) -> str:
        return day.standing

    @admin.display(description="Cash", ordering="cash")
    def cash(self, day: Any) -> str:
        return shown(day.cash)

    @admin.display(description="Card", ordering="card")
    def card(self, day: Any) -> str:
        return shown(day.card)

    @admin.display(description="On account", ordering="account")
    def account(self, day: Any) -> str:
        return shown(day.account)


def sign_on_facts(target: SignOn) -> list[tuple[str, Any]]:
    return [
        ("Who", target.who),
        ("Gear", target.get_gear_display()),
        ("Fee", target.amount),
        ("Paid by", target.get_paid_display()),
    ]


class CorrectForm(VerbForm):
    gear = forms.ChoiceField(
        choices=[(Gear.HIRE, "Club gear"), (Gear.OWN, "Own gear")], widget=forms.RadioSelect, initial=Gear.HIRE
    )
    paid = forms.ChoiceField(label="Paid by", choices=Paid.choices, widget=forms.RadioSelect)
    reason = forms.CharField(label="What was mistyped", max_length=150)


class CorrectSignOnPage(VerbPage):
    slug = "correct"
    title = "Correct this sign-on"
    intro = "The wrong one is cancelled with your reason, the right one recorded. Kit that is out stays with them."
    button = "Save the correction"
    permission = "rangeday.change_signon"
    form_class = CorrectForm

    def applies(self, target: SignOn) -> bool:
        return target.cancelled_on is None and target.range_day.is_open

    def facts(self, target: SignOn) -> list[tuple[str, Any]]:
        return sign_on_facts(target)

    def initial(self, request: HttpRequest, target: SignOn) -> dict[str, Any]:
        return {"gear": Gear.OWN if target.gear == Gear.OWN else Gear.HIRE, "paid": target.paid}

    def perform(self, *, target: SignOn, by: Any, key: Any, **cleaned: Any) -> SignOn:
        return services.correct_sign_on(wrong=target, on=clock.today(), by=by, **cleaned)

    def destination(self, result: SignOn) -> str:
        return page_of(result.range_day)

    def done(self, result: SignOn) -> str:
        return f"Corrected: {result.who}, {shown(result.handed_over)} {result.get_paid_display().lower()}."


class CancelSignOnPage(VerbPage):
    slug = "cancel"
    title = "Cancel this sign-on"
    intro = "For one recorded by mistake: what was posted is reversed, a charge is credited."
    button = "Cancel the sign-on"
    permission = "rangeday.change_signon"
    form_class = CancelForm

    def applies(self, target: SignOn) -> bool:
        return target.cancelled_on is None and target.range_day.is_open

    def facts(self, target: SignOn) -> list[tuple[str, Any]]:
        return sign_on_facts(target)

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
        "range_day", "who", "visitor_guardian", "visitor_phone", "safety", "gear", "amount_shown", "rounding_shown",
        "paid", "charge", "corrects", "cancelled_on", "cancel_reason", "recorded_by",
    ]  # fmt: skip
    readonly_fields = fields
    pages = [CorrectSignOnPage(), CancelSignOnPage()]
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
        return [("In the tin", as_amount(balance(Role.TILL, clock.today())))]

    def perform(self, *, target: Any, by: Any, **cleaned: Any) -> Banking:
        return services.bank_takings(by=by, **cleaned)

    def done(self, result: Banking) -> str:
        left = as_amount(balance(Role.TILL, clock.today()))
        return f"{shown(result.amount)} banked; {shown(left)} is left in the tin."


class CancelBankingPage(VerbPage):
    slug = "cancel"
    title = "Cancel this banking"
    intro = "For one written down wrongly: what was posted is reversed, and the money is in the tin again."
    button = "Cancel the banking"
    permission = "rangeday.add_banking"
    form_class = CancelForm

    def applies(self, target: Banking) -> bool:
        return target.cancelled_on is None

    def facts(self, target: Banking) -> list[tuple[str, Any]]:
        return [("Banked on", target.banked_on), ("Amount", target.amount)]

    def perform(self, *, target: Banking, by: Any, on: Any, reason: str, key: Any) -> Banking:
        return services.cancel_banking(banking=target, on=on, reason=reason, by=by)

    def done(self, result: Banking) -> str:
        return f"Cancelled: {result}."


@admin.register(Banking)
class BankingAdmin(DocumentAdmin):
    list_display = ["banked_on", "amount_shown", "recorded_by", "cancelled_on"]
    list_select_related = ["recorded_by"]
    fields = ["banked_on", "amount_shown", "recorded_by", "cancelled_on", "cancel_reason"]
    readonly_fields = fields
    add_page = BankTakingsPage()
    pages = [CancelBankingPage()]
    amount_shown = amount_column("amount", "Amount")


@admin.register(SafetyText)
class SafetyTextAdmin(RoomAdmin):
    list_display = ["in_force_from", "text"]
    fields = ["in_force_from", "text"]

    def get_changeform_initial_data(self, request: HttpRequest) -> dict[str, Any]:
        latest = SafetyText.objects.first()
        return {"in_force_from": clock.today(), "text": latest.text if latest else ""}

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(OwnGearCost)
class OwnGearCostAdmin(RoomAdmin):
    list_display = ["since", "amount_shown"]
    fields = ["since", "amount"]

    def get_changeform_initial_data(self, request: HttpRequest) -> dict[str, Any]:
        return {"since": clock.today()}

    amount_shown = amount_column("amount", "Costs about")


class AsideForm(VerbForm):
    state = forms.ChoiceField(
        label="It is",
        choices=[(each, each.label) for each in (KitState.SET_ASIDE, KitState.RETIRED)],
        widget=forms.RadioSelect,
        initial=KitState.SET_ASIDE,
    )
    note = forms.CharField(label="What is wrong with it", max_length=150)
    on = HappenedField(label="On")


class KitCheckPage(VerbPage):
    """What setting kit aside and finding it fit share: what is known of it."""

    permission = "rangeday.add_kitcheck"

    def facts(self, target: Kit) -> list[tuple[str, Any]]:
        found, last = figures.kit_in_use().get(pk=target.pk), target.checks.first()
        return [
            ("State", target.get_state_display()),
            *(
                [("Last noted", f"{day_text(last.checked_on)}: {last.note or last.get_state_display().lower()}")]
                if last
                else []
            ),
            ("Uses since it was found fit", found.uses_since_check),
            ("Uses in all", found.uses),
        ]

    def perform(self, *, target: Kit, by: Any, **cleaned: Any) -> Kit:
        return services.check_kit(kit=target, by=by, **cleaned).kit

    def done(self, result: Kit) -> str:
        return f"{result}: {result.get_state_display().lower()}."


class AsidePage(KitCheckPage):
    slug = "aside"
    title = "Set aside as unsafe"
    intro = f"What is set aside is not given out. {HAVE_IT_CHECKED}"
    button = "Set it aside"
    form_class = AsideForm

    def applies(self, target: Kit) -> bool:
        return target.state != KitState.RETIRED


class FitForm(VerbForm):
    note = forms.CharField(label="What was looked at or repaired", max_length=150)
    checked_by = forms.CharField(
        label="Checked by", max_length=80, help_text="The name of somebody qualified, such as the coach or a bow maker."
    )
    on = HappenedField(label="On")


class FitPage(KitCheckPage):
    slug = "fit"
    title = "Note a check: fit for use"
    intro = "Only where somebody qualified has checked it. Its uses are counted anew from here."
    button = "It is fit for use"
    permission = "rangeday.change_kit"
    form_class = FitForm

    def perform(self, *, target: Kit, by: Any, **cleaned: Any) -> Kit:
        return services.check_kit(kit=target, state=KitState.USABLE, by=by, **cleaned).kit


class BackPage(VerbPage):
    slug = "back"
    title = "It came back"
    intro = "For kit that came back without a tap on the sheet."
    button = "It is back"
    permission = "rangeday.change_signon"

    def applies(self, target: Kit) -> bool:
        return target.loans.filter(back_at=None).exists()

    def perform(self, *, target: Kit, by: Any, key: Any) -> Kit:
        out = target.loans.filter(back_at=None).first()
        services.take_back_kit(kit=target, at=max(clock.now(), out.given_at) if out else clock.now(), by=by)
        return target

    def done(self, result: Kit) -> str:
        return f"{result} is back."


def checks_section(request: HttpRequest, kit: Kit) -> Section:
    rows = [
        (row.checked_on, row.get_state_display(), row.note, row.checked_by or _name(row.recorded_by))
        for row in kit.checks.select_related("recorded_by")
    ]
    note = HAVE_IT_CHECKED if kit.state == KitState.SET_ASIDE else ""
    return Section("Checks", ["On", "Found", "Note", "By"], rows, "None noted yet.", note)


def loans_section(request: HttpRequest, kit: Kit) -> Section:
    loans = kit.loans.select_related("sign_on__person", "sign_on__range_day")[:20]
    rows = [
        (link_to(row.sign_on.range_day), row.sign_on.who,
         f"back {timezone.localtime(row.back_at):%H:%M}" if row.back_at else "still out")
        for row in loans
    ]  # fmt: skip
    return Section("Given out", ["Day", "To", ""], rows, "Never yet.")


class ToCheckFilter(admin.SimpleListFilter):
    title = "due for a check"
    parameter_name = "due"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        return [("yes", "Used as often as it may be before a check")]

    def queryset(self, request: HttpRequest, queryset: Any) -> Any:
        return queryset.filter(pk__in=figures.kit_to_check().values("pk")) if self.value() == "yes" else queryset


@admin.register(Kit)
class KitAdmin(RoomAdmin):
    list_display = ["number", "kind", "standing", "with_whom", "uses", "uses_since_check", "description"]
    list_filter = ["kind", "state", ToCheckFilter]
    search_fields = ["number", "description"]
    search_help_text = "A number"
    fields = ["number", "kind", "description", "check_after", "standing"]
    readonly_fields = ["standing"]
    pages = [BackPage(), AsidePage(), FitPage()]
    section_makers = [checks_section, loans_section]

    def get_queryset(self, request: HttpRequest) -> Any:
        return figures.kit_in_use().prefetch_related("loans__sign_on__person").order_by("kind", "number")

    @admin.display(description="State", ordering="state")
    def standing(self, kit: Any) -> str:
        if kit.pk is None:
            return "Fit for use"
        due = kit.state == KitState.USABLE and kit.check_after and kit.uses_since_check >= kit.check_after
        return f"{kit.get_state_display()}{', but due for a check' if due else ''}"

    @admin.display(description="Given out", ordering="uses")
    def uses(self, kit: Any) -> int:
        return kit.uses

    @admin.display(description="Since its check", ordering="uses_since_check")
    def uses_since_check(self, kit: Any) -> int:
        return kit.uses_since_check

    @admin.display(description="Now with")
    def with_whom(self, kit: Any) -> str:
        return next((loan.sign_on.who for loan in kit.loans.all() if loan.back_at is None), "")
