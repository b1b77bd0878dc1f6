"""The club's dates, under /dates/, without a sign-in."""

from django.urls import path

from clubdesk.desk.dates import views

app_name = "dates"
urlpatterns = [
    path("", views.club, name="club"),
    path("club.ics", views.club_feed, name="club_feed"),
    path("ours/", views.own, name="own"),
    path("ours/<str:token>.ics", views.own_feed, name="own_feed"),
]
