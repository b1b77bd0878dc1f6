"""Blanking: after the years that records are kept, a person's details go while every figure stays.

No sealed entry of the ledger holds a person's name, so the books stay as they were, and their chain whole.
"""

from collections.abc import Iterator
from datetime import date

from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import User
from django.contrib.contenttypes.models import ContentType
from django.db import models, transaction
from django.utils import timezone

from clubdesk import clock
from clubdesk.bank.models import ClearedPosting, StatementLine
from clubdesk.clock import day_text
from clubdesk.courses.models import BLANKED, STANDING, BookingEvent, Place
from clubdesk.entryfund.models import EntryClaim
from clubdesk.errors import Refused
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, ChargeCredit, Receipt, Voucher, WriteOff
from clubdesk.ledger.models import FinancialYear
from clubdesk.mail.models import Message
from clubdesk.membership.models import Membership
from clubdesk.membership.terms import months_later
from clubdesk.money import nil
from clubdesk.rangeday.models import SignOn
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.roll.services import save_household


def kept_until(person: Person) -> date | None:
    """The day until which the person's records are kept; None where the book holds none.

    With the last of a household its own records count too, since it is blanked with them.

    So many years (`KEEP_RECORDS_YEARS`) after the end of the financial year of the last record. Source for seven:
    Associations Incorporation Reform Act 2012 (Vic) s 89; a club keeps to the law of its own state.
    """
    days = [*_days_of(person), *(_days_of_household(person.household) if _is_last(person) else ())]
    last = max(days, default=None)
    if last is None:
        return None
    year = FinancialYear.objects.filter(first_day__lte=last, last_day__gte=last).first()
    return months_later(year.last_day if year else last, 12 * settings.KEEP_RECORDS_YEARS)


def _days_of(person: Person) -> Iterator[date]:
    """The last day of each kind of record about the person."""
    for rows, day in (
        (Charge.objects.filter(person=person), "charged_on"),
        (Charge.objects.filter(person=person), "starts_on"),
        (ChargeCredit.objects.filter(charge__person=person), "credited_on"),
        (WriteOff.objects.filter(charge__person=person), "written_off_on"),
        (Receipt.objects.filter(allocations__charge__person=person), "received_on"),
        (Voucher.objects.filter(person=person), "accepted_on"),
        (Membership.objects.filter(person=person), "ends_on"),
        (Place.objects.filter(person=person), "booking__booked_on"),
        (Place.objects.filter(person=person), "cohort__last_session"),
        (SignOn.objects.filter(person=person), "range_day__date"),
        (EntryClaim.objects.filter(person=person), "claimed_on"),
        (EntryClaim.objects.filter(person=person), "paid_on"),
    ):
        found = rows.aggregate(last=models.Max(day))["last"]
        if found:
            yield found


def _is_last(person: Person) -> bool:
    return not person.household.people.filter(blanked_on=None).exclude(pk=person.pk).exists()


def _days_of_household(household: Household) -> Iterator[date]:
    for rows, day in (
        (household.charges.all(), "charged_on"),
        (household.receipts.all(), "received_on"),
        (household.repayments.all(), "paid_on"),
        (household.arrangements.all(), "agreed_on"),
        (household.expenses.all(), "spent_on"),
        (household.expenses.all(), "paid_on"),
        (household.payments.all(), "paid_on"),
        (household.bank_details.all(), "noted_on"),
    ):
        found = rows.aggregate(last=models.Max(day))["last"]
        if found:
            yield found
    if written := household.messages.aggregate(last=models.Max("written_at"))["last"]:
        yield timezone.localdate(written)


@transaction.atomic
def blank_person(*, person: Person, on: date, by: User) -> Person:
    """Blank a person's name, day of birth and voucher codes, and what else tells who it was. It cannot be undone.

    Letters of that age go too, and with the last of a household its guardians and consents. Raises Refused before the
    years of keeping are over, for somebody with a place or a fee to pay, and for the last of a household in credit.
    """
    charging.queue(person.household)
    document = Person.objects.select_for_update(of=("self",), no_key=True).get(pk=person.pk)
    if document.blanked_on:
        return document
    if (until := kept_until(document)) and on <= until:
        raise Refused(
            f"The records of {document} are kept to {day_text(until)}; its details can be blanked after that."
        )
    if document.places.filter(state__in=STANDING, cohort__last_session__gte=on).exists():
        raise Refused(f"{document} has a place in a course.")
    if fees.charges_with_open().filter(person=document, open_amount__gt=0).exists():
        raise Refused(f"A fee of {document} is still to be paid, credited or written off.")
    last = _is_last(document)
    if last and fees.balance(document.household) != nil():
        raise Refused(f"{document.household} {fees.balance_in_words(document.household)}; settle its account first.")
    if last and _is_owed(document.household):
        raise Refused(f"The club still owes {document.household} something; pay it first.")
    _blank_what_names(document)
    written_before = clock.start_of(months_later(on, -12 * settings.KEEP_RECORDS_YEARS))
    Message.objects.filter(household=document.household, written_at__lt=written_before).delete()
    document.given_name, document.family_name = "Blanked", f"person {document.pk}"
    document.birth_date, document.blanked_on = document.birth_date.replace(month=1, day=1), on
    document.save()
    _forget_log(document)
    _forget_log(document.household)
    if last:
        _blank_household(document.household)
    return document


def _is_owed(household: Household) -> bool:
    """Whether an approved refund or expense of the household waits to be paid."""
    approved = [rows.filter(state="approved") for rows in (household.entry_claims, household.expenses)]
    return any(rows.exists() for rows in approved) or household.payments.filter(state="waiting").exists()


def _blank_what_names(person: Person) -> None:
    for charge in person.charges.select_related("price__item"):
        Charge.objects.filter(pk=charge.pk).update(description=charge.named)
    for voucher in person.vouchers.all():
        Voucher.objects.filter(pk=voucher.pk).update(code=f"blanked-{voucher.pk}")
    bookings = person.places.values("booking")
    BookingEvent.objects.filter(booking__in=bookings).exclude(words=BLANKED).update(words=BLANKED)
    ChargeCredit.objects.filter(charge__person=person).update(reason=BLANKED)
    WriteOff.objects.filter(charge__person=person).update(reason=BLANKED)
    person.vouchers.exclude(end_reason="").update(end_reason=BLANKED)
    person.memberships.exclude(end_reason="").update(end_reason=BLANKED)
    person.sign_ons.exclude(cancel_reason="").update(cancel_reason=BLANKED)
    person.entry_claims.exclude(decision_reason="").update(decision_reason=BLANKED)
    person.entry_claims.exclude(question="").update(question=BLANKED)
    person.entry_claims.exclude(answer="").update(answer=BLANKED)
    for claim in person.entry_claims.exclude(receipt=""):
        claim.receipt.delete(save=False)
        for more in claim.more.all():
            more.file.delete(save=False)


def _blank_household(household: Household) -> None:
    household.name = f"Blanked household {household.pk}"
    save_household(household=household)
    household.users.clear()
    for guardian in household.guardians.all():
        Guardian.objects.filter(pk=guardian.pk).update(name="Blanked", email="", phone="")
        _forget_log(guardian)
    household.receipts.exclude(cancel_reason="").update(cancel_reason=BLANKED)
    household.consents.update(given_by="Blanked")
    household.receipts.update(reference="")
    household.repayments.update(reference="")
    household.repayments.exclude(return_reason="").update(return_reason=BLANKED)
    household.bank_details.update(title="Blanked", bsb="", account_number="", reason=BLANKED)
    household.payments.exclude(reason="").update(reason=BLANKED)
    explained = ClearedPosting.objects.filter(posting__entry__postings__party=household.party).values("clearing")
    StatementLine.objects.filter(clearings__clearing__in=explained).update(text=BLANKED)
    for expense in household.expenses.exclude(receipt=""):
        expense.receipt.delete(save=False)
    household.expenses.update(what=BLANKED, receipt="")
    household.expenses.exclude(decision_reason="").update(decision_reason=BLANKED)
    household.arrangements.update(note="")
    Message.objects.filter(household=household).delete()
    _forget_log(household)


def _forget_log(row: models.Model) -> None:
    """The site's own log of changes names what was changed."""
    kind = ContentType.objects.get_for_model(type(row))
    LogEntry.objects.filter(content_type=kind, object_id=str(row.pk)).delete()
