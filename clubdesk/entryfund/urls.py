"""A family's own claims, under /claims/, and the calendar: without a sign-in."""

from django.urls import path

from clubdesk.entryfund import views

app_name = "claims"
urlpatterns = [
    path("calendar/<str:secret>.ics", views.calendar, name="calendar"),
    path("<str:token>/", views.own, name="own"),
    path("<str:token>/<int:pk>/", views.own_answer, name="answer"),
]
