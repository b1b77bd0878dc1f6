"""The morning on which a course opens: 300 families on the parents' page at once, for 16 seats."""

import multiprocessing
import threading
import uuid
from datetime import date

import pytest
from django.db import connection, connections
from django.test import Client
from django.urls import reverse

from clubdesk.courses.models import Booking, Place
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from tests import factories
from tests.courses.test_parents_page import party

pytestmark = pytest.mark.django_db(transaction=True)
FAMILIES, SEATS = 300, 16
AT_ONCE = 8
"""As many as the hosted site serves at a moment: two processes of four threads; whoever else clicks waits before it."""
NOW = date(2026, 9, 12)


@pytest.fixture
def cohort(book):
    return factories.cohort(capacity=SEATS)


def book(cohort, number):
    """One family's click; returns what its browser was told."""
    form = party(
        cohort, f"f{number}@example.org", ((f"Child{number}", "Mirabar", "2014-05-05"),), key=str(uuid.uuid4())
    )
    page = reverse("book:course", args=[cohort.course_id])
    address = f"203.0.{number // 250}.{number % 250 + 1}"
    return Client().post(page, form, REMOTE_ADDR=address).status_code


def by_threads(cohort):
    families, told = iter(range(FAMILIES)), [0] * FAMILIES

    def serve():
        try:
            for number in families:
                told[number] = book(cohort, number)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=serve) for _ in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return told


def by_processes(cohort):
    forking = multiprocessing.get_context("fork")
    came, told = forking.Value("i"), forking.Array("i", FAMILIES)

    def next_family():
        with came:
            came.value += 1
            return came.value - 1

    def serve():
        while (number := next_family()) < FAMILIES:
            told[number] = book(cohort, number)

    connections.close_all()
    processes = [forking.Process(target=serve) for _ in range(AT_ONCE)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    return list(told)


@pytest.mark.slow
def test_300_families_at_once_get_16_places_and_the_rest_wait_in_order_of_arrival(cohort):
    told = by_threads(cohort) if connection.vendor == "postgresql" else by_processes(cohort)
    assert set(told) == {302}
    assert Place.objects.filter(state="held").count() == SEATS
    bookings = list(Booking.objects.order_by("pk"))
    assert [booking.number for booking in bookings] == list(range(1, FAMILIES + 1))
    assert [booking.state for booking in bookings] == ["held"] * SEATS + ["waiting"] * (FAMILIES - SEATS)
    assert [booking.pk for booking in sorted(bookings, key=lambda each: each.rank)] == [each.pk for each in bookings]
    assert balance(Role.FEES_IN_ADVANCE, NOW) == -126 * SEATS
    assert Message.objects.count() == FAMILIES
    assert [result for result in check_all() if result.faults] == []
