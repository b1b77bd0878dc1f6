"""Screens made of verbs: a list and a read-only page from ModelAdmin, and one form page a verb.

A `VerbPage` shows a form, calls one verb of a room and says in words what came of it. What the verb refuses
stands above the form with everything typed still in it.
"""

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.contrib import admin, messages
from django.contrib.admin.options import IS_POPUP_VAR
from django.contrib.admin.widgets import AutocompleteSelect
from django.core.exceptions import PermissionDenied
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import DataError, IntegrityError, OperationalError, models, transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.response import TemplateResponse
from django.urls import URLPattern, path, reverse

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.money import shown

BUSY = "Somebody else was writing at the same moment. Nothing was saved; press the button again."


class DateInput(forms.DateInput):
    """The phone's or browser's own date picker."""

    input_type = "date"

    def __init__(self, attrs: dict | None = None):
        super().__init__(attrs, format="%Y-%m-%d")


class DayField(forms.DateField):
    """A date typed or picked, within living memory; starts at today."""

    widget = DateInput
    default_validators = [
        MinValueValidator(date(1990, 1, 1), "That is too long ago; check the year."),
        MaxValueValidator(date(2099, 12, 31), "That is too far ahead; check the year."),
    ]

    def __init__(self, **kwargs: Any):
        kwargs.setdefault("initial", clock.today)
        super().__init__(**kwargs)


class HappenedField(DayField):
    """The day on which something has happened: today or before."""

    def clean(self, value: Any) -> Any:
        day = super().clean(value)
        if day and day > clock.today():
            raise forms.ValidationError("That day has not come yet; write down when it happened.")
        return day


class SpanForm(forms.Form):
    """From which day to which the figures are."""

    since = DayField(label="From", initial=None)
    until = DayField(label="To", initial=None)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and since > until:
            self.add_error("until", "The last day is before the first.")
        return cleaned


class PickWidget(AutocompleteSelect):
    """Django's own finder, which trusts that what comes back is a number; anything else it now leaves to the field."""

    def optgroups(self, name: str, value: Any, attr: Any = None) -> Any:
        return super().optgroups(
            name, [pk for pk in value if str(pk).isascii() and str(pk).isdigit() and len(str(pk)) < 19], attr
        )


class PickField(forms.ModelChoiceField):
    """One row picked by typing a few letters; `through` names any foreign key to the model, which Django asks for."""

    def __init__(self, model: type[models.Model], through: tuple[type[models.Model], str], **kwargs: Any):
        source, name = through
        kwargs["widget"] = PickWidget(source._meta.get_field(name), admin.site, attrs={"data-width": "100%"})
        super().__init__(queryset=model._default_manager.all(), **kwargs)


class PickMany(forms.ModelMultipleChoiceField):
    """Rows ticked in a list; a number that no row can have is an unknown choice like any other."""

    widget = forms.CheckboxSelectMultiple

    def _check_values(self, value: Any) -> Any:
        try:
            return super()._check_values(value)  # type: ignore[misc]
        except OverflowError:
            raise forms.ValidationError("Choose from the list.") from None


class VerbForm(forms.Form):
    """The form of a verb; its key makes a second press of the button find the first one's result."""

    required_css_class = "required"
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(self, *args: Any, target: Any = None, **kwargs: Any):
        self.target = target
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    lines: Any = None
    """A formset of lines that the form shows as a table below its fields."""


class VerbPage:
    """One verb's page. Subclasses say what it is called, who may do it and how the form reaches the verb."""

    slug = ""
    routed = True
    title = ""
    intro = ""
    button = "Save"
    permission = ""
    form_class: ClassVar[type[VerbForm]] = VerbForm

    def allowed(self, request: HttpRequest) -> bool:
        return request.user.has_perm(self.permission)

    def applies(self, target: Any) -> bool:
        """Whether the verb makes sense for the document shown, in its present state."""
        return True

    def not_now(self, target: Any) -> str:
        """What somebody is told who comes by the address while it does not apply."""
        return "there is nothing to do here now."

    def offered(self, request: HttpRequest, target: Any) -> bool:
        """Whether the page's button is shown to whoever looks at the document."""
        return self.allowed(request) and self.applies(target)

    def heading(self, target: Any) -> str:
        return self.title

    def facts(self, target: Any) -> Sequence[tuple[str, Any]]:
        """What the person should see before deciding: labels and values."""
        return ()

    def initial(self, request: HttpRequest, target: Any) -> dict[str, Any]:
        """Starting values; a field of the form may also come in the address."""
        return {name: request.GET[name] for name in self.form_class.base_fields if name in request.GET}

    def perform(self, *args: Any, **cleaned: Any) -> Any:
        """Call the verb with `target`, `by` and the form's values; the person lands on what it returns."""
        raise NotImplementedError

    def done(self, result: Any) -> str:
        return f"Saved: {result}."

    def destination(self, result: Any) -> str:
        return page_of(result)

    def url(self, target: models.Model) -> str:
        meta = target._meta
        return reverse(f"admin:{meta.app_label}_{meta.model_name}_{self.slug}", args=[target.pk])


def run_verb_page(page: VerbPage, request: HttpRequest, target: Any, context: dict[str, Any]) -> HttpResponse:
    """Show the page, or do what it says and go to the result."""
    if not page.allowed(request):
        raise PermissionDenied
    if request.method == "POST":
        form = page.form_class(request.POST, request.FILES, target=target)
        result = _try(page, request, form, target) if form.is_valid() else None
        if result is not None:
            messages.success(request, page.done(result))
            return HttpResponseRedirect(page.destination(result))
    else:
        form = page.form_class(initial=page.initial(request, target), target=target)
    status = 422 if request.method == "POST" else 200
    context |= {
        "title": page.heading(target),
        "page": page,
        "facts": page.facts(target),
        "form": form,
        "target": target,
        "files_lost": bool(request.FILES),
    }
    return TemplateResponse(request, "screens/verb.html", context, status=status)


def _try(page: VerbPage, request: HttpRequest, form: VerbForm, target: Any) -> Any:
    try:
        with transaction.atomic():
            return page.perform(target=target, by=request.user, **form.cleaned_data)
    except (Refused, IntegrityError, DataError, OperationalError) as refusal:
        form.add_error(None, sentence_of(refusal))
    return None


def sentence_of(refusal: Exception) -> str:
    """What a person is told when a verb, the database or a moment's crowding says no."""
    if isinstance(refusal, Refused):
        return refusal.sentence
    if isinstance(refusal, OperationalError):
        return BUSY
    reason = str(refusal).splitlines()[0].strip().rstrip(".")
    return f"The book itself refused this, and nothing was saved: {reason}."


def _refusing(form: type[forms.ModelForm], refusal: str) -> type[forms.ModelForm]:
    """The form, made to say what the book refused."""

    class Refusing(form):  # type: ignore[valid-type, misc]
        def clean(self) -> Any:
            cleaned = super().clean()
            self.add_error(None, refusal)
            return cleaned

    return Refusing


@dataclass(frozen=True)
class Section:
    """A small table on a document's page; a cell is text, an amount (set to the right), a `Link` or a `Bar`."""

    title: str
    columns: Sequence[str]
    rows: Sequence[Sequence[Any]]
    empty: str = "None yet."
    note: str = ""


@dataclass(frozen=True)
class Link:
    text: str
    url: str


@dataclass(frozen=True)
class Bar:
    """A part of a whole, drawn as a bar with its figures beside it."""

    part: int
    whole: int

    @property
    def percent(self) -> int:
        return round(100 * self.part / self.whole) if self.whole else 0


@dataclass(frozen=True)
class Chart:
    """Columns over time, each made of parts one upon another, or `beside` each other; the same figures stand in a
    table with it.
    """

    title: str
    parts: Sequence[str]
    columns: Sequence[tuple[str, Sequence[Decimal]]]
    beside: bool = False

    WIDTH, HEIGHT, LEFT, BOTTOM = 640, 220, 72, 22
    MOST_LABELS = 5

    @property
    def top(self) -> Decimal:
        """The round figure at the top of the scale: 1, 2 or 5 and noughts, not below the tallest column."""
        heights = [max(values) if self.beside else sum(values, Decimal(0)) for _, values in self.columns if values]
        tallest = max(heights, default=Decimal(0))
        step = Decimal(1)
        while step < tallest:
            step *= Decimal(2) if str(step.normalize().as_tuple().digits[0]) != "2" else Decimal("2.5")
        return step

    @property
    def lines(self) -> list[tuple[int, str]]:
        """Heights and figures of the scale."""
        span = self.HEIGHT - 2 * self.BOTTOM
        quarters = (Decimal(0), self.top / 2, self.top)
        return [
            (round(self.HEIGHT - self.BOTTOM - span * figure / self.top), f"{figure.normalize():,f}")
            for figure in quarters
        ]

    @property
    def bars(self) -> list[dict[str, Any]]:
        """Rectangles of the drawing: x, y, width, height, and which part they show."""
        span, foot = self.HEIGHT - 2 * self.BOTTOM, Decimal(self.HEIGHT - self.BOTTOM)
        room = Decimal(self.WIDTH - self.LEFT) / max(len(self.columns), 1)
        width = min(room * 3 / 4, Decimal(40))
        thin = width / max(len(self.parts), 1) if self.beside else width
        drawn = []
        for place, (_, values) in enumerate(self.columns):
            y = foot
            for part, value in enumerate(values):
                height = span * value / self.top
                y = foot - height if self.beside else y - height
                x = self.LEFT + place * room + (room - width) / 2 + (thin * part if self.beside else 0)
                drawn.append({"x": f"{x:.1f}", "y": f"{y:.1f}", "width": f"{thin:.1f}",
                              "height": f"{height:.1f}", "part": part})  # fmt: skip
        return drawn

    @property
    def labels(self) -> list[tuple[str, str]]:
        """Where along the foot each label stands; not every column has one where there are many."""
        room = Decimal(self.WIDTH - self.LEFT) / max(len(self.columns), 1)
        every = -(-len(self.columns) // self.MOST_LABELS)
        return [
            (f"{self.LEFT + place * room + room / 2:.1f}", label)
            for place, (label, _) in enumerate(self.columns)
            if place % every == every // 2
        ]


class RoomAdmin(admin.ModelAdmin):
    """The base of every room's screens: nothing is deleted, and verbs stand as buttons on the page.

    A room above may add its own pages and sections to a page of a room below: `HouseholdAdmin.pages.append(…)`.
    """

    add_page: VerbPage | None = None
    list_pages: list[VerbPage] = []
    has_history = True
    pages: list[VerbPage] = []
    section_makers: list[Callable[[HttpRequest, Any], Section | None]] = []
    sections_first = False
    list_per_page = 50
    show_full_result_count = False
    show_facets = admin.ShowFacets.NEVER
    formfield_overrides = {models.DateField: {"widget": DateInput}}

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def changeform_view(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """A plain noun's form. What the book refuses stands above it, with everything typed still in it."""
        try:
            return super().changeform_view(request, *args, **kwargs)
        except (Refused, IntegrityError, DataError, OperationalError) as refusal:
            request.refusal = sentence_of(refusal)  # type: ignore[attr-defined]
            return super().changeform_view(request, *args, **kwargs)

    def get_form(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        form = super().get_form(request, *args, **kwargs)
        refusal = getattr(request, "refusal", None)
        return _refusing(form, refusal) if refusal else form

    def formfield_for_foreignkey(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        if db_field.name in self.get_autocomplete_fields(request):
            kwargs["widget"] = PickWidget(db_field, self.admin_site, attrs={"data-width": "100%"})
        return super().formfield_for_foreignkey(db_field, request, **kwargs)

    def get_urls(self) -> list[URLPattern]:
        meta = self.opts
        own = [
            path(
                f"<int:object_id>/{page.slug}/",
                self.admin_site.admin_view(self._view_of(page)),
                name=f"{meta.app_label}_{meta.model_name}_{page.slug}",
            )
            for page in self.pages
            if page.routed
        ]
        own += [
            path(
                f"{page.slug}/",
                self.admin_site.admin_view(self._list_view_of(page)),
                name=f"{meta.app_label}_{meta.model_name}_{page.slug}",
            )
            for page in self.list_pages
        ]
        return own + super().get_urls()

    def _list_view_of(self, page: VerbPage) -> Any:
        """A page that makes a document in a way of its own, beside the list's add page."""
        return lambda request: run_verb_page(page, request, None, self._context(request))

    def _view_of(self, page: VerbPage) -> Any:
        def view(request: HttpRequest, object_id: int) -> HttpResponse:
            target = self.get_object(request, str(object_id))
            if target is None:
                raise Http404
            if not self.has_view_permission(request, target):
                raise PermissionDenied
            if request.method == "GET" and not page.applies(target):
                messages.info(request, f"{target}: {page.not_now(target)}")
                return HttpResponseRedirect(page_of(target))
            return run_verb_page(page, request, target, self._context(request))

        return view

    def changelist_view(self, request: HttpRequest, extra_context: Any = None) -> HttpResponse:
        meta = self.opts
        more = {
            "title": str(meta.verbose_name_plural).capitalize(),
            "list_pages": [
                (page.title, reverse(f"admin:{meta.app_label}_{meta.model_name}_{page.slug}"))
                for page in self.list_pages
                if page.offered(request, None)
            ],
        }
        return super().changelist_view(request, {**more, **(extra_context or {})})

    def add_view(self, request: HttpRequest, form_url: str = "", extra_context: Any = None) -> HttpResponse:
        if self.add_page is None:
            return super().add_view(request, form_url, extra_context)
        return run_verb_page(self.add_page, request, None, self._context(request))

    def has_add_permission(self, request: HttpRequest) -> bool:
        if self.add_page is not None:
            return self.add_page.allowed(request)
        return super().has_add_permission(request)

    def render_change_form(self, request: HttpRequest, context: dict, *args: Any, **kwargs: Any) -> HttpResponse:
        target = context.get("original")
        if target is not None and IS_POPUP_VAR not in request.GET:
            context["has_history"] = self.has_history
            context["verbs"] = [
                {"page": page, "url": page.url(target)} for page in self.pages if page.offered(request, target)
            ]
            made = [make(request, target) for make in self.section_makers]
            context["sections"] = [section for section in made if section]
            context["sections_first"] = self.sections_first
            context["title"], context["subtitle"] = str(target), None
        return super().render_change_form(request, context, *args, **kwargs)

    def _context(self, request: HttpRequest) -> dict[str, Any]:
        return {**self.admin_site.each_context(request), "opts": self.opts, "is_popup": False}


class DocumentAdmin(RoomAdmin):
    """Screens of documents: written by a verb, then only read; what became of them stands in the ledger."""

    has_history = False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_add_permission(self, request: HttpRequest) -> bool:
        return self.add_page is not None and self.add_page.allowed(request)


def page_of(document: models.Model) -> str:
    meta = document._meta
    return reverse(f"admin:{meta.app_label}_{meta.model_name}_change", args=[document.pk])


def link_to(document: models.Model, text: str = "") -> Link:
    return Link(text or str(document), page_of(document))


def add_page_of(model: type[models.Model]) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_add")


def amount_column(name: str, label: str, sorts: bool = True) -> Any:
    """A list column that prints the amount attribute `name`, set to the right; `sorts` where it is a field."""

    @admin.display(description=label, ordering=name if sorts else None)
    def column(self: Any, obj: Any) -> str:
        return shown(getattr(obj, name))

    column.__name__ = f"{name}_column"
    return column
