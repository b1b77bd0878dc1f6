"""Every kind of letter as a family reads it: the text of each stands beside this file, in a file of its own.

A letter that reads otherwise than its file fails. Where it is meant to, `LETTERS=write pytest tests/letters` writes the
files anew; read what changed in them before it is committed.
"""

import os
import re
import uuid
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.db import connection

from clubdesk import clock, guards
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.care import services as care
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Course, Place, RefundStep
from clubdesk.courses.services.parents import Named, PartyForm
from clubdesk.entryfund import letters as of_fund
from clubdesk.entryfund import services as fund
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import letters as of_fees
from clubdesk.fees import services as fees
from clubdesk.fees import writing
from clubdesk.fees.models import FeeKind, GivesBack, Method, Voucher, VoucherScheme
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Book, Role
from clubdesk.lettering import written
from clubdesk.mail import selectors
from clubdesk.mail.models import Message
from clubdesk.membership import services as membership
from clubdesk.membership.models import Plan, Refund
from clubdesk.money import as_amount
from clubdesk.news import services as news
from clubdesk.news.models import Concern
from clubdesk.news.selectors import To
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid, RangeDay
from clubdesk.roll.selectors import payment_reference
from clubdesk.rooms import APPROVER, COORDINATOR
from clubdesk.safety import services as safety
from tests import factories
from tests.worlds.day_one import username

pytestmark = pytest.mark.django_db
FILES = Path(__file__).parent
NOW, OCTOBER, FEBRUARY = date(2026, 9, 12), date(2026, 10, 4), date(2027, 2, 7)
LONGEST = 25
"""Words of a sentence."""


def family(name="Mirabar", *children):
    household = factories.HouseholdFactory(name=f"{name} family", guardian=f"Ida {name}", email="ida@example.org")
    return [
        factories.PersonFactory(
            household=household, given_name=given, family_name=name, birth_date=date(2014 - index, 3, 9)
        )
        for index, given in enumerate(children or ("Ada",))
    ]


def last(household):
    return Message.objects.filter(household=household).latest("pk")


def pay(household, amount, by):
    return fees.record_receipt(household=household, amount=as_amount(amount), method=Method.CARD, on=NOW, by=by)


class Club:
    """Where the cases of letters happen."""

    def __init__(self, by):
        self.by = by
        factories.paid_into()
        Book.objects.update(contact_name="Kim Bell", contact_email="kim@example.org", contact_phone="08 7010 0100")

    def moves_bank(self):
        factories.paid_into(account_number="4500999", bsb="012-003")

    def cohort(self, capacity=2, first=OCTOBER):
        made = factories.cohort(capacity=capacity, first=first)
        made.name = f"{first:%B %Y}"
        made.save()
        made.course.pay_days, made.course.reminder_days = 14, 7
        made.course.save()
        RefundStep.objects.get_or_create(course=made.course, days_before=7, defaults={"percent": 50})
        return made

    def book(self, cohort, *children, name="Mirabar", on=NOW):
        people = family(name, *children)
        return courses.book_party(course=cohort.course, people=people, cohorts=[cohort], on=on, by=self.by)

    def fee(self, child, amount="126.00"):
        price = factories.price(amount=amount, code=f"fee of {child}")
        home = child.household
        return fees.charge(household=home, person=child, price=price, on=NOW, starts_on=NOW, by=self.by)

    def lodged(self, charge):
        scheme = factories.scheme()
        fees.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=self.by)
        return fees.lodge_vouchers(scheme=scheme, on=NOW, by=self.by)

    def plan(self):
        ledger.open_year(first_day=date(2027, 7, 1), by=self.by)
        made = factories.plan(shares=[(factories.association(), "116.00")])
        made.sibling_percent, made.refund, made.oldest = 10, Refund.MONTHS, 17
        made.save()
        return made

    def join(self, child, plan, on=NOW):
        return membership.take_out_membership(person=child, plan=plan, starts_on=on, on=on, by=self.by)


CASES = {}


def case(function):
    """A kind of letter, named as the function: what it does to a club ends with the letter."""
    CASES[function.__name__] = function
    return function


@case
def course_places_given(club):
    return last(club.book(club.cohort(), "Ada", "Bela").household)


@case
def course_waiting(club):
    cohort = club.cohort()
    club.book(cohort, "Olga", "Petra", name="Odo")
    return last(club.book(cohort, "Ada", "Bela").household)


@case
def course_booked_apart(club):
    letter = course_waiting(club)
    courses.book_apart(booking=letter.household.bookings.get(), on=NOW, by=club.by)
    return last(letter.household)


@case
def course_one_more_waits(club):
    letter = course_waiting(club)
    child = factories.PersonFactory(household=letter.household, given_name="Cato", birth_date=date(2014, 3, 9))
    courses.add_to_group(booking=letter.household.bookings.get(), person=child, on=NOW, by=club.by)
    return last(letter.household)


@case
def course_somebody_else_comes(club):
    place = club.book(club.cohort()).places.get()
    home = place.person.household
    adult = factories.PersonFactory(household=home, given_name="Ida", birth_date=date(1986, 3, 9))
    place.course.adult_fee_item = factories.price(code="adult", amount="180.00").item
    place.course.save()
    pay(home, "100.00", club.by)
    courses.swap_person(place=place, person=adult, on=NOW, reason="exams", by=club.by)
    return last(home)


def moved(club):
    """The letters to the family that a child of two belonged to, and to the one that it belongs to now."""
    place = club.book(club.cohort(3), "Ada", "Bela").places.order_by("pk").first()
    before, now = place.person.household, family("Wren", "Cato")[0].household
    pay(before, "252.00", club.by)
    courses.move_person(person=place.person, household=now, on=NOW, by=club.by)
    return last(before), last(now)


@case
def course_goes_along(club):
    return moved(club)[0]


@case
def course_comes_along(club):
    return moved(club)[1]


@case
def course_offer(club):
    cohort = club.cohort(1)
    first = club.book(cohort, name="Odo")
    waiting = club.book(cohort)
    courses.withdraw(booking=first, on=NOW, reason="camp", by=club.by)
    return last(waiting.household)


@case
def course_offer_accepted(club):
    letter = course_offer(club)
    courses.accept_offer(booking=letter.household.bookings.get(), on=NOW, by=club.by)
    return last(letter.household)


@case
def course_offer_lapsed(club):
    letter = course_offer(club)
    on = NOW + timedelta(days=30)
    with clock.on(on):
        courses.lapse_offers(on=on, by=club.by)
    return last(letter.household)


@case
def course_withdrawn(club):
    booking = club.book(club.cohort(first=FEBRUARY))
    pay(booking.household, "100.00", club.by)
    courses.withdraw(booking=booking, on=NOW, reason="moving away", by=club.by)
    return last(booking.household)


def back_again(club, letter, place):
    courses.undo_withdrawal(place=place, on=NOW, by=club.by)
    return last(letter.household)


@case
def course_place_again(club):
    letter = course_withdrawn(club)
    return back_again(club, letter, letter.household.bookings.get().places.get())


@case
def course_waits_again(club):
    letter = course_waiting(club)
    booking = letter.household.bookings.get()
    courses.withdraw(booking=booking, on=NOW, reason="camp", by=club.by)
    return back_again(club, letter, booking.places.first())


@case
def course_offer_taken_back(club):
    letter = course_offer(club)
    return back_again(club, letter, Place.objects.get(state="withdrawn"))


@case
def course_transferred(club):
    booking = club.book(club.cohort())
    later = club.cohort(first=FEBRUARY)
    courses.transfer(booking=booking, cohort=later, on=NOW, reason="camp", by=club.by)
    return last(booking.household)


def reminded(club, paid):
    booking = club.book(club.cohort())
    if paid:
        pay(booking.household, paid, club.by)
    courses.remind_unpaid(on=NOW + timedelta(days=8), by=club.by)
    return last(booking.household)


@case
def course_reminder(club):
    return reminded(club, "")


@case
def course_reminder_after_part_payment(club):
    return reminded(club, "66.00")


@case
def course_place_lapsed_unpaid(club):
    letter = reminded(club, "66.00")
    booking = letter.household.bookings.get()
    Message.objects.filter(pk=letter.pk).update(state="sent", sent_at=clock.now())
    courses.lapse_unpaid_booking(booking=booking, on=NOW + timedelta(days=20), by=club.by)
    return last(letter.household)


@case
def course_more_time(club):
    booking = club.book(club.cohort())
    courses.give_more_time(booking=booking, pay_by=date(2026, 10, 2), on=NOW, reason="payday", by=club.by)
    return last(booking.household)


def asked_on_the_page(club, times):
    cohort = club.cohort()
    child = Named("Ada", "Mirabar", date(2014, 3, 9))
    form = PartyForm("Ida Mirabar", "ida@example.org", "", [child], [cohort], "I agree.")
    for _ in range(times):
        booking = courses.book_from_page(course=cohort.course, form=form, on=NOW, key=uuid.uuid4())
    return last(booking.household)


@case
def course_asked_for_on_the_page(club):
    return asked_on_the_page(club, 1)


@case
def course_asked_for_twice(club):
    return asked_on_the_page(club, 2)


@case
def course_new_days(club):
    cohort = club.cohort()
    booking = club.book(cohort)
    cohort.first_session += timedelta(days=7)
    cohort.last_session += timedelta(days=7)
    courses.save_cohort(cohort=cohort, on=NOW, by=club.by)
    return last(booking.household)


@case
def course_cancelled(club):
    cohort = club.cohort()
    booking = club.book(cohort)
    pay(booking.household, "126.00", club.by)
    courses.cancel_cohort(cohort=cohort, on=NOW, reason="the range is flooded", by=club.by)
    return last(booking.household)


@case
def course_cancelled_after_leaving(club):
    booking = club.book(club.cohort())
    cohort = booking.places.get().cohort
    pay(booking.household, "126.00", club.by)
    courses.withdraw(booking=booking, on=date(2026, 9, 29), reason="moving away", by=club.by)
    courses.cancel_cohort(cohort=cohort, on=date(2026, 9, 30), reason="the range is flooded", by=club.by)
    return last(booking.household)


@case
def course_held_for_family(club):
    """Somebody the club knows already books on the page: nothing is owed until they accept by their own link."""
    family()
    return asked_on_the_page(club, 1)


@case
def course_cancelled_of_two_bookings(club):
    cohort = club.cohort()
    children = family("Mirabar", "Ada", "Ben")
    for child in children:
        courses.book_party(course=cohort.course, people=[child], cohorts=[cohort], on=NOW, by=club.by)
    pay(children[0].household, "252.00", club.by)
    courses.cancel_cohort(cohort=cohort, on=NOW, reason="the range is flooded", by=club.by)
    return last(children[0].household)


@case
def range_day_called_off(club):
    factories.hire()
    day, later = factories.range_day(), factories.range_day(NOW + timedelta(days=7))
    children = family("Mirabar", "Ada", "Ben")
    for child in children:
        rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=Paid.CARD, by=club.by)
    rangeday.call_off_day(range_day=day, reason="lightning", on=NOW, by=club.by, move_to=later, tell_them=True)
    return last(children[0].household)


@case
def news_of_the_club(club):
    home = family("Mirabar", "Ada", "Ben")[0].household
    news.write_to_many(
        to=To("All families", {home.pk: [child.pk for child in home.people.all()]}), subject="Our fair",
        text="Our fair is on 3 October.\n\nWe hope to see {children}.", concern=Concern.NEWS, on=NOW, by=club.by,
    )  # fmt: skip
    return last(home)


@case
def account(club):
    (child,) = family()
    club.fee(child)
    return fees.send_statement(household=child.household, on=NOW, by=club.by)


@case
def account_in_credit(club):
    (child,) = family()
    pay(child.household, "20.00", club.by)
    return fees.send_statement(household=child.household, on=NOW, by=club.by)


@case
def account_new_link(club):
    (child,) = family()
    (letter,) = fees.send_new_link(email="IDA@example.org", key=uuid.UUID(int=7))
    assert letter.household == child.household
    return letter


def refused(club, paid):
    (child,) = family()
    club.lodged(club.fee(child))
    if paid:
        pay(child.household, paid, club.by)
    fees.refuse_voucher(voucher=Voucher.objects.get(), on=NOW, reason="no such child", by=club.by)
    return last(child.household)


@case
def voucher_refused(club):
    return refused(club, "26.00")


@case
def voucher_refused_in_credit(club):
    return refused(club, "150.00")


@case
def voucher_refused_partly_in_credit(club):
    return refused(club, "66.00")


@case
def voucher_refused_after_the_fee_was_taken_back(club):
    booking = club.book(club.cohort(first=OCTOBER))
    place = booking.places.get()
    club.lodged(place.charge)
    courses.withdraw(booking=booking, on=NOW, reason="moving away", by=club.by)
    fees.refuse_voucher(voucher=Voucher.objects.get(), on=NOW, reason="no such child", by=club.by)
    return last(booking.household)


@case
def voucher_paid_short(club):
    (child,) = family()
    batch = club.lodged(club.fee(child))
    paid = {Voucher.objects.get().pk: as_amount("60.00")}
    fees.answer_lodgement(lodgement=batch, paid=paid, refused={}, on=NOW, by=club.by)
    return last(child.household)


def given_back(club, pays):
    """A voucher of a family that paid the rest and was asked for 40.00 since; then it pays `pays`, and it is undone."""
    (child,) = family()
    batch = club.lodged(club.fee(child))
    pay(child.household, "26.00", club.by)
    fees.record_lodgement_paid(lodgement=batch, on=NOW, by=club.by)
    voucher = Voucher.objects.get()
    VoucherScheme.objects.update(gives_back=GivesBack.WHOLE)
    fees.take_back(charge=voucher.charge, on=NOW, reason="left", by=club.by, keep=as_amount("66.00"))
    asked = {"invoice": "INV 77", "pay_to": "012-003 4500123", "reason": "the child left"}
    back = fees.give_back(voucher=Voucher.objects.get(), on=NOW, by=club.by, **asked)
    assert "Please pay $40.00" in last(child.household).body
    if pays:
        pay(child.household, pays, club.by)
    bank.undo_give_back(back=back, on=NOW, reason="the department took its invoice back", by=club.by)
    return last(child.household)


@case
def voucher_not_given_back(club):
    return given_back(club, "")


@case
def voucher_not_given_back_and_the_family_has_paid(club):
    return given_back(club, "40.00")


def along(club, takes_over):
    """The letters to both families of a child whose voucher waits, where a place is or is not taken over."""
    first = club.cohort()
    booking = club.book(first)
    child, now = booking.places.get().person, family("Wren", "Cato")[0].household
    club.lodged(booking.places.get().charge)
    pay(booking.household, "26.00", club.by)
    if takes_over:
        course = Course.objects.create(name="Second course", fee_item=first.course.fee_item)
        second = Cohort.objects.create(
            course=course, name="February 2027", first_session=FEBRUARY, last_session=FEBRUARY, capacity=3
        )
        courses.book_place(person=child, cohort=second, on=NOW, by=club.by)
    courses.cancel_cohort(cohort=first, on=NOW, reason="flood", by=club.by)
    courses.move_person(person=child, household=now, takes_over=takes_over, on=NOW, by=club.by)
    letters = Message.objects.filter(about__contains=" along ")
    return letters.get(household=booking.household), letters.get(household=now)


@case
def voucher_goes_along(club):
    return along(club, takes_over=False)[0]


@case
def voucher_comes_along(club):
    return along(club, takes_over=False)[1]


@case
def voucher_comes_along_and_pays(club):
    return along(club, takes_over=True)[1]


@case
def membership_joined(club):
    (child,) = family()
    club.join(child, club.plan())
    return last(child.household)


@case
def membership_joined_with_a_voucher(club):
    (child,) = family()
    pay(child.household, "200.00", club.by)
    membership.take_out_membership(
        person=child, plan=club.plan(), starts_on=NOW, on=NOW, by=club.by, scheme=factories.scheme(), code="SV1"
    )
    return last(child.household)


@case
def membership_renewed(club):
    home = two_members(club)
    membership.renew_household(household=home, on=date(2027, 8, 20), by=club.by)
    return last(home)


@case
def membership_left(club):
    (child,) = family()
    member = club.join(child, club.plan())
    pay(child.household, "228.00", club.by)
    with clock.on(date(2027, 1, 11)):
        membership.end_membership(membership=member, on=date(2027, 1, 11), reason="moving away", by=club.by)
    return last(child.household)


@case
def membership_given_up_before_it_began(club):
    (child,) = family()
    member = club.join(child, club.plan(), on=OCTOBER)
    membership.end_membership(membership=member, on=NOW, reason="moving away", by=club.by)
    return last(child.household)


@case
def membership_asked_to_leave(club):
    (child,) = family()
    (asked,) = membership.ask_to_leave(
        household=child.household, people=[child], reason="moving away", on=NOW, by=club.by
    )
    said = "The membership ends on 30 September 2026, and nothing is left to pay."
    membership.answer_leaving(request=asked, answer=said, on=NOW, by=club.by)
    return last(child.household)


def two_members(club):
    plan = club.plan()
    children = family("Mirabar", "Ada", "Bela")
    for child in children:
        club.join(child, plan)
    return children[0].household


def renewal(home, on):
    with clock.on(on):
        membership.remind_renewals(on=on)
    return last(home)


@case
def renewal_due(club):
    return renewal(two_members(club), date(2027, 8, 20))


@case
def renewal_in_grace(club):
    return renewal(two_members(club), date(2027, 9, 20))


@case
def renewal_of_one_who_is_too_old(club):
    (child,) = family()
    child.birth_date = date(2009, 8, 1)
    child.save()
    club.join(child, club.plan())
    item = factories.price(FeeKind.MEMBERSHIP, "300.00", Role.MEMBERSHIPS, code="adult").item
    Plan.objects.create(name="Adult", fee_item=item, youngest=18)
    return renewal(child.household, date(2027, 8, 20))


@case
def asked_once_a_year_whether_it_is_right(club):
    child = club.join(family("Mirabar", "Ada")[0], club.plan()).person
    on = date(2027, 9, 12)
    with clock.on(on):
        care.ask_to_confirm(on=on)
    return last(child.household)


@case
def asked_anew_whether_they_agree(club):
    child = club.join(family("Mirabar", "Ada")[0], club.plan()).person
    for kind in ("photos", "first_aid"):
        care.agree(person=child, kind=kind, given=True, said_by="Ida Mirabar", on=NOW, by=club.by)
        care.write_text(kind=kind, text="Other words.", asks_anew=True, on=NOW, by=club.by)
    care.ask_anew(on=NOW)
    return last(child.household)


def on_duty(club, name="Ida"):
    volunteer = family("Mirabar", name)[0]
    day, _ = RangeDay.objects.get_or_create(date=NOW, place="River range", begins_at=time(9), ends_at=time(12))
    return safety.put_on_duty(range_day=day, person=volunteer, duty="line", by=club.by)


@case
def duty_soon(club):
    turn = on_duty(club)
    safety.tell_turns(on=NOW)
    return last(turn.person.household)


@case
def duty_taken_over(club):
    turn, other = on_duty(club), family("Quoll", "Odo")[0]
    safety.take_over(turn=turn, person=other, on=NOW, by=club.by)
    return last(turn.person.household)


@case
def duty_check_lapses(club):
    volunteer = family("Mirabar", "Ida")[0]
    through = NOW + timedelta(days=50)
    safety.write_check(person=volunteer, kind="children", number="WW 1", expires_on=through, on=NOW, by=club.by)
    safety.tell_lapsing(on=NOW)
    return last(volunteer.household)


def claim(club, **more):
    (child,) = family()
    plan = factories.plan()
    club.join(child, plan, on=date(2026, 7, 6))
    evidence = Evidence(f"receipt {uuid.uuid4()}".encode(), "application/pdf")
    return fund.record_claim(
        person=child, event=factories.event(), evidence=evidence, on=NOW, by=club.by, amount=as_amount("60.00"), **more
    )


@case
def entry_fund_approved(club):
    return of_fund.tell_approved(claim(club), NOW)


@case
def entry_fund_declined(club):
    made = claim(club)
    made.decision_reason = "the receipt is of another event"
    return of_fund.tell_declined(made, NOW)


@case
def entry_fund_asked(club):
    made = claim(club)
    made.question = "Which class was it?"
    return of_fund.tell_asked(made, NOW)


@case
def entry_fund_entries_close(club):
    (child,) = family()
    club.join(child, factories.plan(), on=date(2026, 7, 6))
    factories.event(held=date(2026, 10, 17), fee="80.00", oldest_class="Under 18")
    fund.remind_entries(on=date(2026, 10, 3))
    return last(child.household)


@case
def vouchers_to_claim(club):
    scheme = factories.scheme()
    scheme.valid_days = 30
    scheme.save()
    for issued, child in zip((20, 29, 29), family("Mirabar", "Ada", "Bela", "Cleo"), strict=True):
        fees.accept_voucher(
            scheme=scheme, charge=club.fee(child), code=f"SV{child.pk}", on=NOW, by=club.by,
            issued_on=NOW - timedelta(days=issued),
        )  # fmt: skip
    coordinator = User.objects.get(username=username(COORDINATOR))
    coordinator.first_name, coordinator.email = "Kim", "kim@example.org"
    coordinator.save()
    fees.tell_deadlines(on=NOW, by=club.by)
    return Message.objects.latest("pk")


@case
def expense_declined(club):
    made = factories.expense(club.by, household=family()[0].household)
    expenses.decline_expense(
        expense=made, reason="no receipt", on=NOW, by=User.objects.get(username=username(APPROVER))
    )
    return last(made.household)


@case
def asked_before_the_book_knows_an_account(club):
    """A book on its first days: no number was entered, so the letter says how else to pay."""
    with guards.lifted(connection, "bank_bankaccount"):
        BankAccount.objects.update(bsb="", account_number="", holder="")
    (child,) = family()
    club.fee(child)
    return fees.send_statement(household=child.household, on=NOW, by=club.by)


@case
def asked_into_an_iban(club):
    factories.paid_into(iban="DE89370400440532013000", bic="COBADEFFXXX")
    (child,) = family()
    club.fee(child)
    return fees.send_statement(household=child.household, on=NOW, by=club.by)


@case
def asked_since_the_account_is_new(club):
    club.moves_bank()
    return last(club.book(club.cohort(), "Ada").household)


@case
def told_of_the_new_account_by_the_next_letter(club):
    made = claim(club)
    Message.objects.filter(household=made.household).update(written_at=datetime(2026, 6, 1, tzinfo=UTC))
    club.moves_bank()
    return of_fund.tell_approved(made, NOW)


@pytest.fixture
def kinds_written(monkeypatch):
    """Of which kind each letter is, by what it says."""
    found = {}

    def noted(kind, says, values):
        subject, body = written(kind, says, values)
        found[body] = kind.key
        return subject, body

    for module in (writing, of_fees):
        monkeypatch.setattr(module, "written", noted)
    return found


def as_read(letter, kinds):
    """The letter with what differs from book to book taken out."""
    letter.refresh_from_db()
    home = letter.household
    body = letter.body.replace(payment_reference(home), "(reference)") if home else letter.body
    return (
        f"Kind: {kinds[letter.body] or 'words written for once'}\nTo: {letter.to}\nSubject: {letter.subject}\n\n{body}"
    )


@pytest.mark.parametrize("name", CASES)
def test_a_letter_reads_as_its_file_does(name, by, kinds_written):
    said, file = as_read(CASES[name](Club(by)), kinds_written), FILES / f"{name}.txt"
    if os.environ.get("LETTERS") == "write":
        file.write_text(said)
    assert said == file.read_text()


def test_no_file_is_of_a_letter_that_nobody_writes():
    assert {file.stem for file in FILES.glob("*.txt")} == set(CASES)


def test_no_sentence_of_a_letter_is_long():
    for file in FILES.glob("*.txt"):
        for sentence in re.split(r"[.?!:;]\s|\n", file.read_text()):
            assert len(sentence.split()) <= LONGEST, f"{file.name}: {sentence}"


def test_every_letter_begins_with_a_capital_and_ends_with_whom_to_ask():
    for file in FILES.glob("*.txt"):
        kind, _, _, text = file.read_text().split("\n", 3)
        greeting, first, *_, end = text.strip().split("\n\n")
        assert greeting.startswith("Hello "), file.name
        assert first[0].isupper(), file.name
        of = selectors.kinds().get(kind.removeprefix("Kind:").strip())
        to_family = of is None or of.to_family  # words written for once go to families
        assert ("Kim Bell, kim@example.org" in end) == to_family, file.name


def test_every_kind_of_letter_has_its_file():
    kinds = {file.read_text().splitlines()[0].removeprefix("Kind: ") for file in FILES.glob("*.txt")}
    assert set(selectors.kinds()) - kinds == set()
