"""A family's own claims, under /claims/: without a sign-in."""

from django.urls import path

from clubdesk.entryfund import views
from clubdesk.roll.views import no_longer

app_name = "claims"
urlpatterns = [
    path("", views.own, name="own"),
    path("<int:pk>/", views.own_answer, name="answer"),
    path("<path:old>/", no_longer, name="no_longer"),
]
