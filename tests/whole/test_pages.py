"""Every page of the site: it opens, it stays cheap as the club grows, and whatever is typed, it does not fail."""

import uuid
from collections import defaultdict

import pytest
from django.contrib import admin
from django.contrib.auth.models import User
from django.core.cache import caches
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import resolve, reverse
from django.utils.datastructures import MultiValueDict

from clubdesk import clock
from clubdesk.courses.models import Booking, Place, PlaceState
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry
from clubdesk.roll.models import Person
from tests import families
from tests.whole.addresses import C, urls_by_day, urls_of_everything
from tests.worlds import day_one, keeping

pytestmark = pytest.mark.django_db
MOST_QUERIES = 40
ASK_MORE = {
    "/": 48, "/roll/person/1/erase/": 48, "/roll/household/1/file/": 62, "/reports/committee/": 42, "/account/": 48,
    "/year/2027/close/": 62, "/ledger/financialyear/1/close/": 62,
    "/bank/reconcile/?account=1&until=2026-09-30&balance=47.00": 45,
    **dict.fromkeys(("/reports/2027/", "/reports/2027/?basis=cash", "/reports/2027/?basis=bridge"), 55),
}  # fmt: skip
"""What waits and stands in every room; what every room holds of a family, and asks before a year is closed; both sides
of a month; stored months and whatever came since.
"""
DO_THEIR_VERB, A_VERB = ("/renew/", "/accept/", "/cancel/", "/end/", "/change-plan/", "/refuse/", "/release/"), 100
"""Pages that do their verb and undo it, to say what it will do; a renewal's says how vouchers are best set as well."""
CANCELS_A_COHORT, A_PLACE = "/courses/cohort/1/cancel/", 60
"""The same for each of its places."""
BEGINS_AND_ENDS = ("BEGIN", "SET TRANSACTION", "COMMIT")
"""What the moment at which a page is drawn takes; it asks nothing."""
ONLY_BY_OTHERS = (
    "bank/accountchange", "bank/clearing", "bank/paymentitem", "bank/reconciliation", "bank/statementimport",
    "care/look",
    "courses/certificate",
    "desk/signinrecord", "desk/actrecord",
    "courses/place", "fees/arrangement", "fees/charge", "fees/giveback", "fees/receipt", "fees/repayment",
    "fees/voucher",
    "fees/writeoff", "ledger/journalentry", "ledger/monthlock", "ledger/monthunlock", "mail/message", "ledger/book",
    "membership/leaverequest",
    "rangeday/signon", "rangeday/tap", "roll/merge", "safety/opening", "safety/stay", "yearend/gstreturn",
)  # fmt: skip
"""What the verbs of other documents make, and so no page of its own."""
NOT_OPEN = dict.fromkeys((f"/{each}/add/" for each in ONLY_BY_OTHERS), 403) | {
    "/yearend/gstreturn/": 403,  # the club is not registered
    "/yearend/gstreturn/found/": 403,
    "/today/": 302,  # to the sheet of the day
    "/news/writing/add/": 302,  # to the page that asks whom it goes to
}


@pytest.mark.slow
@pytest.mark.either
@pytest.mark.world("season_50")
@pytest.mark.django_db(transaction=True)
def test_every_page_costs_the_same_at_50_and_at_500_people(client):
    urls = urls_by_day(client)
    today, after_the_year = urls.values()
    assert len(today) > 80
    assert len(after_the_year) >= 2
    keeping.know_content_types()
    small = each_page(client, urls)
    keeping.spoil()
    keeping.enter("season_500")
    keeping.know_content_types()
    large = each_page(client, urls)
    held = Place.objects.filter(cohort=1, state=PlaceState.HELD).count()
    assert large == small
    assert large.pop(CANCELS_A_COHORT) < A_PLACE * held
    most = {url: A_VERB if url.endswith(DO_THEIR_VERB) else MOST_QUERIES for url in large}
    too_many = {url: asked for url, asked in large.items() if asked > ASK_MORE.get(url, most[url])}
    assert too_many == {}


def each_page(client, urls):
    """How many queries it takes, on the day on which it has something to show."""
    found = {}
    open_a_familys_own(client, urls)
    for day in urls:
        with clock.on(day):
            client.force_login(User.objects.get(username=day_one.KEEPER))
            found |= {url: queries(client, url) for url in urls[day]}
    return found


def open_a_familys_own(client, urls):
    """By the link of the family whose booking stands among the pages."""
    own = {resolve(url).kwargs["pk"] for url in urls[day_one.TODAY] if url.startswith("/book/own/")}
    families.page_of(client, Booking.objects.get(pk__in=own).household)


def queries(client, url):
    for name in ("default", "figures"):
        caches[name].clear()
    connection.queries_log.clear()
    with CaptureQueriesContext(connection) as captured:
        response = client.get(url)
    assert response.status_code == NOT_OPEN.get(url, 200), url
    return sum(not each["sql"].startswith(BEGINS_AND_ENDS) for each in captured)


@pytest.mark.either
def test_every_kind_of_document_has_a_page_with_its_verbs(client, season, keeper):
    client.force_login(keeper)
    answers = {url: client.get(url).status_code for url in urls_of_everything(client)}
    assert len(answers) > 150
    assert {url: status for url, status in answers.items() if status != 200} == NOT_OPEN


WRONG = ["", "x", "-1", "0", "1e400", "999999999999999999", "12.345", "1800-01-01", "9999-12-31", "2026-02-30",
         "\x00", "🏹" * 400, "'; DROP TABLE ledger_posting; --", "NaN", "Infinity"]  # fmt: skip
OF_POSTGRESQL = ["999999999999999999", "9999-12-31", "\x00", "🏹" * 400, "NaN"]
"""What a form may take and PostgreSQL is strict about; SQLite is sent the rest."""
FORMS = {}
"""By the address of each form of a season its fields and their right values; read once a process."""


@pytest.fixture
def forms(client, season, keeper):
    client.force_login(keeper)
    for url in [] if FORMS else urls_of_everything(client):
        response = client.get(url)
        form = response.context.get("form") if response.context else None
        if response.status_code == 200 and hasattr(form, "target"):
            right = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
            FORMS[url] = form.fields, {name: "" if value is None else str(value) for name, value in right.items()}
    assert len(FORMS) > 60
    return FORMS


def would_take(field, typed):
    """Whether the field by itself finds nothing wrong with it."""
    asked = MultiValueDict({"it": [typed]})
    try:
        field.clean(field.widget.value_from_datadict(asked, {}, "it"))
    except ValidationError:
        return False
    return True


@pytest.mark.slow
@pytest.mark.parametrize(
    "wrong",
    [each for each in WRONG if (connection.vendor == "postgresql") == (each in OF_POSTGRESQL)],
    ids=lambda each: ascii(each)[:20],
)
def test_no_form_fails_whatever_is_typed_into_it(client, forms, wrong):
    """Something wrong in all fields of each form at once, and beside right values in each field that would take it."""
    answers = defaultdict(list)
    for url, (fields, right) in forms.items():
        taken = [name for name, field in fields.items() if name in right and would_take(field, wrong)]
        for typed in (dict.fromkeys(right, wrong), *({**right, name: wrong} for name in taken)):
            answers[client.post(url, {**typed, "key": str(uuid.uuid4())}).status_code].append((url, typed))
    assert answers.keys() == {302, 422}
    assert [result for result in check_all() if result.faults] == []


@pytest.mark.slow
def test_no_plain_form_fails_whatever_is_typed_into_it(client, season, keeper):
    client.force_login(keeper)
    answers = defaultdict(list)
    for model in admin.site._registry:
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}_add"
        response = client.get(reverse(name))
        if response.status_code != 200 or "adminform" not in (response.context or {}):
            continue
        for wrong in WRONG:
            typed = dict.fromkeys(response.context["adminform"].form.fields, wrong)
            for formset in response.context["inline_admin_formsets"]:
                typed |= {f"{formset.formset.prefix}-TOTAL_FORMS": "1", f"{formset.formset.prefix}-INITIAL_FORMS": "0"}
            answers[client.post(reverse(name), typed).status_code].append((name, wrong))
    assert answers.keys() == {200, 302}
    assert len({name for name, _ in answers[200]}) > 20


def test_an_entry_of_every_kind_of_document_has_its_page(client, season, keeper):
    season.close_and_credit()
    client.force_login(keeper)
    kinds = JournalEntry.objects.order_by().values_list("source_type", flat=True).distinct()
    assert len(kinds) > 12
    for kind in kinds:
        entry = JournalEntry.objects.filter(source_type=kind).first()
        assert client.get(reverse("admin:ledger_journalentry_change", args=[entry.pk])).status_code == 200, kind


def test_a_button_that_leads_elsewhere_has_no_page_of_its_own(client, season, keeper):
    client.force_login(keeper)
    answer = client.post(f"/courses/cohort/{season.cohort.pk}/book/", follow=True)
    assert answer.redirect_chain[-1][0] == "/"
    assert f"Cohort with ID “{season.cohort.pk}/book” doesn’t exist" in answer.content.decode()


def test_long_reasons_and_far_years_are_no_trouble(season, as_role):
    place = Place.objects.first()
    form = {"key": str(uuid.uuid4()), "on": "2026-09-12", "reason": "x" * 150}
    url = reverse("admin:courses_place_withdraw", args=[place.pk])
    assert as_role(C).post(url, form).status_code == 302
    form = {"key": str(uuid.uuid4()), "person": Person.objects.last().pk, "plan": season.plan.pk, "on": "2026-09-12",
            "starts_on": "9999-06-01"}  # fmt: skip
    answer = as_role(C).post(reverse("admin:membership_membership_add"), form)
    assert "check the year" in answer.content.decode()


def test_a_page_that_fails_shows_no_traceback(client, book, keeper):
    client.force_login(keeper)
    assert client.get("/roll/household/999999/receipt/").status_code == 404
    assert client.get("/reports/1850/").status_code == 404
    assert client.get("/nowhere/").status_code == 404
