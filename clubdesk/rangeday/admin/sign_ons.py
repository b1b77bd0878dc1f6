"""Signing somebody on, and putting a sign-on right."""

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.template.defaultfilters import linebreaksbr

from clubdesk.money import nil, shown
from clubdesk.rangeday import selectors, services
from clubdesk.rangeday.models import Gear, Paid, RangeDay, SignOn
from clubdesk.roll.models import Person
from clubdesk.screens.fields import PickField, VerbForm, day_and_reason
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import amount_column, page_of
from clubdesk.screens.verbs import Facts, VerbPage

GEAR = [(Gear.HIRE.value, "Club kit"), (Gear.OWN.value, "Own gear")]


class SignOnForm(VerbForm[RangeDay]):
    person = PickField(
        Person, through=(SignOn, "person"), label="Who", required=False, help_text="A few letters of the name."
    )
    visitor_name = forms.CharField(label="Or a visitor's name", required=False, max_length=100)
    visitor_guardian = forms.CharField(label="For a child: guardian's name", required=False, max_length=100)
    visitor_phone = forms.CharField(label="Guardian's phone", required=False, max_length=30)
    agreed = forms.BooleanField(label="The visitor read the safety rules and agrees to them", required=False)
    gear = forms.ChoiceField(choices=GEAR, widget=forms.RadioSelect, initial=Gear.HIRE)
    paid = forms.ChoiceField(label="Paid by", choices=Paid.choices, widget=forms.RadioSelect, initial=Paid.CASH)

    def prepare(self) -> None:
        rules = selectors.safety_text(self.target.date)
        self.fields["agreed"].help_text = linebreaksbr(rules.text) if rules else ""


class SignOnPage(VerbPage[RangeDay, SignOn]):
    slug = "sign-on"
    verb = services.sign_on
    target = "range_day"
    button = "Sign on"
    form_class = SignOnForm
    asks_only = ("agreed",)
    decides_by_facts = False  # others sign on meanwhile

    def applies(self, target: RangeDay) -> bool:
        return target.is_open

    def heading(self, target: RangeDay) -> str:
        return f"Sign on: {target}"

    def facts(self, target: RangeDay) -> Facts:
        return [
            *((label, figure if figure is not None else "no price yet") for label, figure in selectors.board(target)),
            ("Signed on so far", target.sign_ons.filter(selectors.STANDS).count()),
        ]

    def arguments(self, target: RangeDay, cleaned: dict[str, object]) -> dict[str, object]:
        """Who ticks that they agree, agrees to the rules in force on the day."""
        safety = selectors.safety_text(target.date) if cleaned["agreed"] else None
        return {**super().arguments(target, cleaned), "safety": safety}

    def done(self, target: RangeDay, result: SignOn) -> str:
        if result.amount == nil():
            return f"{result.who} is signed on; nothing to pay."
        return f"{result.who} is signed on: {shown(result.handed_over)}, {result.get_paid_display().lower()}."

    def destination(self, target: RangeDay, result: SignOn) -> str:
        """The same page once more, for whoever is next."""
        return self.url(target)


class OneSignOnPage(VerbPage[SignOn, SignOn]):
    """What correcting and cancelling share: when they make sense, and what they are about."""

    def applies(self, target: SignOn) -> bool:
        return target.cancelled_on is None and target.range_day.is_open

    def facts(self, target: SignOn) -> Facts:
        return [
            ("Who", target.who),
            ("Gear", target.get_gear_display()),
            ("Fee", target.amount),
            ("Paid by", target.get_paid_display()),
        ]


class CorrectForm(VerbForm[SignOn]):
    gear = forms.ChoiceField(choices=GEAR, widget=forms.RadioSelect, initial=Gear.HIRE)
    paid = forms.ChoiceField(label="Paid by", choices=Paid.choices, widget=forms.RadioSelect)
    reason = forms.CharField(label="What was mistyped", max_length=150)


class CorrectSignOnPage(OneSignOnPage):
    slug = "correct"
    verb = services.correct_sign_on
    target = "wrong"
    intro = "The wrong one is cancelled with your reason, the right one recorded. Kit that is out stays with them."
    button = "Save the correction"
    form_class = CorrectForm

    def initial(self, request: HttpRequest, target: SignOn) -> dict[str, object]:
        return {"gear": Gear.OWN if target.gear == Gear.OWN else Gear.HIRE, "paid": target.paid}

    def destination(self, target: SignOn, result: SignOn) -> str:
        return page_of(result.range_day)

    def done(self, target: SignOn, result: SignOn) -> str:
        return f"Corrected: {result.who}, {shown(result.handed_over)} {result.get_paid_display().lower()}."


class CancelSignOnPage(OneSignOnPage):
    slug = "cancel"
    verb = services.cancel_sign_on
    target = "sign_on"
    intro = (
        "For one recorded by mistake: what was posted is reversed, a charge is credited. Kit that is out with them"
        " counts as back."
    )
    button = "Cancel the sign-on"
    form_class = day_and_reason("Cancelled on", "For instance: typed for the wrong family.")

    def done(self, target: SignOn, result: SignOn) -> str:
        return f"Cancelled: {result.who}."


@admin.register(SignOn)
class SignOnAdmin(DocumentAdmin[SignOn]):
    list_display = ("who", "range_day", "gear", "amount_shown", "paid", "cancelled_on")
    list_select_related = ("person", "range_day")
    list_filter = ("gear", "paid")
    search_fields = ("person__given_name", "person__family_name", "visitor_name", "visitor_guardian")
    search_help_text = "A name, of a visitor’s guardian too"
    date_hierarchy = "range_day__date"
    fields = (
        "range_day", "who", "visitor_guardian", "visitor_phone", "safety", "gear", "amount_shown", "rounding_shown",
        "paid", "charge", "corrects", "cancelled_on", "cancel_reason", "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    pages = (CorrectSignOnPage(), CancelSignOnPage())
    amount_shown = amount_column("amount", "Fee")
    rounding_shown = amount_column("rounding", "Cash rounding")
