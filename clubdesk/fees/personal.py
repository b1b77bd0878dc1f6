"""What this room holds about people."""

from collections.abc import Iterator, Sequence

from clubdesk import clock
from clubdesk.fees import selectors
from clubdesk.fees.models import NOTHING_CLAIMED, Charge, ChargeCredit, Voucher, WriteOff
from clubdesk.fees.services import claiming
from clubdesk.money import nil
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Erase, Personal, Told

Row = Sequence[object]


def _told(home: Household) -> Iterator[Row]:
    for charge in home.charges.all():
        yield (charge.charged_on, "Fee", charge.description, charge.amount.amount)
    for credit in ChargeCredit.objects.filter(charge__household=home).select_related("charge"):
        yield (credit.credited_on, "Credit", f"{credit.charge}: {credit.reason}", -credit.amount.amount)
        if credit.cancel_reason:
            yield (credit.cancelled_on, "Credit undone", credit.cancel_reason, credit.amount.amount)
    for debt in WriteOff.objects.filter(charge__household=home):
        yield (debt.written_off_on, "Written off", debt.reason, -debt.amount.amount)
        if debt.cancel_reason:
            yield (debt.cancelled_on, "Owed again", debt.cancel_reason, debt.amount.amount)
    for receipt in home.receipts.all():
        words = f"{receipt}, {receipt.get_method_display()} {receipt.reference}".strip()
        cancelled = f", cancelled: {receipt.cancel_reason}" if receipt.cancel_reason else ""
        yield (receipt.received_on, "Receipt", words + cancelled, -receipt.amount.amount)
    for voucher in Voucher.objects.filter(charge__household=home).select_related("person", "scheme"):
        yield _told_of_voucher(voucher)
    for back in home.give_backs.all():
        yield (back.asked_on, "Voucher given back", back.reason, back.amount.amount)
        if back.undo_reason:
            yield (back.undone_on, "Not given back after all", back.undo_reason, -back.amount.amount)
    for repayment in home.repayments.all():
        yield (repayment.paid_on, "Credit repaid", repayment.reference, repayment.amount.amount)
        if repayment.returned_on:
            yield (repayment.returned_on, "Came back", repayment.return_reason, -repayment.amount.amount)
    for agreed in home.arrangements.prefetch_related("parts"):
        yield (agreed.agreed_on, "Arrangement", agreed.note, None)
        for part in agreed.parts.all():
            yield (part.due_on, "Agreed part", "", part.amount.amount)


def _told_of_voucher(voucher: Voucher) -> Row:
    words = f"{voucher}, code {voucher.code}, {voucher.get_state_display().lower()}"
    why = f": {voucher.end_reason}" if voucher.end_reason else ""
    claimed = None if voucher.state in NOTHING_CLAIMED else -voucher.amount.amount
    return (voucher.accepted_on, "Voucher", words + why, claimed)


def unpaid(person: Person, *, is_last: bool, on: object) -> str:
    """Why the details of somebody stay: a fee is still to be paid, or the last of a family leaves a balance."""
    if selectors.charges_with_open().filter(person=person, open_amount__gt=0).exists():
        return f"A fee of {person} is still to be paid, credited or written off."
    if is_last and selectors.balance(person.household) != nil():
        return f"{person.household} {selectors.balance_in_words(person.household)}; settle its account first."
    return ""


def _without_a_name(charge: Charge) -> str:
    return charge.named


def _no_code(voucher: Voucher) -> str:
    return f"erased-{voucher.pk}"


def _forget_its_files(voucher: Voucher) -> None:
    """The files of the claim in which the child's name stands."""
    claiming.forget_files(claiming.claims_of([voucher]), clock.today())


PERSONAL = (
    Personal(
        "fees.Charge",
        person="person",
        family="household",
        erased=(Erase("description", to=_without_a_name),),
        told=("description",),
        retained_from=("charged_on", "starts_on"),
    ),
    Personal("fees.ChargeShare", person="charge__person", family="charge__household"),
    Personal(
        "fees.ChargeCredit",
        person="charge__person",
        family="charge__household",
        erased=(Erase("reason"), Erase("cancel_reason")),
        told=("reason", "cancel_reason"),
        retained_from=("credited_on",),
    ),
    Personal(
        "fees.WriteOff",
        person="charge__person",
        family="charge__household",
        erased=(Erase("reason"), Erase("cancel_reason")),
        told=("reason", "cancel_reason"),
        retained_from=("written_off_on",),
    ),
    Personal(
        "fees.Voucher",
        person="person",
        family="charge__household",
        erased=(Erase("code", to=_no_code), Erase("end_reason")),
        then=_forget_its_files,
        told=("code", "end_reason"),
        retained_from=("accepted_on",),
    ),
    Personal(
        "fees.GiveBack",
        person="voucher__person",
        family="household",
        erased=(Erase("reason"), Erase("undo_reason")),
        told=("reason", "undo_reason"),
        retained_from=("asked_on", "paid_on"),
        free={
            "invoice": "the department's own number",
            "pay_to": "the department's own account",
            "decision_reason": "nobody decides about it",
            "payment_reference": "the run's number, or what the treasurer's bank calls the payment",
        },
    ),
    Personal("fees.TiedCredit", person="voucher__person", family="receipt__household", retained_from=("tied_on",)),
    Personal(
        "fees.Allocation", person="charge__person", family="receipt__household", retained_from=("receipt__received_on",)
    ),
    Personal(
        "fees.Receipt",
        family="household",
        erased=(Erase("reference", to=""), Erase("cancel_reason")),
        told=("reference", "cancel_reason"),
        retained_from=("received_on",),
    ),
    Personal(
        "fees.Repayment",
        family="household",
        erased=(Erase("reference", to=""), Erase("return_reason")),
        told=("reference", "return_reason"),
        retained_from=("paid_on",),
    ),
    Personal(
        "fees.Arrangement",
        family="household",
        erased=(Erase("note", to=""),),
        told=("note",),
        retained_from=("agreed_on",),
    ),
    Personal("fees.ArrangementPart", family="arrangement__household"),
)
TOLD = (Told("Fees", (("Day", 14), ("What", 16), ("Words", 70), ("Amount", 14)), _told, amounts="D"),)
