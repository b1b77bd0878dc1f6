"""The pages of the range day behind the sign-in, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.rangeday import views


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("range/<int:pk>/", page(views.sheet), name="range_sheet"),
        path("range/<int:pk>/taps/", views.taps, name="range_taps"),
        path("range/figures/", page(views.figures_page), name="range_figures"),
        path("range/tin/", page(views.tin_page), name="range_tin"),
    ]
