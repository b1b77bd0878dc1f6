"""The parents' own pages, under /book/."""

from django.urls import path

from clubdesk.courses import views

app_name = "book"
urlpatterns = [
    path("", views.courses, name="courses"),
    path("<int:pk>/", views.course, name="course"),
    path("thanks/", views.thanks, name="thanks"),
    path("certificate/", views.check_certificate, name="certificate"),
    path("own/<str:token>/", views.own, name="own"),
    path("own/<str:token>/certificate/<int:pk>/", views.own_certificate, name="own_certificate"),
]
