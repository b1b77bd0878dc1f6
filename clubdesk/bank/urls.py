"""The bank's own pages, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.bank import views


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("bank/import/", page(views.bring_in), name="import_statement"),
        path("bank/explain/", page(views.explain_lines), name="explain_lines"),
        path("bank/streams/", page(views.money_streams), name="money_streams"),
        path("bank/reconcile/", page(views.reconcile_month), name="reconcile_month"),
    ]
