"""A family's own pages, under /account/."""

from django.urls import path

from clubdesk.fees import views
from clubdesk.roll.views import no_longer

app_name = "account"
urlpatterns = [
    path("", views.own, name="own"),
    path("statement/", views.own_statement, name="statement"),
    path("receipt/<int:number>/", views.own_receipt, name="receipt"),
    path("<path:old>/", no_longer, name="no_longer"),
]
