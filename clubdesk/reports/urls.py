"""The reports' own pages, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.reports import views


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("roll/household/<int:pk>/held/", page(views.held), name="household_held"),
        path("reports/", page(views.years), name="reports"),
        path("reports/trial-balance/", page(views.trial_balance), name="trial_balance"),
        path("reports/committee/", page(views.committee), name="committee"),
        path("reports/statements/", page(views.statements), name="period_statements"),
        path("reports/<int:ending>/", page(views.statements), name="statements"),
        path("reports/<int:ending>/workbook/", page(views.workbook), name="workbook"),
        path("reports/<int:ending>/audit-pack/", page(views.audit_pack), name="audit_pack"),
        path("reports/account/<slug:code>/", page(views.account_lines), name="account_lines"),
        path("reports/verify/", page(views.verify), name="verify"),
    ]
