"""The parents' own pages, under /book/, and the pages to print, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.courses import views

app_name = "book"
urlpatterns = [
    path("", views.courses, name="courses"),
    path("<int:pk>/", views.course, name="course"),
    path("thanks/", views.thanks, name="thanks"),
    path("certificate/", views.check_certificate, name="certificate"),
    path("own/<str:token>/", views.own, name="own"),
    path("own/<str:token>/certificate/<int:pk>/", views.own_certificate, name="own_certificate"),
]


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("courses/cohort/<int:pk>/sheet/", page(views.sheet), name="course_sheet"),
        path("courses/certificate/<int:pk>/pdf/", page(views.certificate), name="course_certificate"),
    ]
