"""Families' pages under /book/, /account/, /claims/, /dates/, /known/, /leaving/, /news/, by links under /open/.

Visitors at the range have theirs under /visit/.
/health/ is for a monitor, and for nobody who signs in; all else is the site.
"""

from django.contrib import admin
from django.urls import include, path

from clubdesk.desk.health import health

handler500 = "clubdesk.middleware.fault"

urlpatterns = [
    path("health/", health, name="health"),
    path("open/", include("clubdesk.roll.urls")),
    path("book/", include("clubdesk.courses.urls")),
    path("account/", include("clubdesk.fees.urls")),
    path("claims/", include("clubdesk.entryfund.urls")),
    path("dates/", include("clubdesk.desk.dates.urls")),
    path("known/", include("clubdesk.care.urls")),
    path("leaving/", include("clubdesk.membership.urls")),
    path("news/", include("clubdesk.news.urls")),
    path("visit/", include("clubdesk.rangeday.urls")),
    path("", include("clubdesk.desk.signin.urls")),
    path("", admin.site.urls),
]
