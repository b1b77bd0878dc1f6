"""The pages of the membership room behind the sign-in, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.membership import views


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("roll/import/", page(views.import_roll), name="import_roll"),
        path("membership/renewals/", page(views.renewals), name="renewals"),
        path("membership/affiliation/", page(views.affiliation), name="affiliation"),
        path("roll/household/<int:pk>/price/", page(views.price), name="membership_price"),
    ]
