"""Every address × role × way of asking: `answers.txt` declares what each is answered; nothing sent makes it fail."""

import os

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from tests.chance import by_chance
from tests.whole.answering import DECLARED, NOBODY, WHO, Asked, declared, filled, line_of, routes

pytestmark = [pytest.mark.slow, pytest.mark.world("one_of_each"), pytest.mark.django_db]
OPEN_TO_ALL = ("visit/",
    "health/", "book/", "open/", "account/", "claims/", "dates/", "known/", "leaving/", "invitation/", "login/",
    "password/reset/",
    "^password/reset/", "second-step/webauthn/login/", "second-step/authenticate/", "logout/", "inactive/", "signup/",
    "confirm-email/", "^confirm-email/", "reauthenticate/", "jsi18n/", "range-worker.js",
)  # fmt: skip
"""What stands before the sign-in: families' pages, which ask for their link, and signing in itself."""
OWN = ("second-step/", "sessions/", "reauthenticate/", "password/", "email/", "login/", "logout/", "confirm-email/",
       "^confirm-email/", "find/", "reports/verify/", "autocomplete/", "inactive/")  # fmt: skip
"""Where whoever may only look sends something all the same: their own way to sign in, and questions."""
LOOKING, ACTS = set("x-ml"), ("/add/", "/change/", "/delete/")
SHOWN_AGAIN = set("o>")
"""A page that only shows, shown to whoever sends it something; or led on from an address without a page of its own."""
OF_PHONES = ("range/<int:pk>/taps/",)
"""What a script asks: it is refused in a sentence, and led nowhere."""


@pytest.fixture
def asked(client):
    return Asked(client)


@pytest.mark.either
def test_every_address_answers_each_role_as_it_is_declared_and_with_its_headers(asked):
    found = {line.split(" ")[0]: line for line in (line_of(asked, route) for route in routes())}
    if os.environ.get("ANSWERS") == "write":
        DECLARED.write_text("".join(f"{line}\n" for line in found.values()))
    told = declared()
    assert found.keys() - told.keys() == set(), "declare what each role is answered there in answers.txt"
    assert told.keys() - found.keys() == set()
    assert {route: line for route, line in found.items() if line != told[route]} == {}
    assert asked.bare == set(), "answers without the headers that every answer carries"


def by_who(line):
    route, *ways = line.split(" ")
    return route, [dict(zip(WHO, way, strict=True)) for way in ways]


DECLARED_BY_WHO = [by_who(line) for line in declared().values()]


def test_the_table_is_whole():
    lines = declared()
    assert len(lines) > 500
    assert set("".join(way for line in lines.values() for way in line.split(" ")[1:])) <= set("o>?xn-mul")


def test_who_is_not_signed_in_is_asked_to_before_anything_of_the_book():
    for route, ways in DECLARED_BY_WHO:
        if not route.startswith(OPEN_TO_ALL) and route != "news/":  # a family's, beside the club's own
            assert {way[NOBODY] for way in ways} == {"x" if route in OF_PHONES else "l"}, route


def test_the_auditor_sends_nothing_but_questions_and_what_is_their_own():
    for route, (looked, sent) in DECLARED_BY_WHO:
        if not route.startswith((*OWN, *OPEN_TO_ALL)):
            shown_again = set() if route.endswith(ACTS) else {looked["Auditor"]} & SHOWN_AGAIN
            assert sent["Auditor"] in LOOKING | shown_again, route


def test_nobody_sends_what_they_may_not_look_at():
    for route, (looked, sent) in DECLARED_BY_WHO:
        assert {sent[who] for who in WHO if looked[who] == "x"} <= LOOKING, route


NAMES = """
    q p o e on key page amount reason first last basis until account balance file next action _selected_action _popup
    _to_field _changelist_filters household person date name email phone code method state birth_date given_name taps
    form-TOTAL_FORMS form-INITIAL_FORMS term app_label model_name field_name csrfmiddlewaretoken credential login
    household__party__name id__in state__exact recorded_at__year pk__gte own_only all list_editable cohort places
"""
VALUES = st.one_of(
    st.text(max_size=40),
    st.integers(-(10**20), 10**20).map(str),
    st.dates().map(str),
    st.sampled_from(
        [
            "",
            "0",
            "-1",
            "1e400",
            "NaN",
            "Infinity",
            "\x00",
            "12.345",
            "9999-12-31",
            "0001-01-01",
            "2026-02-30",
            "true",
            "'; DROP TABLE ledger_posting; --",
            "<script>",
            "{{ 7 }}",
            "../../etc/passwd",
            "\ud83c",
            "[" * 5000,
            "%s%n",
            "1,2,x",
            '{"a":' * 3000,
            "\u202e",
            "١٢",
            "🏹" * 200,
        ]
    ),
)
SENT = st.one_of(
    st.dictionaries(st.sampled_from(NAMES.split()), VALUES, max_size=5),
    st.binary(max_size=60),
    st.sampled_from([b"[" * 50_000, b'{"a":' * 20_000, b'{"taps": [{}, 1, null]}', b"\xff\xfe\x00", b"--x\r\n"]),
)
METHODS = ("GET", "POST", "POST", "PUT", "DELETE", "HEAD")
KINDS = ("application/json", "text/plain", "multipart/form-data; boundary=x", "application/x-www-form-urlencoded")


REQUESTS = 500 if connection.vendor == "sqlite" else 1500
"""Of the two PostgreSQL is strict about what it is asked."""


def test_no_request_made_up_by_chance_fails(asked):
    addresses = [filled(route) for route in routes()]

    @by_chance(REQUESTS)
    @given(
        *map(st.sampled_from, (addresses, WHO, METHODS, KINDS)), SENT, st.text(max_size=12),
    )  # fmt: skip
    def asks(address, who, method, kind, sent, ending):
        if isinstance(sent, bytes):
            how = {"content_type": kind}
            address, sent = (f"{address}?q={ending}", sent) if method in ("POST", "PUT") else (address, None)
        else:
            how = {"content_type": "application/json"} if method in ("PUT", "DELETE") else {}
            sent = {name: value.encode("utf-8", "replace").decode() for name, value in sent.items()}
        answer = asked.ask(who, method, address, sent, **({} if method in ("GET", "HEAD") else how))
        assert answer.status_code // 100 != 5, (method, address, sent)

    asks()
