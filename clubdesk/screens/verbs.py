"""Pages of verbs: one form page a verb, and links that stand as buttons beside them.

A `VerbPage` shows a form, calls one verb of a room and says in words what came of it. What the verb refuses
stands above the form with everything typed still in it. Who may, and what the page is called, the verb says.
"""

from collections.abc import Callable, Iterable, Sequence
from hashlib import sha256
from typing import Any, ClassVar, Generic, TypeVar, cast
from uuid import uuid4

from django.contrib import messages
from django.contrib.auth.models import User
from django.contrib.sessions.backends.base import SessionBase, UpdateError
from django.core.exceptions import PermissionDenied
from django.db import OperationalError, models, transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.response import TemplateResponse
from django.urls import reverse

from clubdesk import clock, uploads
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.screens.again import ask_again
from clubdesk.screens.fields import VerbForm
from clubdesk.screens.moved import OPENED, held_by, sealed, what_moved
from clubdesk.screens.promises import Did, foretold
from clubdesk.screens.promises import Facts as Facts
from clubdesk.screens.rows import MORE, grown, left_alone
from clubdesk.screens.tables import page_of
from clubdesk.verbs import Verb, may, shell_user, verb_of

PRESSED, MOST_PRESSED = "pressed", 20
"""Of a session: where each of the forms led that were sent last."""

Target = TypeVar("Target")
Result = TypeVar("Result")


class Button(Generic[Target]):
    """Something that stands as a button on a document's page."""

    slug = ""
    title = ""
    permission = ""

    def allowed(self, request: HttpRequest) -> bool:
        return may(request.user, self.permission)

    def applies(self, target: Target) -> bool:
        """Whether it makes sense for the document shown, in its present state."""
        return True

    def offered(self, request: HttpRequest, target: Target) -> bool:
        """Whether the button is shown to whoever looks at the document."""
        return self.allowed(request) and self.applies(target)

    def url(self, target: Target) -> str:
        raise NotImplementedError


class LinkPage(Button[Target]):
    """A button that only leads to a page of its own, or to a file: nothing is done. Subclasses give `url`."""


class VerbPage(Button[Target], Generic[Target, Result]):
    """One verb's page. Subclasses name the verb, the parameter that the shown document is, and the form.

    The form's fields are the verb's other parameters; a verb that asks for `on` gets today where the form does not
    ask, and the form's key where it takes one. `asks_only` names fields that no verb sees, such as a tick.
    """

    verb: ClassVar[Callable[..., object]]
    target: ClassVar[str] = ""
    intro: str = ""
    button: str = "Save"
    form_class: ClassVar[type[VerbForm[Any]]] = VerbForm
    asks_only: ClassVar[tuple[str, ...]] = ()
    lands_on_target: ClassVar[bool] = False
    looks_first: ClassVar[bool] = False
    """Whether the first press of the button only shows the `preview` of what was chosen, and the second one does it."""
    looked_alone: ClassVar[bool] = False
    """Whether the preview stands in place of what the page promised before something was chosen."""
    asks_again: ClassVar[bool] = False
    """Whether whoever opens or sends it must have said in the last minutes who they are."""
    decides_by_facts: ClassVar[bool] = True
    """Whether the page has moved on where its facts are others than it was opened with, though its row is the same."""

    @property
    def of_verb(self) -> Verb:
        return verb_of(type(self).verb)

    def __init__(self) -> None:
        self.permission = self.of_verb.permission
        self.title = self.title or self.of_verb.title

    def not_now(self, target: Target) -> str:
        """What somebody is told who comes by the address while it does not apply."""
        return "there is nothing to do here now."

    def heading(self, target: Target) -> str:
        return self.title

    def facts(self, target: Target) -> Facts:
        """What the person should see before deciding: labels and values."""
        return ()

    def notes(self, target: Target) -> Sequence[str]:
        """Sentences below the facts that help to decide and that nothing follows from."""
        return ()

    def promises(self, target: Target) -> Facts:
        """What the verb will do: sums, letters. Each comes from the verb itself, mostly by `foretold`."""
        return ()

    def preview(self, target: Target, cleaned: dict[str, object]) -> Facts:
        """What the verb will do with what was chosen, for a page that looks first; mostly by `foretold`."""
        return ()

    def foretold(
        self, target: Target, tell: Callable[[Did[Result]], Iterable[tuple[str, object]]], **cleaned: object
    ) -> Facts:
        """What `tell` says of what the verb would do today with these fields of the form; nothing is saved."""

        def act() -> Result:
            return cast(Result, type(self).verb(by=shell_user(), **self.arguments(target, dict(cleaned))))

        return foretold(act, tell)

    def told(self, target: Target) -> Facts:
        """All that stands above the form; no promise where the verb has nothing to do any more."""
        return [*self.facts(target), *(self.promises(target) if self.applies(target) else ())]

    def initial(self, request: HttpRequest, target: Target) -> dict[str, object]:
        """Starting values; a field of the form may also come in the address."""
        return {name: request.GET[name] for name in self.form_class.base_fields if name in request.GET}

    def arguments(self, target: Target, cleaned: dict[str, object]) -> dict[str, object]:
        """The verb's parameters, but for `by`, from the document shown and what the form gave."""
        takes = self.of_verb.parameters
        given = {name: value for name, value in cleaned.items() if name not in self.asks_only}
        if "key" not in takes:
            given.pop("key", None)
        if self.target:
            given[self.target] = target
        if "on" in takes:
            given.setdefault("on", clock.today())
        return given

    def perform(self, *, target: Target, by: User, cleaned: dict[str, object]) -> Result:
        """Call the verb; the exception that needs more says why."""
        return cast(Result, type(self).verb(by=by, **self.arguments(target, cleaned)))

    def done(self, target: Target, result: Result) -> str:
        """What came of it, in words."""
        return f"Saved: {result}."

    def destination(self, target: Target, result: Result) -> str:
        """Where the person lands: on what the verb returned, or where that has no page on the document shown."""
        shown = target if self.lands_on_target else result
        assert isinstance(shown, models.Model)
        return page_of(shown)

    def url(self, target: Target) -> str:
        assert isinstance(target, models.Model)
        meta = target._meta
        return reverse(f"admin:{meta.app_label}_{meta.model_name}_{self.slug}", args=[target.pk])


AnyPage = VerbPage[Any, Any]
AnyButton = Button[Any]


def run_verb_page(page: AnyPage, request: HttpRequest, target: object, context: dict[str, object]) -> HttpResponse:
    """Show the page, or do what it says and go to the result, unless what it showed has moved on meanwhile."""
    if not page.allowed(request):
        raise PermissionDenied
    if page.asks_again:
        ask_again(request)
    initial = page.initial(request, target)
    whose = uploads.session_of(request)
    adds = page.form_class.rows_class if MORE in request.POST else None
    typed = grown(request.POST, adds) if adds else request.POST
    sent = (typed, uploads.sent_files(request, whose)) if request.method == "POST" else ()
    form = page.form_class(*sent, initial=None if sent else initial, target=target)
    looked = () if adds else _look_first(page, request, form, target, initial)
    facts = page.told(target) if page.decides_by_facts else ()
    stored = {name: value for name, value in initial.items() if page.decides_by_facts and name not in request.GET}
    holds = held_by(target, facts, form, stored)
    moved = what_moved(request, holds)
    if adds and form.rows is not None:
        left_alone(form, form.rows)
        moved = None
    elif sent:
        as_it_was = form.is_valid() and moved is None
        answer = _try(page, request, form, target) if as_it_was and not looked else _first_result(request)
        if answer is not None:
            return answer
        uploads.keep(request, form, whose)
    above = list(page.facts(target) if looked and page.looked_alone else facts or page.told(target))
    shown = {
        "title": page.heading(target),
        "page": page,
        "facts": [*above, *looked],
        "above": above,
        "outcome": looked,
        "notes": page.notes(target),
        "seen": _chosen(form) if looked else "",
        "opened": sealed(holds) if holds else "",
        "moved": moved,
        "over": "" if moved is None or page.applies(target) else page.not_now(target),
        "form": form,
        "target": target,
    }
    status = 422 if sent and not looked and not adds else 200
    return TemplateResponse(request, "screens/verb.html", context | shown, status=status)


def _look_first(
    page: AnyPage, request: HttpRequest, form: VerbForm[Any], target: object, initial: dict[str, object]
) -> Facts:
    """What a page that looks first shows of what was chosen, here or in the address, until that was seen."""
    if not page.looks_first:
        return ()
    if request.method != "POST" and initial and page.form_class.rows_class is None:
        form.is_bound, form.data = True, {**initial, "key": str(uuid4())}
    if not form.is_bound or not form.is_valid() or request.POST.get("seen") == _chosen(form):
        return ()
    return page.preview(target, form.cleaned_data)


def _chosen(form: VerbForm[Any]) -> str:
    """A digest of what was chosen in a valid form."""
    chosen = [(name, str(value)) for name, value in form.cleaned_data.items() if name != "key"]
    return sha256(repr(sorted(chosen)).encode()).hexdigest()[:20]


def _try(page: AnyPage, request: HttpRequest, form: VerbForm[Any], target: object) -> HttpResponse | None:
    """Do the verb and go to what came of it; None where it was refused, which the form then says."""
    try:
        with transaction.atomic():
            result = page.perform(target=target, by=signed_in(request), cleaned=form.cleaned_data)
            leads_to = page.destination(target, result)
            _remember(request, leads_to)
    except COULD_NOT as refusal:
        form.add_error(None, sentence_of(refusal))
        return None
    messages.success(request, page.done(target, result))
    return HttpResponseRedirect(leads_to)


# The same form sent again as it was: it finds its first result, whatever has moved on since


def _first_result(request: HttpRequest) -> HttpResponse | None:
    """The session is read as it is stored now, since the first press may have ended after this one began."""
    now: SessionBase = type(request.session)(request.session.session_key)
    leads_to = now.get(PRESSED, {}).get(_press(request))
    if leads_to is None:
        return None
    messages.info(request, "This was done when the button was first pressed; nothing was done twice.")
    return HttpResponseRedirect(leads_to)


def _remember(request: HttpRequest, leads_to: str) -> None:
    """Note where the form led, in the transaction of its verb: either both are kept or none is."""
    if not _press(request):
        return
    latest = list(request.session.get(PRESSED, {}).items())[1 - MOST_PRESSED :]
    request.session[PRESSED] = dict([*latest, (_press(request), leads_to)])
    try:
        request.session.save()
    except UpdateError as error:
        if isinstance(error.__context__, OperationalError):
            raise error.__context__ from error
        return  # signed out elsewhere meanwhile; what is done is done
    request.session.modified = False


def _press(request: HttpRequest) -> str:
    """A digest of the form as it was filled in and sent; blank for what is only read, or was sent without its key."""
    if not request.POST.get("key"):
        return ""
    typed = [(name, values) for name, values in request.POST.lists() if name not in (OPENED, "csrfmiddlewaretoken")]
    files = [(name, str(file)) for name, file in request.FILES.items()]
    return sha256(repr((request.path, sorted(typed), files)).encode()).hexdigest()[:20]


def signed_in(request: HttpRequest) -> User:
    """Whoever asks, on a page that only somebody signed in can open."""
    assert isinstance(request.user, User)
    return request.user
