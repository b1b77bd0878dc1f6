"""What a letter to many costs as the club grows, beside the least that as many rows cost."""

import time

import pytest
from django.db import transaction

from clubdesk import clock
from clubdesk.mail.models import Message
from clubdesk.news import letters, selectors, services
from clubdesk.news.models import Concern
from clubdesk.roll.models import Guardian
from tests import factories

pytestmark = pytest.mark.django_db
TEXT = "Dear {guardian},\n\n{children} may come to our fair.\n\n{next dates}"


@pytest.fixture
def families(book):
    """Five hundred, each with two children."""
    for number in range(500):
        home = factories.HouseholdFactory(guardian=f"Ida {number}", email=f"g{number}@example.org")
        for _ in range(2):
            factories.PersonFactory(household=home)


def written(by, most=500):
    """A letter to so many families is written, and taken back."""
    with transaction.atomic():
        to = selectors.named("families:0", clock.today())
        some = selectors.To(to.words, dict(list(to.families.items())[:most]))
        services.write_to_many(to=some, subject="Fair", text=TEXT, concern=Concern.NEWS, on=clock.today(), by=by)
        transaction.set_rollback(True)


def test_500_families_are_written_to_within_a_second(families, by):
    """The processor's own time, since others use it too; the look at it before is a part of that."""
    began = time.process_time()
    written(by)
    took = time.process_time() - began
    print(f"\n  a letter to 500 families is written in {took:.2f} s of the processor")
    assert took < 1


def test_500_families_cost_twice_what_250_do(ratio, families, by):
    ratio(lambda: written(by), lambda: written(by, 250), rounds=3, limit=2.5)


def test_filling_in_500_letters_beside_reading_as_many_guardians(ratio, families, book, by):
    """Twelve times the least that there is to read: its family, its children, what is to come, greeting and link."""
    reached = selectors.reached(selectors.named("families:0", clock.today()), "s", TEXT, True, clock.today())

    def fill():
        return letters.drafts(reached.by_mail, "s", TEXT, True, book, clock.today())

    def read():
        return [str(each) for each in Guardian.objects.select_related("household")]

    assert len(fill()) == len(read()) == 500
    assert Message.objects.count() == 0
    ratio(fill, read, rounds=5, limit=12)
