"""The page on which the coordinator writes to many: choose, write, look, try it on oneself, send."""

import uuid
from collections.abc import Iterable
from hashlib import sha256

from django.contrib import messages
from django.contrib.admin import AdminSite
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from clubdesk import clock
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import LINK
from clubdesk.news import letters, selectors, services
from clubdesk.news.forms import CHOSEN, WriteForm, packed
from clubdesk.news.models import Concern
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import page_of
from clubdesk.screens.verbs import signed_in

SHOWN = 3
"""So many real letters are shown before any goes out."""


def write(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """The first press shows what would go to whom, a second one sends it; or a test to whoever writes."""
    if request.method != "POST":
        given = {name: request.GET.get(name, "") for name in ("to", "families")}
        return _page(request, site, WriteForm(initial=given))
    form = WriteForm(request.POST)
    if not form.is_valid():
        return _page(request, site, form, status=422)
    if request.POST.get("do") == "test":
        _try_on_oneself(request, form)
    elif request.POST.get("seen") == _digest(form):
        answer = _send(request, form)
        if answer:
            return answer
    return _page(request, site, form, status=422 if form.errors else 200)


def write_to_these(request: HttpRequest, site: AdminSite, pairs: Iterable[tuple[int, int]]) -> HttpResponse:
    """The empty page for families chosen in a list: pairs of ids, a family and whom of it the letter concerns."""
    return _page(request, site, WriteForm(initial={"to": CHOSEN, "families": packed(pairs)}))


def _page(request: HttpRequest, site: AdminSite, form: WriteForm, status: int = 200) -> HttpResponse:
    looked = _looked(form) if form.is_bound and not form.errors else {}
    return site_page(request, site, "news/write.html", "Write to families", status=status, form=form, **looked)


def _looked(form: WriteForm) -> dict[str, object]:
    """What would go out now: how many letters, three of them, who has no address and who gets none."""
    given, on = form.cleaned_data, clock.today()
    is_news = given["concern"] == Concern.NEWS
    reached = selectors.reached(form.to_whom, given["subject"], given["text"], is_news, on)
    drafts = letters.drafts(reached.by_mail[:SHOWN], given["subject"], given["text"], is_news, book(), on)
    for each in drafts:
        each.body = each.body.replace(LINK, "(their own link)")
    return {"reached": reached, "letters": drafts, "seen": _digest(form), "count": len(reached.by_mail)}


def _digest(form: WriteForm) -> str:
    chosen = [(name, str(value)) for name, value in form.cleaned_data.items() if name != "key"]
    return sha256(repr(sorted(chosen)).encode()).hexdigest()[:20]


def _try_on_oneself(request: HttpRequest, form: WriteForm) -> None:
    given = form.cleaned_data
    try:
        letter = services.send_sample(
            subject=given["subject"], text=given["text"], by=signed_in(request), key=uuid.uuid4()
        )
        messages.success(request, f"A test with invented children goes to {letter.to}.")
    except COULD_NOT as refusal:
        form.add_error(None, sentence_of(refusal))


def _send(request: HttpRequest, form: WriteForm) -> HttpResponse | None:
    given = form.cleaned_data
    try:
        with transaction.atomic():
            sent = services.write_to_many(
                to=form.to_whom, subject=given["subject"], text=given["text"], concern=Concern(given["concern"]),
                on=clock.today(), by=signed_in(request), key=given["key"],
            )  # fmt: skip
    except COULD_NOT as refusal:
        form.add_error(None, sentence_of(refusal))
        return None
    count, families = sent.letters, "family has" if sent.without_address == 1 else "families have"
    without = f" {sent.without_address} {families} no e-mail address: ring them." if sent.without_address else ""
    messages.success(request, f"{count} {'letter goes' if count == 1 else 'letters go'} out.{without}")
    return HttpResponseRedirect(page_of(sent))
