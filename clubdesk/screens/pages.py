"""Pages behind the sign-in that are no document's: their addresses, who may, and what they share."""

import base64
import functools
from collections.abc import Callable, Iterable
from typing import Any, cast

from django import forms
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.template.response import SimpleTemplateResponse, TemplateResponse
from django.urls import URLPattern, path

from clubdesk.moment import one_moment
from clubdesk.rooms import SitePage
from clubdesk.screens.again import ask_again
from clubdesk.verbs import may

View = Callable[..., HttpResponseBase]


def addresses(site: AdminSite, pages: Iterable[SitePage]) -> list[URLPattern]:
    """The pages as the site hangs them in; each refuses whoever lacks its permission before it does anything."""
    return [path(page.route, _guarded(site, page), name=page.name) for page in pages]


def _guarded(site: AdminSite, page: SitePage) -> View:
    if page.is_bare:
        return cast(View, page.view)
    drawn = at_one_moment(cast(View, page.view))

    @functools.wraps(page.view)
    def view(request: HttpRequest, **given: object) -> HttpResponseBase:
        if page.permission and not may(request.user, page.permission):
            raise PermissionDenied
        if page.asks_again:
            ask_again(request)
        return drawn(request, site, **given)

    return cast(View, site.admin_view(view))


def at_one_moment(view: View) -> View:
    """The view as it is drawn: whoever only looks is told of one moment, and nothing is written meanwhile."""

    @functools.wraps(view)
    def drawn(request: HttpRequest, *asked: object, **given: object) -> HttpResponseBase:
        if request.method not in ("GET", "HEAD"):
            return view(request, *asked, **given)
        with one_moment():
            response = view(request, *asked, **given)
            return response.render() if isinstance(response, SimpleTemplateResponse) else response

    return drawn


def site_page(
    request: HttpRequest, site: AdminSite, template: str, title: str, *, status: int = 200, **context: object
) -> TemplateResponse:
    """A page of the site in its frame."""
    return TemplateResponse(request, template, {**site.each_context(request), "title": title, **context}, status=status)


class FileAgainField(forms.CharField):
    """A file once more, as the preview before read it: carried in the page as text, given as bytes."""

    widget = forms.HiddenInput

    def clean(self, value: object) -> Any:
        try:
            return base64.b64decode(super().clean(value), validate=True)
        except ValueError:
            raise forms.ValidationError("The file did not come through whole; choose it again.") from None
