"""Where one signs in: django-allauth's pages, and an invitation's."""

from django.urls import include, path

from clubdesk.desk.signin import views

urlpatterns = [
    path("invitation/<str:token>/", views.invitation, name="invitation"),
    path("login/", views.SignIn.as_view(), name="account_login"),
    path("second-step/", include("allauth.mfa.urls")),
    path("sessions/", include("allauth.usersessions.urls")),
    path("", include("allauth.account.urls")),
]
