"""The links in families' letters, under /open/."""

from django.urls import path

from clubdesk.roll import views

app_name = "family"
urlpatterns = [path("<str:token>/", views.open_link, name="open")]
