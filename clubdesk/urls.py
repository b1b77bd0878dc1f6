"""Families' pages under /book/, /account/, /claims/, /leaving/, by links under /open/; else the site, at the root."""

from django.contrib import admin
from django.urls import include, path

handler500 = "clubdesk.middleware.fault"

urlpatterns = [
    path("open/", include("clubdesk.roll.urls")),
    path("book/", include("clubdesk.courses.urls")),
    path("account/", include("clubdesk.fees.urls")),
    path("claims/", include("clubdesk.entryfund.urls")),
    path("leaving/", include("clubdesk.membership.urls")),
    path("", include("clubdesk.desk.signin.urls")),
    path("", admin.site.urls),
]
