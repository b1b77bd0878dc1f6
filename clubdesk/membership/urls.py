"""Where a family asks to leave, under /leaving/."""

from django.urls import path

from clubdesk.membership import own

app_name = "leaving"
urlpatterns = [path("", own.own_leaving, name="own")]
