"""The family's own page of this room: ending the club's news by one tap, and taking it up again."""

from collections.abc import Sequence
from datetime import date

from django.db import OperationalError
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk.care.models import Kind
from clubdesk.care.selectors import newest
from clubdesk.errors import Refused
from clubdesk.families import Act, Part
from clubdesk.faults import sentence_of
from clubdesk.news.services import take_up_news
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.services import end_news
from clubdesk.roll.views import family_page, for_family
from clubdesk.verbs import shell_user


def of_family(home: Household, people: Sequence[Person], on: date) -> Part:
    return Part(acts=(Act("Our news: end it or have it again", is_quiet=True, page="news:own"),))


@for_family
def own_news(request: HttpRequest, guardian: Guardian) -> HttpResponseBase:
    """Whether the guardian gets the club's news, and one button that changes it. Looking changes nothing."""
    refused = ""
    if request.method == "POST":
        try:
            change = take_up_news if request.POST.get("do") == "take-up" else end_news
            change(guardian=guardian, by=shell_user())
            return HttpResponseRedirect(reverse("news:own"))
        except (Refused, OperationalError) as refusal:
            refused = sentence_of(refusal)
    said = guardian.household.news_choices.filter(said_by=guardian.name).first()
    text, status = newest(Kind.NEWS), 422 if refused else 200
    return family_page(
        request, "news/own.html", "Our news", status=status, guardian=guardian, refused=refused, said=said, text=text
    )
