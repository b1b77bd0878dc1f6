"""The door to the families' pages: a link is opened, left behind, and what does not open explains itself."""

import functools
from collections.abc import Callable
from typing import Concatenate, ParamSpec, cast

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.template.response import TemplateResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt

from clubdesk.errors import Refused
from clubdesk.ledger.models import Book
from clubdesk.roll import links
from clubdesk.roll.models import Guardian
from clubdesk.roll.services import end_news
from clubdesk.verbs import shell_user

Asked = ParamSpec("Asked")
Page = Callable[Concatenate[HttpRequest, Asked], HttpResponseBase]


def for_family(view: Callable[Concatenate[HttpRequest, Guardian, Asked], HttpResponseBase]) -> Page[Asked]:
    """A page for whoever opened a guardian's link; the view is given the guardian. Anybody else is told why not."""

    @functools.wraps(view)
    def answered(request: HttpRequest, *asked: Asked.args, **given: Asked.kwargs) -> HttpResponseBase:
        try:
            found = links.opened(request)
            guardian = links.guardian_of(found)
        except Refused as refusal:
            return no_way_in(request, refusal.sentence)
        response = view(request, guardian, *asked, **given)
        links.keep(response, found)
        return response

    return cast(Page[Asked], never_cache(answered))


@csrf_exempt
@never_cache
def open_link(request: HttpRequest, token: str) -> HttpResponse:
    """A guardian's link: the browser gets its pass, and goes on to the page without the token in its address.

    A mail program that posts to it ends the news, as its own button says, and is led nowhere. Source: RFC 8058
    section 3.1: no cookie, no redirect; the words that it posts.
    """
    try:
        found, page = links.read(token)
    except Refused as refusal:
        return no_way_in(request, refusal.sentence)
    if request.POST.get("List-Unsubscribe") == "One-Click":
        end_news(guardian=links.guardian_of(found), by=shell_user())
        return HttpResponse("Our news ends.", content_type="text/plain; charset=utf-8")
    response = HttpResponseRedirect(page)
    links.keep(response, found)
    return response


@never_cache
def no_longer(request: HttpRequest, old: str) -> HttpResponse:
    """Where links of earlier versions led."""
    return no_way_in(request, links.EARLIER)


def no_way_in(request: HttpRequest, sentence: str) -> HttpResponse:
    """Why a link does not open anything, and nothing else."""
    response = family_page(
        request, "book/message.html", "This link does not work", status=404, sentence=sentence, asks_new=True
    )
    response.delete_cookie(links.COOKIE, samesite="Lax")
    return response


def family_page(
    request: HttpRequest, template: str, title: str, status: int = 200, **context: object
) -> TemplateResponse:
    """A page in the frame of those that families open without a sign-in: the club, and whom they ask."""
    of = context.get("of") or Book.objects.first()
    assert of is None or isinstance(of, Book)
    frame = {"title": title, "club": of.club_name if of else "The club", "of": of}
    return TemplateResponse(request, template, {**frame, **context}, status=status)
