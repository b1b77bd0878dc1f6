"""All that is held about a household, in one file to give to it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO

from openpyxl import Workbook

from clubdesk.courses.models import Attendance, BookingEvent, Certificate, Place, ReachCheck
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees.models import NOTHING_CLAIMED, ChargeCredit, Voucher, WriteOff
from clubdesk.ledger.selectors import club_name
from clubdesk.membership.models import Membership
from clubdesk.rangeday.models import SignOn
from clubdesk.reports.sheets import Sheet
from clubdesk.roll.models import Household


@dataclass(frozen=True)
class Held:
    """A sheet: its title, its columns with their widths, which of them hold amounts, and what is held."""

    title: str
    columns: Sequence[tuple[str, int]]
    amounts: str
    rows: Callable[[Household], Iterable[Sequence[Any]]]


def _people(home: Household) -> Iterable[Sequence[Any]]:
    yield ("Household", home.name, None, "", "")
    for guardian in home.guardians.all():
        yield ("Guardian", guardian.name, None, guardian.email, guardian.phone)
    for person in home.people.all():
        yield ("Person", str(person), person.birth_date, "", "")
    for check in ReachCheck.objects.filter(person__household=home).select_related("person"):
        yield ("Reach check", str(check.person), check.checked_on, "", f"by {check.checked_by}")
    for consent in home.consents.all():
        yield ("Consent", consent.given_by, consent.given_at.date(), "", consent.wording)


def _fees(home: Household) -> Iterable[Sequence[Any]]:
    for charge in home.charges.select_related("person"):
        yield (charge.charged_on, "Fee", charge.description, charge.amount.amount)
    for row in ChargeCredit.objects.filter(charge__household=home).select_related("charge"):
        yield (row.credited_on, "Credit", f"{row.charge}: {row.reason}", -row.amount.amount)
    for written_off in WriteOff.objects.filter(charge__household=home).select_related("charge"):
        yield (written_off.written_off_on, "Written off", written_off.reason, -written_off.amount.amount)
    for receipt in home.receipts.all():
        paid = f"{receipt}, {receipt.get_method_display()} {receipt.reference}"
        yield (receipt.received_on, "Receipt", paid + (", cancelled" if receipt.cancelled_on else ""),
               -receipt.amount.amount)  # fmt: skip
    for voucher in Voucher.objects.filter(charge__household=home).select_related("person", "scheme"):
        words = f"{voucher}, code {voucher.code}, {voucher.get_state_display().lower()}"
        stands = voucher.state not in NOTHING_CLAIMED
        why = f": {voucher.end_reason}" if voucher.end_reason else ""
        yield (voucher.accepted_on, "Voucher", words + why, -voucher.amount.amount if stands else None)
    for repayment in home.repayments.all():
        yield (repayment.paid_on, "Credit repaid", repayment.reference, repayment.amount.amount)
        if repayment.returned_on:
            yield (repayment.returned_on, "Came back", repayment.return_reason, -repayment.amount.amount)
    for agreed in home.arrangements.all():
        yield (agreed.agreed_on, "Arrangement", agreed.note, None)


def _memberships(home: Household) -> Iterable[Sequence[Any]]:
    for row in Membership.objects.filter(person__household=home).select_related("person", "plan"):
        ended = f"cancelled: {row.end_reason}" if row.cancelled_on else row.end_reason
        yield (str(row.person), str(row.plan), row.starts_on, row.ends_on, row.working, ended)


def _courses(home: Household) -> Iterable[Sequence[Any]]:
    for place in Place.objects.filter(person__household=home).select_related("person", "cohort__course", "course"):
        yield (place.recorded_at.date(), "Place", str(place), place.get_state_display())
    for event in BookingEvent.objects.filter(booking__household=home):
        yield (event.on, "History", event.words, "")
    for each in Attendance.objects.filter(place__person__household=home).select_related("place__person"):
        yield (each.held_on, "Came", str(each.place.person), "")
    for certificate in Certificate.objects.filter(place__person__household=home).select_related("place__person"):
        yield (certificate.completed_on, "Certificate", str(certificate), "")


def _range(home: Household) -> Iterable[Sequence[Any]]:
    for row in SignOn.objects.filter(person__household=home).select_related("person", "range_day"):
        yield (row.range_day.date, str(row), row.get_paid_display(), row.amount.amount)


def _claims(home: Household) -> Iterable[Sequence[Any]]:
    for row in EntryClaim.objects.filter(household=home).select_related("person", "event"):
        yield (row.claimed_on, str(row), row.get_state_display(), row.amount.amount)


def _payments(home: Household) -> Iterable[Sequence[Any]]:
    for details in home.bank_details.all():
        yield (details.noted_on, "Bank details", f"{details.masked} ({details.reason})", None)
    for expense in home.expenses.all():
        yield (expense.spent_on, "Expense", f"{expense.what}: {expense.get_state_display()}", expense.amount.amount)
    for item in home.payments.select_related("run"):
        words = f"{item.what}, run {item.run.number}: {item.get_state_display()} {item.reason}".strip()
        yield (item.paid_on, "Payment", words, item.amount.amount)


def _letters(home: Household) -> Iterable[Sequence[Any]]:
    for letter in home.messages.order_by("pk"):
        yield (letter.written_at.date(), letter.to, letter.subject, letter.body, letter.get_state_display())


HELD = (
    Held("People", [("What", 14), ("Name", 30), ("Day", 14), ("E-mail", 30), ("Phone, or words", 60)], "", _people),
    Held("Memberships", [("Who", 28), ("Plan", 18), ("From", 14), ("To", 14), ("Fee", 46), ("Why it ended", 30)], "",
         _memberships),
    Held("Fees", [("Day", 14), ("What", 16), ("Words", 70), ("Amount", 14)], "D", _fees),
    Held("Courses", [("Day", 14), ("What", 14), ("Words", 90), ("Now", 20)], "", _courses),
    Held("Range", [("Day", 14), ("Who and gear", 46), ("Paid", 18), ("Amount", 14)], "D", _range),
    Held("Entry refunds", [("Day", 14), ("Who and event", 60), ("State", 18), ("Amount", 14)], "D", _claims),
    Held("Payments", [("Day", 14), ("What", 16), ("Words", 70), ("Amount", 14)], "D", _payments),
    Held("Letters", [("Day", 14), ("To", 30), ("Subject", 40), ("Letter", 90), ("State", 18)], "", _letters),
)  # fmt: skip


def write_held(household: Household, file: BinaryIO) -> None:
    """Write the workbook of all that is held about the household. Raises nothing; an empty sheet says so."""
    book = Workbook(write_only=True)
    book.properties.title, book.properties.creator = str(household), "Fletchbook"
    for each in HELD:
        sheet = Sheet(book, each.title, [width for _, width in each.columns], amounts=each.amounts, landscape=True)
        note = f"What {club_name()} holds about {household}. The treasurer hands out receipts and bank details in full."
        sheet.top(each.title, note, [name for name, _ in each.columns])
        rows = list(each.rows(household))
        for row in rows:
            sheet.line(row)
        if not rows:
            sheet.line(["Nothing."])
    book.save(file)
