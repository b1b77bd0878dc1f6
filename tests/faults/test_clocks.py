"""Clocks that were set back, and two nights at once: nothing is done twice, nothing stands in the wrong order."""

import random
from datetime import date, timedelta
from unittest import mock

import pytest
from django.utils import timezone

from clubdesk import clock
from clubdesk.desk.services import nightly
from clubdesk.ledger.invariants import check_all, document_models
from clubdesk.ledger.models import JournalEntry, Posting
from clubdesk.mail.models import Message
from clubdesk.verbs import shell_user
from tests.faults.acts import begin
from tests.faults.killing import scratch
from tests.faults.workload import done
from tests.whole.test_concurrency import at_once
from tests.worlds import keeping
from tests.worlds.day_one import TODAY

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
A_MONTH_ON, DEEDS = date(2026, 10, 20), 60


def rows():
    """How many rows there are of each document, and of what documents make."""
    return {model.__name__: model._default_manager.count() for model in (*document_models(), Posting, Message)}


def faults():
    return [f"{result.name}: {fault}" for result in check_all() for fault in result.faults]


@pytest.mark.world("season_50")
def test_two_nights_at_once_with_much_due_do_what_one_would_have_done():
    with clock.on(A_MONTH_ON):
        alone = nightly(on=A_MONTH_ON, by=shell_user())
        wanted = rows()
        assert sum(alone.counts.values()) >= 20
        keeping.spoil()
        keeping.enter("season_50")
        both = at_once(2, lambda number: nightly(on=A_MONTH_ON, by=shell_user()))
        assert {what: sum(night.counts[what] for night in both) for what in alone.counts} == alone.counts
        assert rows() == wanted
        assert faults() == []


@pytest.mark.world("season_50")
def test_a_night_of_a_day_that_was_before_the_last_changes_nothing():
    with clock.on(A_MONTH_ON):
        nightly(on=A_MONTH_ON, by=shell_user())
    before = rows()
    yesterday = A_MONTH_ON - timedelta(days=1)
    with clock.on(yesterday):
        assert sum(nightly(on=yesterday, by=shell_user()).counts.values()) == 0
    assert rows() == before
    assert faults() == []


@pytest.mark.parametrize("back", [timedelta(hours=1), timedelta(days=1)], ids=["an hour", "a day"])
def test_while_a_servers_clock_is_back_nothing_is_posted_and_the_books_hold(back):
    real = timezone.now

    def behind():
        return real() - back

    with scratch():
        club = begin(random.random())
        posted = JournalEntry.objects.count()
        with mock.patch.object(timezone, "now", behind), clock.on(TODAY - timedelta(days=back.days)):
            heard = [what for what, *_ in _deeds(club)]
            assert JournalEntry.objects.count() == posted
        assert "refused" in heard
        assert faults() == []
        heard = [what for what, *_ in _deeds(club)]
        assert "done" in heard
        assert JournalEntry.objects.count() > posted
        assert faults() == []


def _deeds(club):
    heard = []
    for _ in range(DEEDS):
        done(club.deed(), lambda *told: heard.append(told))
    return heard
