"""The base of every room's screens: a list and a page a document, verbs as buttons, and nothing deleted."""

from collections.abc import Callable
from functools import reduce
from operator import or_
from typing import Any, ClassVar, TypeVar

from django import forms
from django.contrib import admin, messages
from django.contrib.admin.options import IS_POPUP_VAR
from django.contrib.admin.utils import unquote
from django.contrib.admin.views.main import ChangeList
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import URLPattern, path, reverse
from django.utils.html import format_html

from clubdesk import rooms
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.finding import read
from clubdesk.moment import one_moment
from clubdesk.screens import exporting
from clubdesk.screens.fields import DateInput, PickWidget, TimeInput
from clubdesk.screens.moved import SaysWhatMoved
from clubdesk.screens.scripts import OnlyItsScripts
from clubdesk.screens.searching import Way
from clubdesk.screens.tables import Section, page_of
from clubdesk.screens.verbs import AnyButton, AnyPage, VerbPage, run_verb_page
from clubdesk.verbs import may

Row = TypeVar("Row", bound=models.Model)
View = Callable[..., HttpResponse]
MakesSection = Callable[[HttpRequest, Any], Section | None]
Context = dict[str, Any]


WAYS = (
    "",
    *(f"__{way}" for way in ("exact", "id__exact", "isnull", "in", "gte", "gt", "lte", "lt", "year", "month", "day")),
)
"""How a filter of Django's asks in an address for the values of its field."""


def _asked_by(filter: Any) -> list[str]:
    """The names in an address by which a filter of a list is asked."""
    if isinstance(filter, type) and issubclass(filter, admin.SimpleListFilter):
        return [str(filter.parameter_name)]
    return [str(filter[0] if isinstance(filter, tuple | list) else filter)]


class LogsNothing(admin.ModelAdmin[Row]):
    """A screen whose changes the desk records with what stood before; Django’s own log would say less of the same."""

    def log_addition(self, request: HttpRequest, obj: Row, message: object) -> None:  # type: ignore[override]
        pass

    def log_change(self, request: HttpRequest, obj: Row, message: object) -> None:  # type: ignore[override]
        pass

    def log_deletions(self, request: HttpRequest, queryset: models.QuerySet[Row]) -> None:  # type: ignore[override]
        pass

    def history_view(self, request: HttpRequest, object_id: str, extra_context: Context | None = None) -> HttpResponse:
        label = self.opts.label_lower
        return HttpResponseRedirect(reverse("admin:history", args=[label, unquote(object_id)]))


class NamedCells:
    """For lines in a table of a form: each field is called by its column, which nobody hears who reads it by ear."""

    def formfield_for_dbfield(self, db_field: Any, request: HttpRequest | None, **kwargs: Any) -> Any:
        field = super().formfield_for_dbfield(db_field, request, **kwargs)  # type: ignore[misc]  # of the inline
        if field is not None:
            field.widget.attrs.setdefault("aria-label", str(field.label))
        return field


MOST_ACTS, FIRST_ACTS = 5, 3
"""Up to so many acts stand beside each other on a document's page; where there are more, the first few do."""


class RoomAdmin(LogsNothing[Row], SaysWhatMoved[Row], OnlyItsScripts[Row]):
    """The base of every room's screens: nothing is deleted, and verbs stand as buttons on the page.

    A room above adds its own pages and sections by declaring them in its `room.py` (`rooms.PageOn`).
    """

    add_page: ClassVar[AnyPage | None] = None
    list_pages: ClassVar[tuple[AnyPage, ...]] = ()
    pages: ClassVar[tuple[AnyButton, ...]] = ()
    main_pages: ClassVar[tuple[str, ...]] = ()
    """The names of its own pages that stand before all; without any, the first few where there are many."""
    section_makers: ClassVar[tuple[MakesSection, ...]] = ()
    also_finds: ClassVar[tuple[Way, ...]] = ()
    """What the list's search box finds beside its `search_fields`, such as an amount."""
    else_finds: ClassVar[tuple[Way, ...]] = ()
    """What it finds where nothing is spelt as it was typed."""
    narrowed_by: ClassVar[tuple[str, ...]] = ()
    """Fields by which a link of ours narrows the list, beside its filters."""
    has_history = True
    sections_first = False
    edits_apart: ClassVar[str] = ""
    """What opens the form where what is read stands first and the form is closed; blank where it stands open."""
    list_per_page = 50
    show_full_result_count = False
    show_facets = admin.ShowFacets.NEVER
    formfield_overrides = {
        models.DateField: {"widget": DateInput},
        models.TimeField: {"widget": TimeInput},
    }

    @property
    def named_as(self) -> str:
        """How rooms above name it: “roll.household”."""
        return self.opts.label_lower

    @property
    def all_pages(self) -> tuple[AnyButton, ...]:
        return (*self.pages, *(added.page for added in rooms.added_to(self.named_as) if added.page))

    def is_main(self, page: AnyButton) -> bool:
        added = (each.page for each in rooms.added_to(self.named_as) if each.is_main)
        return type(page).__name__ in self.main_pages or page in added

    @property
    def all_list_pages(self) -> tuple[AnyPage, ...]:
        return (*self.list_pages, *(added.list_page for added in rooms.added_to(self.named_as) if added.list_page))

    @property
    def all_section_makers(self) -> tuple[MakesSection, ...]:
        return (*self.section_makers, *(added.section for added in rooms.added_to(self.named_as) if added.section))

    def sees_history(self, request: HttpRequest) -> bool:
        """Whether whoever looks at the rows sees what became of them, which may tell more."""
        return True

    def has_delete_permission(self, request: HttpRequest, obj: Row | None = None) -> bool:
        return False

    def lookup_allowed(self, lookup: str, value: str, request: HttpRequest | None = None) -> bool:
        """Whether an address may narrow the list by this: only by the list's filters, its days, and `narrowed_by`.

        Otherwise whoever sees a list could find out by guessing what it does not show, such as a date of birth.
        """
        filters = self.get_list_filter(request) if request else self.list_filter
        names = {name for each in filters for name in _asked_by(each)} | {self.date_hierarchy, *self.narrowed_by}
        return lookup in {f"{name}{way}" for name in names if name for way in WAYS}

    def changeform_view(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """A plain noun's form. What the book refuses stands above it, with everything typed still in it."""
        try:
            return super().changeform_view(request, *args, **kwargs)
        except COULD_NOT as refusal:
            request.refusal = sentence_of(refusal)  # type: ignore[attr-defined]
            again: HttpResponse = self._changeform_view(request, *args, **kwargs)
            return again

    def get_form(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        form = super().get_form(request, *args, **kwargs)
        refusal = getattr(request, "refusal", None)
        return _refusing(form, refusal) if refusal else form

    def formfield_for_foreignkey(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        if db_field.name in self.get_autocomplete_fields(request):
            kwargs["widget"] = PickWidget(db_field, self.admin_site, attrs={"data-width": "100%"})
        field = super().formfield_for_foreignkey(db_field, request, **kwargs)
        match = request.resolver_match
        if field and match and (match.url_name or "").endswith("_add") and not field.queryset.exists():  # type: ignore[union-attr]
            field.help_text = format_html("{} {}", none_yet(request, field.queryset.model), field.help_text)  # type: ignore[union-attr]
        return field

    def get_actions(self, request: HttpRequest) -> Any:
        """Beside the screen's own, the bulk actions that rooms above add, for whoever may."""
        actions = super().get_actions(request)
        for added in rooms.added_to(self.named_as):
            if added.action and may(request.user, added.action.permission):  # type: ignore[attr-defined]
                func, name, title = self.get_action(added.action)  # type: ignore[misc]
                actions[name] = (func, name, title)
        return actions

    def get_urls(self) -> list[URLPattern]:
        of_one = [
            self._address(f"<int:object_id>/{page.slug}/", page, self._view_of(page))
            for page in self.all_pages
            if isinstance(page, VerbPage)
        ]
        of_list = [self._address(f"{page.slug}/", page, self._list_view_of(page)) for page in self.all_list_pages]
        return [*of_one, *of_list, *super().get_urls()]

    def _address(self, route: str, page: AnyPage, view: View) -> URLPattern:
        name = f"{self.opts.app_label}_{self.opts.model_name}_{page.slug}"
        return path(route, self.admin_site.admin_view(view), name=name)

    def _list_view_of(self, page: AnyPage) -> View:
        """A page that makes a document in a way of its own, beside the list's add page."""
        return lambda request: run_verb_page(page, request, None, self._context(request))

    def _view_of(self, page: AnyPage) -> View:
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

    def changelist_view(self, request: HttpRequest, extra_context: Context | None = None) -> HttpResponse:
        if (kind := request.GET.get(exporting.ASKED)) in exporting.KINDS and request.method == "GET":
            return self._as_file(request, kind)
        more = {
            "title": str(self.opts.verbose_name_plural).capitalize(),
            "comes_as_file": True,
            "list_pages": [
                (page.title, reverse(f"admin:{self.opts.app_label}_{self.opts.model_name}_{page.slug}"))
                for page in self.all_list_pages
                if page.offered(request, None)
            ],
        }
        return super().changelist_view(request, {**more, **(extra_context or {})})

    def _as_file(self, request: HttpRequest, kind: str) -> HttpResponse:
        """The list as its address narrows and orders it, for whoever may look at it."""
        if not self.has_view_or_change_permission(request):
            raise PermissionDenied
        asked = request.GET.copy()
        asked.pop(exporting.ASKED)
        request.GET = asked
        with one_moment():
            return exporting.as_file(request, self.get_changelist_instance(request), kind)

    def get_search_results(
        self, request: HttpRequest, queryset: models.QuerySet[Row], search_term: str
    ) -> tuple[models.QuerySet[Row], bool]:
        found, duplicates = super().get_search_results(request, queryset, search_term)
        sought = read(search_term)
        if ways := [way for each in self.also_finds if (way := each(sought))]:
            by_words = models.Q(pk__in=found.order_by().values("pk"))
            found, duplicates = queryset.filter(reduce(or_, ways, by_words)), False
        if self.else_finds and sought.words and not found.exists():
            found, duplicates = queryset.filter(reduce(or_, (each(sought) for each in self.else_finds))), False
        return found, duplicates

    def says_it_finds(self, request: HttpRequest) -> str:
        """What stands under the list's search box, as far as it is so for whoever looks."""
        return str(self.search_help_text or "")

    def get_changelist_instance(self, request: HttpRequest) -> ChangeList:
        changes = super().get_changelist_instance(request)
        changes.search_help_text = self.says_it_finds(request)
        return changes

    def add_view(self, request: HttpRequest, form_url: str = "", extra_context: Context | None = None) -> HttpResponse:
        if self.add_page is None:
            return super().add_view(request, form_url, extra_context)
        return run_verb_page(self.add_page, request, None, self._context(request))

    def has_add_permission(self, request: HttpRequest) -> bool:
        if self.add_page is not None:
            return self.add_page.allowed(request)
        return super().has_add_permission(request)

    def render_change_form(self, request: HttpRequest, context: Context, *args: Any, **kwargs: Any) -> HttpResponse:
        target = context.get("original")
        if target is not None and IS_POPUP_VAR not in request.GET:
            context["has_history"] = self.has_history and self.sees_history(request)
            pages = [page for page in self.all_pages if page.offered(request, target)]
            few = pages if len(pages) <= MOST_ACTS else pages[:FIRST_ACTS]
            first = [page for page in pages if self.is_main(page)] or few
            context["verbs"] = [{"page": page, "url": page.url(target)} for page in first]
            context["more_verbs"] = [{"page": page, "url": page.url(target)} for page in pages if page not in first]
            made = [make(request, target) for make in self.all_section_makers]
            context["sections"] = [section for section in made if section]
            context["sections_first"] = self.sections_first
            context["edits_apart"] = self.edits_apart
            context["title"], context["subtitle"] = str(target), None
        return super().render_change_form(request, context, *args, **kwargs)

    def _context(self, request: HttpRequest) -> Context:
        return {**self.admin_site.each_context(request), "opts": self.opts, "is_popup": False}


def none_yet(request: HttpRequest, model: type[models.Model]) -> str:
    """What stands beside a choice of which there is none: where one is added, or who adds one."""
    meta = model._meta
    codename = f"add_{meta.model_name}"
    if may(request.user, f"{meta.app_label}.{codename}"):
        url = reverse(f"admin:{meta.app_label}_{meta.model_name}_add")
        there = "There is none yet: <a href='{}' target='_blank' rel='noopener'>add {}</a>, then open this page again."
        return format_html(there, url, article(str(meta.verbose_name)))
    room = next((room for room in rooms.in_order() if room.label == meta.app_label), None)
    whose = [role.lower() for role, given in room.roles.items() if codename in given] if room else []
    return f"There is none yet; the {' or '.join(whose) or 'administrator'} adds {article(str(meta.verbose_name))}."


def article(noun: str) -> str:
    return f"{'an' if noun[:1].lower() in 'aeiou' else 'a'} {noun}"


class DocumentAdmin(RoomAdmin[Row]):
    """Screens of documents: written by a verb, then only read; what became of them stands in the ledger."""

    has_history = False

    def has_change_permission(self, request: HttpRequest, obj: Row | None = None) -> bool:
        return False

    def has_add_permission(self, request: HttpRequest) -> bool:
        return self.add_page is not None and self.add_page.allowed(request)


def _refusing(form: type[forms.ModelForm[Row]], refusal: str) -> type[forms.ModelForm[Row]]:
    """The form, made to say what the book refused."""

    class Refusing(form):  # type: ignore[valid-type, misc]
        def clean(self) -> Any:
            cleaned = super().clean()
            self.add_error(None, refusal)
            return cleaned

    return Refusing
