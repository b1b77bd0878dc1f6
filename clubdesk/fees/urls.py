"""A family's own pages, under /account/."""

from django.urls import path

from clubdesk.fees import views

app_name = "account"
urlpatterns = [
    path("<str:token>/", views.own, name="own"),
    path("<str:token>/statement/", views.own_statement, name="statement"),
    path("<str:token>/receipt/<int:number>/", views.own_receipt, name="receipt"),
]
