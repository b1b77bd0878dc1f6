"""What phones at the range sent, and answering what the book could not do by itself."""

from django import forms
from django.contrib import admin

from clubdesk.rangeday import services
from clubdesk.rangeday.models import Act, Tap, TapState
from clubdesk.rangeday.selectors import name_of
from clubdesk.screens.fields import VerbForm
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import page_of
from clubdesk.screens.verbs import Facts, VerbPage


class AnswerForm(VerbForm[Tap]):
    record = forms.TypedChoiceField(
        label="What is right",
        choices=[("", "It stays as it stands"), ("yes", "Record what is missing now")],
        coerce=bool,
        required=False,
        widget=forms.RadioSelect,
        initial="",
    )
    answer = forms.CharField(label="What you found out", max_length=150)


class AnswerTapPage(VerbPage[Tap, Tap]):
    slug = "answer"
    verb = services.answer_tap
    target = "tap"
    intro = (
        "If money was taken twice, give it back or record a receipt on the family’s page. If a fee was mistyped, "
        "cancel the sign-on first, then record what is missing. By recording a visitor you say that they agreed to the "
        "safety rules."
    )
    button = "Save the answer"
    form_class = AnswerForm

    def applies(self, target: Tap) -> bool:
        return target.state == TapState.QUESTION

    def facts(self, target: Tap) -> Facts:
        tapped = (
            f"{target.get_gear_display()}, {target.get_paid_display().lower()}"
            if target.act == Act.SIGN_ON
            else f"{target.get_act_display()}: {target.kit}"
        )
        said = f"{tapped}, by {name_of(target.recorded_by)}"
        return [("Who", target.who), ("Tapped", said), ("Question", target.question)]

    def done(self, target: Tap, result: Tap) -> str:
        return "Answered."

    def destination(self, target: Tap, result: Tap) -> str:
        return page_of(result.range_day)


@admin.register(Tap)
class TapAdmin(DocumentAdmin[Tap]):
    list_display = ("__str__", "who", "state", "question", "act", "gear", "paid")
    list_select_related = ("range_day",)
    list_filter = ("state", "act")
    search_fields = ("visitor_name", "question", "answer")
    search_help_text = "A visitor’s name, or words of a question or answer"
    fields = (
        "range_day", "tapped_at", "act", "kit", "who", "gear", "paid", "state", "question", "answer", "answered_by",
        "recorded_by",
    )  # fmt: skip
    readonly_fields = fields
    pages = (AnswerTapPage(),)

    @admin.display(description="Who")
    def who(self, tap: Tap) -> str:
        return tap.who
