"""Django's own scripts, each only on a page that uses it: all of them are 300 kB, and most pages use none."""

from typing import Any, TypeVar

from django import forms
from django.contrib import admin
from django.contrib.admin.widgets import FilteredSelectMultiple, RelatedFieldWidgetWrapper
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.template.response import TemplateResponse

Row = TypeVar("Row", bound=models.Model)


def _scripts(*names: str) -> forms.Media:
    return forms.Media(js=[f"admin/js/{name}" for name in names])


JQUERY = _scripts("vendor/jquery/jquery.min.js", "jquery.init.js")
BY_WIDGET: tuple[tuple[type, forms.Media], ...] = (
    (RelatedFieldWidgetWrapper, JQUERY + _scripts("jquery.init.js", "admin/RelatedObjectLookups.js")),
    (FilteredSelectMultiple, _scripts("core.js")),
)
"""What a widget's own media leave to its page: the pop-up that adds a row, and what two lists side by side stand on."""
FOR_A_CODE = JQUERY + _scripts("jquery.init.js", "urlify.js", "prepopulate.js")
FOR_ACTIONS = _scripts("actions.js")


class OnlyItsScripts(admin.ModelAdmin[Row]):
    """A screen that loads of Django's scripts what its widgets, its actions and its codes made of names stand on."""

    @property
    def media(self) -> forms.Media:
        return forms.Media()

    def changelist_view(self, request: HttpRequest, extra_context: Any = None) -> HttpResponse:
        response = super().changelist_view(request, extra_context)
        if isinstance(response, TemplateResponse) and (response.context_data or {}).get("action_form"):
            response.context_data["media"] += FOR_ACTIONS  # type: ignore[index]
        return response

    def render_change_form(
        self, request: HttpRequest, context: dict[str, Any], *args: Any, **kwargs: Any
    ) -> HttpResponse:
        fields = [*context["adminform"].form.fields.values()]
        for inline in context["inline_admin_formsets"]:
            fields += inline.formset.empty_form.fields.values()
        widgets = [field.widget for field in fields]
        widgets += [each.widget for each in widgets if isinstance(each, RelatedFieldWidgetWrapper)]
        for kind, scripts in BY_WIDGET:
            if any(isinstance(widget, kind) for widget in widgets):
                context["media"] += scripts
                context["has_words"] = True
        if context["adminform"].prepopulated_fields:
            context["media"] += FOR_A_CODE
        return super().render_change_form(request, context, *args, **kwargs)
