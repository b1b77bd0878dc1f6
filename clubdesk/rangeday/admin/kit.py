"""The club's kit: where it is, whether it is fit for use, and what was noted of it."""

from django import forms
from django.contrib import admin
from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.rangeday import figures, services
from clubdesk.rangeday.models import Kit, KitCheck, KitLoan, KitState
from clubdesk.rangeday.selectors import name_of
from clubdesk.rangeday.services.kit import HAVE_IT_CHECKED
from clubdesk.screens.fields import HappenedField, VerbForm
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage


class AsideForm(VerbForm[Kit]):
    state = forms.ChoiceField(
        label="It is",
        choices=[(each.value, each.label) for each in (KitState.SET_ASIDE, KitState.RETIRED)],
        widget=forms.RadioSelect,
        initial=KitState.SET_ASIDE,
    )
    note = forms.CharField(label="What is wrong with it", max_length=150)
    on = HappenedField(label="On")


class KitCheckPage(VerbPage[Kit, KitCheck]):
    """What setting kit aside and finding it fit share: what is known of it."""

    target = "kit"
    lands_on_target = True

    def facts(self, target: Kit) -> Facts:
        found, last = figures.kit_in_use().get(pk=target.pk), target.checks.first()
        noted = f"{day_text(last.checked_on)}: {last.note or last.get_state_display().lower()}" if last else ""
        return [
            ("State", target.get_state_display()),
            *([("Last noted", noted)] if noted else []),
            ("Uses since it was found fit", found.uses_since_check),
            ("Uses in all", found.uses),
        ]

    def done(self, target: Kit, result: KitCheck) -> str:
        return f"{result.kit}: {result.kit.get_state_display().lower()}."


class AsidePage(KitCheckPage):
    slug = "aside"
    verb = services.set_kit_aside
    intro = f"What is set aside is not given out. {HAVE_IT_CHECKED}"
    button = "Set it aside"
    form_class = AsideForm

    def applies(self, target: Kit) -> bool:
        return target.state != KitState.RETIRED


class FitForm(VerbForm[Kit]):
    note = forms.CharField(label="What was looked at or repaired", max_length=150)
    checked_by = forms.CharField(
        label="Checked by", max_length=80, help_text="The name of somebody qualified, such as the coach or a bow maker."
    )
    on = HappenedField(label="On")


class FitPage(KitCheckPage):
    slug = "fit"
    verb = services.find_kit_fit
    intro = "Only where somebody qualified has checked it. Its uses are counted anew from here."
    button = "It is fit for use"
    form_class = FitForm


class BackPage(VerbPage[Kit, KitLoan | None]):
    slug = "back"
    verb = services.take_back_kit
    target = "kit"
    intro = "For kit that came back without a tap on the sheet."
    button = "It is back"
    lands_on_target = True

    def applies(self, target: Kit) -> bool:
        return target.loans.filter(back_at=None).exists()

    def arguments(self, target: Kit, cleaned: dict[str, object]) -> dict[str, object]:
        """It is back now, or where a phone's clock ran ahead at the moment it was given out."""
        out = target.loans.filter(back_at=None).first()
        return {"kit": target, "at": max(clock.now(), out.given_at) if out else clock.now()}

    def done(self, target: Kit, result: KitLoan | None) -> str:
        return f"{target} is back."


def checks_section(request: HttpRequest, kit: Kit) -> Section:
    rows = [
        (row.checked_on, row.get_state_display(), row.note, row.checked_by or name_of(row.recorded_by))
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

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("yes", "Used as often as it may be before a check")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Kit]) -> QuerySet[Kit]:
        return queryset.filter(pk__in=figures.kit_to_check().values("pk")) if self.value() == "yes" else queryset


@admin.register(Kit)
class KitAdmin(RoomAdmin[Kit]):
    list_display = (
        "number", "kind", "size", "handed", "pounds", "standing", "with_whom", "uses", "uses_since_check",
        "description",
    )  # fmt: skip
    list_filter = ("kind", "hand", "state", ToCheckFilter)
    search_fields = ("number", "size", "description")
    search_help_text = "The number on it, its size, or words of its description"
    fields = ("number", "kind", "size", "hand", "draw_weight", "description", "check_after", "standing")
    readonly_fields = ("standing",)
    pages = (BackPage(), AsidePage(), FitPage())
    section_makers = (checks_section, loans_section)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Kit]:
        still_out = KitLoan.objects.filter(back_at=None).select_related("sign_on__person")
        rows = figures.kit_in_use().prefetch_related(Prefetch("loans", still_out, to_attr="still_out"))
        return rows.order_by("kind", "number")

    @admin.display(description="State", ordering="state")
    def standing(self, kit: figures.KitInUse) -> str:
        if kit.pk is None:
            return "Fit for use"
        due = kit.state == KitState.USABLE and kit.check_after and kit.uses_since_check >= kit.check_after
        return f"{kit.get_state_display()}{', but due for a check' if due else ''}"

    @admin.display(description="Hand", ordering="hand")
    def handed(self, kit: Kit) -> str:
        return kit.get_hand_display()

    @admin.display(description="Pounds", ordering="draw_weight")
    def pounds(self, kit: Kit) -> int | None:
        return kit.draw_weight

    @admin.display(description="Given out", ordering="uses")
    def uses(self, kit: figures.KitInUse) -> int:
        return kit.uses

    @admin.display(description="Since its check", ordering="uses_since_check")
    def uses_since_check(self, kit: figures.KitInUse) -> int:
        return kit.uses_since_check

    @admin.display(description="Now with")
    def with_whom(self, kit: Kit) -> str:
        return next((loan.sign_on.who for loan in getattr(kit, "still_out", ())), "")
