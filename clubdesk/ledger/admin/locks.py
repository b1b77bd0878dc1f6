"""Screens of months that are locked, and of those that are to be unlocked."""

from datetime import date

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import FinancialYear, MonthLock, MonthUnlock, UnlockState
from clubdesk.rooms import in_order
from clubdesk.screens.fields import VerbForm, form_of, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.verbs import Facts, VerbPage, signed_in


class LockForm(VerbForm[FinancialYear]):
    month_end = forms.TypedChoiceField(label="Lock through", choices=[], coerce=date.fromisoformat)
    reason = forms.CharField(
        label="Why it is locked all the same", max_length=150, required=False,
        help_text="Needed where the months lack what stands above. It is kept, and stands in the workbook.",
    )  # fmt: skip

    def prepare(self) -> None:
        field = self.fields["month_end"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(day.isoformat(), f"{day:%B %Y}") for day in lockable(self.target)]


def lockable(year: FinancialYear) -> list[date]:
    """The ends of the year's open months that are over."""
    first = services.first_open(year)
    if first > year.last_day:
        return []
    return [day for day in selectors.month_ends(first, year.last_day) if day < clock.today()]


class LockPage(VerbPage[FinancialYear, FinancialYear]):
    slug = "lock"
    verb = services.lock_month
    intro = (
        "Nothing posts into a locked month any more. Lock what is signed off. Until the year is closed two people can"
        " unlock a month that was locked by mistake: one asks, another agrees."
    )
    button = "Lock"
    form_class = LockForm

    def applies(self, target: FinancialYear) -> bool:
        return bool(lockable(target))

    def not_now(self, target: FinancialYear) -> str:
        return "no month of it is over that is not locked yet."

    def facts(self, target: FinancialYear) -> Facts:
        found: list[tuple[str, object]] = [("Year", target), ("Locked through", target.locked_through or "nothing yet")]
        ends = lockable(target)
        for each in (each for room in in_order() for each in room.before_lock if ends):
            lacking = [("Look at this", said) for said in each.lacking(services.first_open(target), ends[-1])]
            found += [*lacking, ("If it is locked all the same", each.means)] if lacking else []
        return found

    def done(self, target: FinancialYear, result: FinancialYear) -> str:
        assert result.locked_through, "a month of it was locked just now"
        return f"{result} is locked through {long_day(result.locked_through)}."


class UnlockForm(VerbForm[FinancialYear]):
    month_end = forms.TypedChoiceField(label="Unlock from", choices=[], coerce=date.fromisoformat)
    reason = reason_field("What was locked by mistake, and what is to be put right. It is kept.")

    def prepare(self) -> None:
        field = self.fields["month_end"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(day.isoformat(), f"{day:%B %Y}") for day in reversed(locked_months(self.target))]


def locked_months(year: FinancialYear) -> list[date]:
    """The ends of the year's locked months."""
    return selectors.month_ends(year.first_day, year.locked_through) if year.locked_through else []


def becomes_of_proof(first: date, last: date) -> Facts:
    """What becomes of what was proven of these months, where they are unlocked."""
    said = (said for room in in_order() for each in room.before_lock for said in each.unlocked(first, last))
    return [("Look at this", sentence) for sentence in said]


class AskUnlockPage(VerbPage[FinancialYear, MonthUnlock]):
    slug = "unlock"
    verb = services.ask_to_unlock
    target = "year"
    intro = (
        "The month and every later one of the year are open again once somebody else agrees. Until then nothing"
        " changes. Lock them again when what was wrong is put right; who asked, who agreed and why stay in the"
        " workbook."
    )
    button = "Ask for it"
    form_class = UnlockForm

    def applies(self, target: FinancialYear) -> bool:
        return bool(target.locked_through) and not target.is_closed

    def facts(self, target: FinancialYear) -> Facts:
        if not target.locked_through:
            return ()
        signed = becomes_of_proof(target.first_day, target.locked_through)
        return [("Locked through", target.locked_through), *signed]

    def done(self, target: FinancialYear, result: MonthUnlock) -> str:
        return f"{result.month_end:%B %Y}: somebody else must agree before it is unlocked."


class DecideUnlockPage(VerbPage[MonthUnlock, MonthUnlock]):
    """What agreeing and declining share."""

    target = "unlock"

    def applies(self, target: MonthUnlock) -> bool:
        return target.state == UnlockState.ASKED

    def not_now(self, target: MonthUnlock) -> str:
        return "it was decided already."

    def facts(self, target: MonthUnlock) -> Facts:
        through = target.year.locked_through or target.month_end
        return [
            ("From the month to", target.month_end),
            ("Locked through", through),
            ("Why", target.reason),
            ("Asked for by", target.recorded_by),
            *becomes_of_proof(target.month_end.replace(day=1), through),
        ]


class AgreePage(DecideUnlockPage):
    slug = "agree"
    verb = services.agree_to_unlock
    intro = "The months are open again at once, and entries can be dated there until they are locked anew."
    button = "Agree, and unlock"

    def offered(self, request: HttpRequest, target: MonthUnlock) -> bool:
        return super().offered(request, target) and signed_in(request).pk != target.recorded_by_id

    def done(self, target: MonthUnlock, result: MonthUnlock) -> str:
        return f"Unlocked from {result.month_end:%B %Y}."


class DeclinePage(DecideUnlockPage):
    slug = "decline"
    verb = services.decline_unlock
    intro = "The months stay locked."
    form_class = form_of(reason=reason_field())

    def done(self, target: MonthUnlock, result: MonthUnlock) -> str:
        return "Declined; the months stay locked."


@admin.register(MonthLock)
class MonthLockAdmin(DocumentAdmin[MonthLock]):
    list_display = ("__str__", "locked_on", "recorded_by", "reason")
    list_select_related = ("recorded_by",)
    fields = ("year", "month_end", "locked_on", "lacking", "reason", "recorded_by")
    readonly_fields = fields


@admin.register(MonthUnlock)
class MonthUnlockAdmin(DocumentAdmin[MonthUnlock]):
    list_display = ("__str__", "asked_on", "recorded_by", "state", "decided_by", "reason")
    list_select_related = ("recorded_by", "decided_by")
    list_filter = ("state",)
    fields = (
        "year", "month_end", "stays_locked_through", "reason", "asked_on", "recorded_by", "state", "decided_by",
        "decided_on", "answer",
    )  # fmt: skip
    readonly_fields = fields
    pages = (AgreePage(), DeclinePage())
