"""Pages of the mail room: which letters there are, the text of each in the club's own words, and how it looks."""

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.clickjacking import xframe_options_sameorigin

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.lettering import (
    LONGEST_SENTENCE,
    LONGEST_SUBJECT,
    LONGEST_TEXT,
    LetterKind,
    Wording,
    faults,
    long_sentences,
    tidy,
    written,
)
from clubdesk.mail import selectors, services
from clubdesk.mail.looks import as_html
from clubdesk.mail.models import LINK, LetterText
from clubdesk.rooms import ROOMS
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may, verb_of

TITLE = "Texts of letters"
LOOKED_AT = {"default-src": ["'none'"], "style-src": ["'unsafe-inline'"], "frame-ancestors": ["'self'"], "sandbox": []}
"""A letter holds its own styles, as mails do; so its preview is a page in which nothing else is allowed."""


class TextForm(forms.Form):
    subject = forms.CharField(
        label="Subject", max_length=LONGEST_SUBJECT, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    body = forms.CharField(
        label="Text", max_length=LONGEST_TEXT, widget=forms.Textarea(attrs={"rows": 22, "spellcheck": "true"})
    )
    seen = forms.IntegerField(min_value=0, widget=forms.HiddenInput)


def _kind(key: str) -> LetterKind:
    if (found := selectors.kinds().get(key)) is None:
        raise Http404("There is no such letter.")
    return found


def texts(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Every kind of letter with when it goes out, and whether the club has words of its own for it."""
    rows: dict[str, list[list[object]]] = {}
    for each in selectors.all_worded():
        link = Link(each.kind.title, reverse("admin:letter_text", args=[each.kind.key]))
        tab = ROOMS[each.kind.key.partition(".")[0]].tab.value
        rows.setdefault(tab, []).append([link, f"{each.kind.purpose} {_words_of(each)}".strip()])
    return site_page(
        request,
        site,
        "screens/figures.html",
        TITLE,
        parent=Link("Families", reverse("admin:app_list", args=["roll"])),
        intro="What the club writes by itself, and in which words. Open a letter to say it as your club does.",
        sections=[Section(tab, ["Letter", "When it goes out"], lines) for tab, lines in rows.items()],
    )


def _words_of(each: selectors.Worded) -> str:
    """Since when it is the club's own; blank where it reads as it came."""
    if each.own is None:
        return ""
    if not each.fits:
        return "Your own words do not fit any more: look at them."
    return f"In your own words since {day_text(timezone.localdate(each.own.changed_at))}."


@never_cache
def text(request: HttpRequest, site: AdminSite, key: str) -> HttpResponse:
    """The text of one kind: read, changed, put back; beside it how it looks, and what may stand in it."""
    kind, may_change = _kind(key), may(request.user, verb_of(services.change_letter).permission)
    own = selectors.own_text(kind)
    said = (own.wording if own else None) or selectors.first_wording(kind)
    form = TextForm(initial={"subject": said.subject, "body": said.body, "seen": own.pk if own else 0}, label_suffix="")
    if request.method == "POST":
        form = TextForm(request.POST, label_suffix="")
        if _done(request, kind, form):
            return HttpResponseRedirect(reverse("admin:letter_text", args=[key]))
    return site_page(
        request,
        site,
        "mail/text.html",
        kind.title,
        status=422 if request.method == "POST" else 200,
        kind=kind,
        form=form,
        may_change=may_change,
        said=said,
        is_own=own is not None and own.wording is not None,
        lacking=faults(kind, said),
        sample=kind.all_fields[1].name,
        history=LetterText.objects.filter(kind=key).select_related("changed_by")[:20],
        texts_url=reverse("admin:letter_texts"),
        look_url=reverse("admin:letter_look", args=[key]),
    )


def _done(request: HttpRequest, kind: LetterKind, form: TextForm) -> bool:
    """Save the text or put the first one back; False where it was refused, which the form then says."""
    puts_back = "put_back" in request.POST
    try:
        if puts_back:
            services.put_back(kind=kind.key, by=signed_in(request))
        elif form.is_valid():
            saved = services.change_letter(kind=kind.key, by=signed_in(request), **form.cleaned_data)
            _advise(request, kind, Wording(saved.subject, saved.body))
        else:
            return False
    except COULD_NOT as refusal:
        form.is_valid()
        for each in refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]:
            form.add_error(_field_of(each), each)
        return False
    messages.success(
        request,
        "The first text is back; the next letters are written by it."
        if puts_back
        else "Saved. The next letters of this kind are written so; those that wait stay as they are.",
    )
    return True


def _field_of(sentence: str) -> str | None:
    """Beside which field a sentence of `faults` stands; above both where it is about neither."""
    if sentence.startswith(("In the subject", "The subject")):
        return "subject"
    return "body" if sentence.startswith(("Line", "The text")) else None


def _advise(request: HttpRequest, kind: LetterKind, says: Wording) -> None:
    for each in long_sentences(written(kind, says, kind.examples)[1]):
        begins = " ".join(each.split()[:6])
        messages.warning(request, f"“{begins} …” has {len(each.split())} words; {LONGEST_SENTENCE} are read at once.")


@never_cache
@xframe_options_sameorigin
def look(request: HttpRequest, site: AdminSite, key: str) -> HttpResponse:
    """How a text looks with the examples: what was typed, or the one by which letters are written now."""
    kind = _kind(key)
    says = selectors.wording(kind)
    if request.method == "POST":
        says = Wording(" ".join(request.POST.get("subject", "").split()), tidy(request.POST.get("body", "")))
    response = _looked_at(kind, says, is_plain="plain" in request.GET)
    response._csp_config = LOOKED_AT  # type: ignore[attr-defined]
    return response


def _looked_at(kind: LetterKind, says: Wording, is_plain: bool) -> HttpResponse:
    if found := faults(kind, says):
        return HttpResponse(render_to_string("mail/looked_at.html", {"faults": found}))
    subject, body = written(kind, says, kind.examples)
    link = f"{settings.SITE_URL}/open/their-own-link/"
    if is_plain:
        shown = {"subject": subject, "body": body.replace(LINK, link)}
        return HttpResponse(render_to_string("mail/looked_at.html", shown))
    return HttpResponse(as_html(subject, body, link, leads_to="#"))
