"""The queue of refund requests: what passes is approved together, and each is decided where it stands."""

import pytest
from django.urls import reverse

from clubdesk.entryfund import selectors
from clubdesk.entryfund.models import EntryClaim
from clubdesk.ledger.invariants import check_all
from tests import factories, families

pytestmark = pytest.mark.django_db


def sound():
    return [result for result in check_all() if result.faults] == []


class TestTheQueue:
    @pytest.fixture
    def sitting(self, client, approver):
        client.force_login(approver)
        return client

    def test_what_passes_is_approved_together_and_the_rest_is_left(self, sitting, junior, claim, cash_in):
        cash_in(500)
        event = factories.event()
        good = [claim(junior(), event) for _ in range(3)]
        poor = claim(junior(), event, entry_shown=False)
        page = sitting.get(reverse("admin:claim_queue")).content.decode()
        assert page.count('name="claim"') == 3
        sitting.post(reverse("admin:claim_queue"), {"claim": [each.pk for each in (*good, poor)] + ["x", "9" * 30]})
        states = [EntryClaim.objects.get(pk=each.pk).state for each in (*good, poor)]
        assert states == ["approved"] * 3 + ["recorded"]
        text = sitting.get(reverse("admin:claim_minutes")).content.decode()
        assert "Approved in all: $180.00, 3 requests." in text
        assert sound()

    def test_ones_own_household_is_not_offered_nor_approved(self, sitting, junior, claim, cash_in, approver):
        cash_in(500)
        child = junior()
        families.belongs(approver, child.household)
        own = claim(child)
        assert "somebody else decides" in sitting.get(reverse("admin:claim_queue")).content.decode()
        sitting.post(reverse("admin:claim_queue"), {"claim": [own.pk]})
        own.refresh_from_db()
        assert own.state == "recorded"

    def test_it_costs_the_same_fund_whatever_fails(self, sitting, junior, claim, cash_in):
        cash_in(60)
        event = factories.event()
        claim(junior(), event, entry_shown=False)
        claim(junior(), event)
        assert [row.before.amount for row in selectors.queue()] == [60, 60]
        assert len(selectors.queue(most=1)) == 1

    @pytest.mark.parametrize(
        ("act", "words", "state", "said"),
        [
            ("approve", "", "approved", "Approved: $60.00 to"),
            ("decline", "Another club paid it.", "declined", "The family hears why."),
            ("ask", "Please send the list.", "asked", "The family was asked about"),
        ],
    )
    def test_one_is_decided_where_it_stands_and_the_next_follows(
        self, sitting, junior, claim, cash_in, act, words, state, said
    ):
        cash_in(500)
        event = factories.event()
        first, following = (claim(junior(), event) for _ in range(2))
        url = reverse("admin:claim_queue")
        page = sitting.post(url, {"act": act, "of": first.pk, "words": words}, follow=True).content.decode()
        assert EntryClaim.objects.get(pk=first.pk).state == state
        assert EntryClaim.objects.get(pk=following.pk).state == "recorded"
        assert said in page
        assert f'id="claim-{first.pk}"' not in page
        assert f'id="claim-{following.pk}"' in page
        assert sound()

    @pytest.mark.parametrize(
        ("act", "sentence"),
        [("decline", "Give the reason in words"), ("ask", "Write what you would like to know"),
         ("approve", "This request cannot be approved")],
    )  # fmt: skip
    def test_what_is_refused_there_is_said_beside_it(self, sitting, junior, claim, act, sentence):
        poor = claim(junior(), entry_shown=False)
        answer = sitting.post(reverse("admin:claim_queue"), {"act": act, "of": poor.pk, "words": " "})
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert EntryClaim.objects.get(pk=poor.pk).state == "recorded"

    def test_ones_own_familys_is_not_decided_there_either(self, sitting, junior, claim, cash_in, approver):
        cash_in(500)
        child = junior()
        families.belongs(approver, child.household)
        own = claim(child)
        sitting.post(reverse("admin:claim_queue"), {"act": "approve", "of": own.pk})
        assert EntryClaim.objects.get(pk=own.pk).state == "recorded"

    @pytest.mark.parametrize("of", ["", "x", "9" * 30, "999999"])
    def test_one_that_is_not_there_is_said_so(self, sitting, of):
        page = sitting.post(reverse("admin:claim_queue"), {"act": "approve", "of": of}, follow=True)
        assert "not here any more" in page.content.decode()
