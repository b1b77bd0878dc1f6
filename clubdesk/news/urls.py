"""A family's own page about news, under /news/."""

from django.urls import path

from clubdesk.news import own

app_name = "news"
urlpatterns = [path("", own.own_news, name="own")]
