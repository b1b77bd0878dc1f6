"""Where visitors sign on by themselves, under /visit/; the address is of one day."""

from django.urls import path

from clubdesk.rangeday import visits

app_name = "visit"
urlpatterns = [
    path("thanks/", visits.thanks, name="thanks"),
    path("<str:token>/", visits.page, name="page"),
]
