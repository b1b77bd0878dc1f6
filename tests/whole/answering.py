"""Every address that the resolver knows, and what each role is answered there.

`answers.txt` declares it once, a line an address: its route, what each of `WHO` gets by looking, and by sending a form
with nothing in it. `ANSWERS=write pytest tests/whole/test_answers.py` writes it anew; read what changed before it is
committed.
"""

import re
import uuid
from collections.abc import Iterator
from pathlib import Path

from django.contrib import admin
from django.contrib.auth.models import User
from django.core.cache import cache
from django.db import transaction
from django.urls import get_resolver
from django.urls.resolvers import URLResolver

from clubdesk.courses.models import Certificate, Cohort, Course
from clubdesk.desk.roles import ROLES
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees.models import Lodgement, Receipt
from clubdesk.ledger.models import Journal
from clubdesk.rangeday.models import RangeDay
from clubdesk.roll.models import Household
from tests.worlds.day_one import KEEPER, username

DECLARED = Path(__file__).with_name("answers.txt")
NOBODY = "nobody"
WHO = (NOBODY, *ROLES, "administrator")
"""In the order of the letters in a line; nobody is not signed in and has opened no family's link."""
HEADERS = {"Content-Security-Policy": "'none'", "Permissions-Policy": "camera=()", "X-Content-Type-Options": "nosniff",
           "Referrer-Policy": "same-origin"}  # fmt: skip
"""What every answer carries, and what stands in it."""
LETTERS = {200: "o", 302: ">", 400: "?", 403: "x", 404: "-", 405: "m", 409: "n", 410: "-", 422: "u"}
"""o the page, > on to another, u the form again; x refused, n not now, - nothing there, m no such way; l sign in."""
CONVERTED = re.compile(r"<(?:\w+:)?(\w+)>|\(\?P<(\w+)>(?:[^()]|\([^()]*\))*\)")
WORDS = {"token": "nothing", "old": "nothing", "secret": "nothing", "key": "nothing-0", "uidb36": "1", "code": "1010",
         "ending": "2027", "number": "1", "room": "roll", "url": "nowhere", "content_type_id": "1"}  # fmt: skip
ROWS = {
    "book/<int:pk>/": Course, "claims/<int:pk>/": EntryClaim, "fees/lodgement/": Lodgement,
    "roll/household/": Household,
    "fees/receipt/": Receipt, "courses/cohort/": Cohort, "courses/certificate/": Certificate, "range/": RangeDay,
    "ledger/journal/": Journal,
}  # fmt: skip
"""What stands for a number in the addresses that begin so."""


def routes() -> list[str]:
    """Every address as the resolver has it, "roll/household/<path:object_id>/change/", each once."""
    walked = _walked(get_resolver().url_patterns)
    return sorted({re.sub(r"^\^\(\?P<app_label>.*", "<room>/", route) for route in walked})


def _walked(patterns, before: str = "") -> Iterator[str]:
    for each in patterns:
        route = f"{before}{each.pattern}"
        if isinstance(each, URLResolver):
            yield from _walked(each.url_patterns, route)
        else:
            yield route


def filled(route: str) -> str:
    """The address with a row of the book that has such a page, where there is one."""
    plain = route.replace("^", "").removesuffix("$").replace("$", "")
    return "/" + CONVERTED.sub(lambda found: _filled(route, found[1] or found[2]), plain)


def _filled(route: str, name: str) -> str:
    if name in WORDS:
        return WORDS[name]
    screen = _screen_of(route)
    if screen is not None:
        slug = route.rstrip("/").rpartition("/")[2]
        pages = [page for page in getattr(screen, "all_pages", ()) if page.slug == slug]
        rows = screen.model._default_manager.order_by("pk")[:400]
        row = next((row for row in rows if all(page.applies(row) for page in pages)), None) or rows.first()
        return str(row.pk) if row else "1"
    model = next((model for start, model in ROWS.items() if route.startswith(start)), None)
    first = model._default_manager.order_by("pk").first() if model else None
    return str(first.pk) if first else "1"


def _screen_of(route: str):
    found = next(
        (each for each in admin.site._registry if route.startswith(f"{each._meta.app_label}/{each._meta.model_name}/")),
        None,
    )
    return admin.site._registry[found] if found else None


class Asked:
    """A browser that is in turn each of `WHO`; what a request changes is undone."""

    def __init__(self, client):
        self.client, self.cookies, self.bare = client, {}, set()
        client.raise_request_exception = False
        for who in WHO:
            client.cookies.clear()
            if who != NOBODY:
                name = KEEPER if who == "administrator" else username(who)
                client.force_login(User.objects.get(username=name))
            self.cookies[who] = {name: morsel.value for name, morsel in client.cookies.items()}

    def ask(self, who, method, path, data=None, **how):
        cache.clear()
        self.client.cookies.clear()
        for name, value in self.cookies[who].items():
            self.client.cookies[name] = value
        with transaction.atomic():
            answer = getattr(self.client, method.lower())(path, data, **how)
            transaction.set_rollback(True)
        return answer

    def letter(self, who, method, path):
        answer = self.ask(who, method, path, {"key": str(uuid.uuid4())} if method == "POST" else None)
        if any(words not in answer.headers.get(name, "") for name, words in HEADERS.items()):
            self.bare.add(path)
        if answer.status_code == 302 and answer.headers["Location"].startswith("/login/?next="):
            return "l"
        return LETTERS.get(answer.status_code, f"[{answer.status_code}]")


def line_of(asked: Asked, route: str) -> str:
    path = filled(route)
    found = ("".join(asked.letter(who, method, path) for who in WHO) for method in ("GET", "POST"))
    return " ".join([route or "(home)", *found])


def declared() -> dict[str, str]:
    """The declared lines by their routes."""
    lines = DECLARED.read_text().splitlines() if DECLARED.exists() else []
    return {line.split(" ")[0]: line for line in lines}
