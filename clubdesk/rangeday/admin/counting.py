"""Counting the tin at the end of a day, and opening a counted day again."""

from collections.abc import Sequence

from django import forms
from django.contrib.auth.models import User
from django.http import HttpRequest

from clubdesk.clock import day_text
from clubdesk.money import AmountFormField, as_amount, from_cents, nil, shown
from clubdesk.rangeday import handed_in, heard, kits, selectors, services
from clubdesk.rangeday.forms import PiecesField
from clubdesk.rangeday.models import RangeCount, RangeDay, TillCount
from clubdesk.rangeday.selectors import name_of
from clubdesk.rangeday.services.counting import counted_in_words
from clubdesk.screens.fields import HappenedField, VerbForm, form_of
from clubdesk.screens.tables import Section
from clubdesk.screens.verbs import Facts, VerbPage, signed_in


class ByName(forms.ModelChoiceField[User]):
    """People who sign in, by their names."""

    def label_from_instance(self, obj: User) -> str:
        return name_of(obj)


class CloseForm(VerbForm[RangeDay]):
    opening = AmountFormField(
        label="Float: what is in the cash box besides today’s fees",
        help_text="All other cash that the ledger knows: what is left of earlier days, and what families paid in "
        "cash, less what was banked. Write less where some of it lies elsewhere.",
    )
    pieces = PiecesField(label="Notes and coins in the cash box")
    card_slip = AmountFormField(
        label="Total on the card reader’s slip", required=False, help_text="Blank where no card was used."
    )
    receipts_on_slip = forms.BooleanField(
        label="Fees that families paid by card today are on this slip", required=False
    )
    second_counter = ByName(label="Counted with", queryset=User.objects.filter(is_active=True, is_staff=True))
    reason = forms.CharField(
        label="Reason for a difference",
        required=False,
        max_length=150,
        help_text="Only where the cash box or the slip is over or short.",
    )
    on = HappenedField(label="Counted on")

    def prepare(self) -> None:
        if selectors.tin(self.target).card_receipts == nil():
            del self.fields["receipts_on_slip"]


class CloseDayPage(VerbPage[RangeDay, TillCount]):
    slug = "close"
    verb = services.close_day
    target = "range_day"
    intro = "Two people count. A difference is posted to Cash over and short, and your reason is kept beside it."
    button = "Close the day"
    form_class = CloseForm
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def not_now(self, target: RangeDay) -> str:
        count = selectors.standing_count(target)
        return counted_in_words(count) if count else super().not_now(target)

    def initial(self, request: HttpRequest, target: RangeDay) -> dict[str, object]:
        return {
            "opening": selectors.tin(target).opening,
            "receipts_on_slip": True,
            **_as_handed_in(handed_in.latest_count(target), signed_in(request)),
        }

    def facts(self, target: RangeDay) -> Facts:
        tin, day = selectors.tin(target), selectors.days_with_takings().get(pk=target.pk)
        out = kits.kit_out(target).count()
        lost = [("Look at this", f"A {heard.in_words(each)}") for each in heard.silent(target) if each.unsent]
        found = [
            *lost,
            *range_count_facts(target, tin),
            ("Cash from today’s fees", tin.taken),
            ("Should be in the cash box, with the float below", tin.expected(tin.opening)),
            *([("Cash fees of other ranges, not counted yet", tin.elsewhere)] if tin.elsewhere != nil() else []),
            ("Cards, by the sheet", tin.card),
            *([("Cards, families’ fees today", tin.card_receipts)] if tin.card_receipts != nil() else []),
            ("Put on account", as_amount(day.account)),
        ]
        return [*found, ("Kit still out", out)] if out else found

    def done(self, target: RangeDay, result: TillCount) -> str:
        return f"{target} is closed."


def _as_handed_in(count: RangeCount | None, user: User) -> dict[str, object]:
    """The form as helpers have counted, with one of them who is not the one that closes."""
    if count is None:
        return {}
    second = count.second_counter if count.recorded_by_id == user.pk else count.recorded_by
    given = {"pieces": count.counted_pieces, "second_counter": second, "reason": count.note}
    return given if count.card_slip is None else {**given, "card_slip": count.card_slip}


def range_count_facts(day: RangeDay, tin: selectors.Tin) -> Facts:
    """What helpers counted at the range, whether both say so, and by how much it differs from the book."""
    count = handed_in.latest_count(day)
    if count is None:
        return []
    second = name_of(count.second_counter)
    confirmed = f"{second} has confirmed it" if count.confirmed_at else f"{second} has not confirmed it by a sign-in"
    said = f"{shown(count.counted)} by {name_of(count.recorded_by)} and {second}; {confirmed}."
    return [("Counted at the range", f"{said} {count.note}".strip()), *_differs(count, tin)]


def _differs(count: RangeCount, tin: selectors.Tin) -> Facts:
    over = as_amount(count.counted - tin.expected(tin.opening))
    return [("Cash box over by" if over > nil() else "Cash box short by", abs(over))] if over != nil() else []


class HandInForm(VerbForm[RangeDay]):
    pieces = PiecesField(label="Notes and coins in the cash box")
    card_slip = AmountFormField(
        label="Total on the card reader’s slip", required=False, help_text="Blank where no card was used."
    )
    second_counter = ByName(
        label="Counted with",
        queryset=User.objects.filter(is_active=True, is_staff=True),
        help_text="They can confirm it by their own sign-in, on this day’s page.",
    )
    note = forms.CharField(
        label="What the coordinator should know", required=False, max_length=150,
        help_text="Such as: five dollars less than expected, not found.",
    )  # fmt: skip
    on = HappenedField(label="Counted on")


class HandInPage(VerbPage[RangeDay, RangeCount]):
    slug = "count"
    verb = services.hand_in_count
    target = "range_day"
    intro = "Two people count. Nothing is posted: whoever may close the day sees your count, and what differs."
    button = "Hand the count in"
    form_class = HandInForm
    lands_on_target = True
    decides_by_facts = False

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def not_now(self, target: RangeDay) -> str:
        count = selectors.standing_count(target)
        return counted_in_words(count) if count else super().not_now(target)

    def facts(self, target: RangeDay) -> Facts:
        return [("Look at this", f"A {heard.in_words(each)}") for each in heard.silent(target) if each.unsent]

    def done(self, target: RangeDay, result: RangeCount) -> str:
        return f"{shown(result.counted)} counted. {name_of(result.second_counter)} can confirm it on this page."


class ConfirmCountPage(VerbPage[RangeDay, RangeCount]):
    slug = "confirm-count"
    verb = services.confirm_count
    target = "range_day"
    intro = "Confirm it only if you counted along, and this is what you counted."
    button = "Yes, we counted this"
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        count = handed_in.latest_count(target) if target.is_open else None
        return count is not None and count.confirmed_at is None

    def offered(self, request: HttpRequest, target: RangeDay) -> bool:
        count = handed_in.latest_count(target)
        return super().offered(request, target) and count is not None and count.second_counter == request.user

    def facts(self, target: RangeDay) -> Facts:
        count = handed_in.latest_count(target)
        if count is None:
            return []
        slip = [("Card slip", count.card_slip)] if count.card_slip is not None else []
        pieces = ", ".join(f"{number} of {shown(from_cents(cents))}" for cents, number in count.counted_pieces.items())
        told = [("Counted", count.counted), ("Notes and coins", pieces or "none"), *slip]
        return [*told, ("By", f"{name_of(count.recorded_by)} and {name_of(count.second_counter)}")]

    def done(self, target: RangeDay, result: RangeCount) -> str:
        return "Confirmed: two people have counted the same."


class ReopenDayPage(VerbPage[RangeDay, TillCount]):
    slug = "reopen"
    verb = services.reopen_day
    target = "range_day"
    intro = (
        "The count stays, marked with your name and reason; its difference is reversed. Count the cash box again"
        " afterwards."
    )
    button = "Reopen the day"
    form_class = form_of(reason=forms.CharField(label="Why it is opened again", max_length=150))
    lands_on_target = True

    def applies(self, target: RangeDay) -> bool:
        return target.closed_on is not None

    def done(self, target: RangeDay, result: TillCount) -> str:
        return f"{target} is open again."


def count_section(request: HttpRequest, day: RangeDay) -> Section:
    counts = TillCount.objects.filter(range_day=day).select_related("recorded_by", "second_counter", "reopened_by")
    rows = [row for count in counts for row in _count_rows(count)]
    note = " ".join(_count_in_words(count) for count in counts)
    empty = "Nothing to count." if day.called_off_on else "Not counted yet."
    return Section("Count", ["What", "Expected", "Counted", "Difference"], rows, empty, note)


def _count_rows(count: TillCount) -> list[Sequence[object]]:
    before = "Before it was reopened: " if count.reopened_on else ""
    rows: list[Sequence[object]] = [(f"{before}cash box".capitalize(), count.expected, count.counted, count.difference)]
    if count.card_expected != nil() or count.card_slip != nil():
        rows.append((f"{before}card slip".capitalize(), count.card_expected, count.card_slip, count.card_difference))
    return rows


def _count_in_words(count: TillCount) -> str:
    said = f"Counted by {name_of(count.recorded_by)} and {name_of(count.second_counter)}"
    said += f"; {count.reason}." if count.reason else "."
    if count.reopened_on:
        said += f" Reopened on {day_text(count.reopened_on)} by {name_of(count.reopened_by)}: {count.reopen_reason}."
    return said


def pieces_section(request: HttpRequest, day: RangeDay) -> Section | None:
    """The notes and coins of each count, the one that stands first."""
    counts = TillCount.objects.filter(range_day=day).prefetch_related("pieces")
    rows = [
        (from_cents(each.cents), each.number, from_cents(each.cents * each.number),
         "before it was reopened" if count.reopened_on else "")
        for count in counts
        for each in count.pieces.all()
    ]  # fmt: skip
    return Section("Notes and coins", ["Worth", "How many", "Together", ""], rows) if rows else None
