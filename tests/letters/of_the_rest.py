"""Letters of duty, of the entry fund, of expenses, and of the account that is paid into."""

import uuid
from datetime import UTC, date, datetime, time, timedelta

from django.contrib.auth.models import User
from django.db import connection

from clubdesk import guards
from clubdesk.bank.models import BankAccount
from clubdesk.entryfund import letters as of_fund
from clubdesk.entryfund import services as fund
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import services as fees
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.rangeday.models import RangeDay
from clubdesk.rooms import APPROVER, COORDINATOR
from clubdesk.safety import services as safety
from tests import factories
from tests.letters.club import NOW, case, family, last
from tests.worlds.day_one import username


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
