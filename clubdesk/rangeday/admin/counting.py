"""Counting the tin at the end of a day, and opening a counted day again."""

from collections.abc import Sequence

from django import forms
from django.contrib.auth.models import User
from django.http import HttpRequest

from clubdesk.clock import day_text
from clubdesk.money import AmountFormField, as_amount, from_cents, nil
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.forms import PiecesField
from clubdesk.rangeday.models import RangeDay, TillCount
from clubdesk.rangeday.selectors import name_of
from clubdesk.rangeday.services.counting import counted_in_words
from clubdesk.screens.fields import HappenedField, VerbForm, form_of
from clubdesk.screens.tables import Section
from clubdesk.screens.verbs import Facts, VerbPage


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
        return {"opening": selectors.tin(target).opening, "receipts_on_slip": True}

    def facts(self, target: RangeDay) -> Facts:
        tin, day = selectors.tin(target), selectors.days_with_takings().get(pk=target.pk)
        out = selectors.kit_out(target).count()
        found = [
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
    rows: list[Sequence[object]] = [(f"{before}tin".capitalize(), count.expected, count.counted, count.difference)]
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
