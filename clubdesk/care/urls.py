"""What a family sees and says of whom to ring and what to know, under /known/."""

from django.urls import path

from clubdesk.care import own

app_name = "care"
urlpatterns = [
    path("", own.own, name="own"),
    path("<int:pk>/", own.own_child, name="child"),
]
