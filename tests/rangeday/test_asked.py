"""What a tap on a phone asks of the database: families wait at the table while it does."""

import json
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Journal, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from tests.rangeday.days import NINE, TODAY

pytestmark = pytest.mark.django_db(transaction=True)
IN_TRANSACTION = ("BEGIN", "COMMIT")
BACK_TO = ("SAVEPOINT", "RELEASE")


@pytest.fixture
def send(client, coordinator, day):
    client.force_login(coordinator)

    def sent(*people, **more):
        tap = {"key": str(uuid.uuid4()), "at": NINE.isoformat(), "gear": "hire", "paid": "cash", **more}
        url = reverse("admin:range_taps", args=[day.pk])
        return client.post(
            url, json.dumps({"taps": [tap | {"people": [person.pk for person in people]}]}), "application/json"
        )

    return sent


def asked(act):
    """The statements of an act but for those that begin and end its transaction."""
    with CaptureQueriesContext(connection) as queries:
        act()
    return [query["sql"] for query in queries if not query["sql"].startswith(IN_TRANSACTION)]


@pytest.mark.parametrize("paid", ["cash", "card"])
def test_a_tap_with_money_asks_nineteen_times_at_most_and_takes_no_savepoint(send, member, paid):
    told = []
    statements = asked(lambda: told.extend(send(member, paid=paid).json()["told"]))
    assert told[0][1] == "done"
    assert len(statements) <= 19
    assert [each for each in statements if each.startswith(BACK_TO)] == []


def test_what_is_refused_becomes_a_question_and_leaves_nothing_of_it(send, member, day):
    """The first person's part is done again, one by one, and stands; the second's is undone whole."""
    told = send(member, paid="cash").json()["told"]
    again = send(member, paid="card").json()["told"]
    assert (told[0][1], again[0][1]) == ("done", "question")
    assert day.sign_ons.count() == 1


def test_a_post_of_four_lines_asks_four_times(book, by):
    lines = [
        debit(Role.BANK, as_amount(228)),
        credit(Role.MEMBERSHIPS, as_amount(112)),
        credit(Role.DONATIONS, as_amount(71)),
        credit(Role.GRANTS, as_amount(45)),
    ]
    document = Journal.objects.create(date=TODAY, narration="x", recorded_by=by)
    statements = asked(
        lambda: ledger.post(source=document, purpose="x", on=TODAY, narration="Fees", lines=lines, by=by)
    )
    assert len(statements) == 4
