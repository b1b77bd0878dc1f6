"""Whoever changes a day, a sign-on or a piece of kit takes it first, the families next and the book last."""

import uuid
from datetime import timedelta

import pytest

from clubdesk.fees.models import Charge, Voucher
from clubdesk.ledger.models import Book
from clubdesk.money import as_amount
from clubdesk.rangeday import services
from clubdesk.rangeday.models import Banking, Gear, Kit, Paid, RangeDay, SignOn
from clubdesk.rangeday.services.taps import Tapped
from clubdesk.roll.models import Household
from tests import factories
from tests.locks import read_first, taking
from tests.rangeday.days import NINE, TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def tap(day, by):
    def tapped(*people, key=None, **more):
        made = Tapped(key=key or uuid.uuid4(), at=NINE, people=tuple(person.pk for person in people), **more)
        return services.receive_tap(range_day=day, tapped=made, by=by)

    return tapped


def test_signing_on_takes_the_day(sign, member):
    with taking() as taken:
        sign(member, gear=Gear.OWN, paid=Paid.NOTHING)
    assert taken == [RangeDay]


def test_cancelling_takes_the_day_and_the_sign_on(sign, member, by):
    signed = sign(member, gear=Gear.OWN, paid=Paid.NOTHING)
    with taking() as taken:
        services.cancel_sign_on(sign_on=signed, on=TODAY, reason="went home", by=by)
    assert taken[:2] == [RangeDay, SignOn]


def test_correcting_takes_the_family_before_anything_is_taken_off(sign, member, by):
    wrong = sign(member)
    with taking() as taken:
        services.correct_sign_on(wrong=wrong, gear=Gear.HIRE, paid=Paid.CARD, reason="card", on=TODAY, by=by)
    assert taken[:4] == [RangeDay, Household, SignOn, RangeDay]


def test_a_tap_takes_the_day_then_the_book(tap, member):
    with taking() as taken:
        tap(member, gear=Gear.HIRE, paid=Paid.CASH)
    assert taken == [RangeDay, Book]


def test_a_tap_on_account_takes_the_family_before_the_book(tap, member):
    with taking() as taken:
        tap(member, gear=Gear.HIRE, paid=Paid.ACCOUNT)
    assert taken == [RangeDay, Household, Household, Book]


def test_undoing_a_tap_takes_its_families_and_their_fees_first(tap, member):
    done = tap(member, gear=Gear.HIRE, paid=Paid.ACCOUNT)
    with taking() as taken:
        tap(key=done.key, undo=True)
    assert taken[:6] == [RangeDay, Household, Charge, Voucher, RangeDay, Household]


def test_answering_a_question_takes_the_day(tap, by):
    asked = tap(gear=Gear.VISITOR, paid=Paid.CASH)
    with taking() as taken:
        services.answer_tap(tap=asked, record=False, answer="nobody came", on=TODAY, by=by)
    assert taken == [RangeDay]


def test_counting_takes_the_day_then_the_book_and_reopening_the_day(day, by, approver):
    with taking() as taken:
        services.close_day(range_day=day, pieces={}, second_counter=approver, by=by, on=TODAY)
    assert taken == [RangeDay, Book]
    with taking() as taken:
        services.reopen_day(range_day=day, reason="a late visitor", on=TODAY, by=by)
    assert taken[0] == RangeDay


def test_calling_off_takes_both_days_the_families_and_their_fees(day, sign, member, by):
    later = factories.RangeDay.objects.create(date=TODAY + timedelta(days=7), place="River range")
    sign(member, paid=Paid.ACCOUNT)
    with taking() as taken:
        services.call_off_day(range_day=day, reason="hail", on=TODAY, by=by, move_to=later)
    assert taken[:6] == [RangeDay, Household, Charge, Voucher, SignOn, RangeDay]


def test_banking_takes_the_book_and_cancelling_it_the_banking(sign, by):
    sign()
    assert read_first(lambda: services.bank_takings(amount=as_amount(10), on=TODAY, by=by)) == Book._meta.db_table
    part = Banking.objects.get()
    with taking() as taken:
        services.cancel_banking(banking=part, reason="it was 15", on=TODAY, by=by)
    assert taken[0] == Banking


def test_whatever_happens_to_a_piece_of_kit_takes_it_and_giving_it_out_the_sign_on(sign, member, by):
    bow, signed = Kit.objects.create(number="B01", kind="bow"), sign(member)
    with taking() as taken:
        services.give_out(kit=bow, sign_on=signed, at=NINE, by=by)
    assert taken == [Kit, SignOn]
    for act in (
        lambda: services.take_back_kit(kit=bow, at=NINE, by=by),
        lambda: services.set_kit_aside(kit=bow, on=TODAY, note="a cracked limb", by=by),
        lambda: services.find_kit_fit(kit=bow, on=TODAY, checked_by="Ida the bow maker", by=by),
    ):
        with taking() as taken:
            act()
        assert taken == [Kit]
