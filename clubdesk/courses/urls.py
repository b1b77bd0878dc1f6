"""The parents' own pages, under /book/."""

from django.urls import path

from clubdesk.courses import views
from clubdesk.roll.views import no_longer

app_name = "book"
urlpatterns = [
    path("", views.courses, name="courses"),
    path("<int:pk>/", views.course, name="course"),
    path("thanks/", views.thanks, name="thanks"),
    path("certificate/", views.check_certificate, name="certificate"),
    path("own/<int:pk>/", views.own, name="own"),
    path("own/<int:pk>/certificate/<int:certificate>/", views.own_certificate, name="own_certificate"),
    path("own/<path:old>/", no_longer, name="no_longer"),
]
