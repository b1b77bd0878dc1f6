"""A family's own claims, under /claims/; the calendar; and the pages behind the sign-in, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.entryfund import views

app_name = "claims"
urlpatterns = [
    path("calendar/<str:secret>.ics", views.calendar, name="calendar"),
    path("<str:token>/", views.own, name="own"),
    path("<str:token>/<int:pk>/", views.own_answer, name="answer"),
]


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("entryfund/queue/", page(views.queue), name="claim_queue"),
        path("entryfund/minutes/", page(views.minutes), name="claim_minutes"),
        path("entryfund/statement/", page(views.statement), name="fund_statement"),
    ]
