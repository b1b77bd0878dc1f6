"""A family's own pages, under /account/."""

from django.urls import path

from clubdesk.fees import newlink, own
from clubdesk.roll.views import no_longer

app_name = "account"
urlpatterns = [
    path("", own.own, name="own"),
    path("statement/", own.own_statement, name="statement"),
    path("receipt/<int:number>/", own.own_receipt, name="receipt"),
    path("link/", newlink.ask_for_link, name="new_link"),
    path("<path:old>/", no_longer, name="no_longer"),
]
