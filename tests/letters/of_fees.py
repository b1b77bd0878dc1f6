"""Letters of accounts and of vouchers."""

import uuid

from clubdesk.bank import services as bank
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Course
from clubdesk.fees import services as fees
from clubdesk.fees.models import GivesBack, Voucher, VoucherScheme
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests.letters.club import FEBRUARY, NOW, OCTOBER, case, family, last, pay


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
