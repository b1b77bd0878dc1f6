"""The year's end's own pages, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.yearend import views


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("year/<int:ending>/close/", page(views.closing), name="closing"),
        path("year/gst/", page(views.gst_figures), name="gst_figures"),
        path("year/<int:ending>/budget/", page(views.budget), name="budget"),
    ]
