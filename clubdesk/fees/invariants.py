"""What must always be true of the fees."""

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal

from django.db.models import F, Prefetch, Q

from clubdesk.clock import day_text
from clubdesk.evidence import fault_of_stored
from clubdesk.fees import accounts, givingback, posting, selectors
from clubdesk.fees.models import (
    NOTHING_CLAIMED,
    Allocation,
    Charge,
    ChargeCredit,
    ChargeShare,
    ClaimFile,
    GiveBack,
    Receipt,
    Repayment,
    TiedCredit,
    Voucher,
    VoucherState,
    WriteOff,
)
from clubdesk.ledger.invariants import differences, invariant, party_differences
from clubdesk.ledger.models import Party, PartyKind, Posting, Role
from clubdesk.ledger.selectors import by_hand, by_hand_of_parties
from clubdesk.money import as_amount, gst_in, shown, sum_of, total


@invariant("Fees owed equals charges less credits, vouchers and receipts, family by family")
def fees_owed_holds() -> Iterator[str]:
    yield from party_differences(Role.FEES_OWED, selectors.household_detail())


@invariant("No charge is settled by more than its amount, no receipt spent twice")
def nothing_settled_twice() -> Iterator[str]:
    for charge in selectors.charges_with_open().filter(open_amount__lt=0):
        yield f"Charge {charge.pk} ({charge}) is settled by {shown(-charge.open_amount)} too much."
    for receipt in selectors.receipts_with_unused().filter(unused__lt=0):
        yield f"{receipt} pays for {shown(-receipt.unused)} more than it is."


@invariant("What is repaid was received or is owed again, and a receipt pays only its own family's charges")
def allocations_hold() -> Iterator[str]:
    came_back = Repayment.objects.exclude(returned_on=None).filter(
        allocations__freed_on=None, allocations__isnull=False
    )
    for repayment in came_back.distinct():
        yield f"{repayment} was returned by the bank and still uses up a receipt."
    paid = Repayment.objects.filter(returned_on=None).annotate(
        found=sum_of("allocations__amount", Q(allocations__freed_on=None))
    )
    payable = selectors.receipts_with_payable().filter(payable__gt=0).values("household")
    gone = Receipt.objects.filter(~Q(cancelled_on=None) | Q(tied__isnull=False)).values("household")
    owed_again = Q(found__lt=F("amount"), household__in=gone) & ~Q(household__in=payable)
    for repayment in paid.exclude(Q(found=F("amount")) | owed_again):
        yield f"{repayment} is {shown(repayment.amount)}; the receipts it came from give {shown(repayment.found)}."
    astray = Allocation.objects.standing().exclude(charge=None).exclude(receipt__household=F("charge__household"))
    for allocation in astray.select_related("receipt", "charge"):
        yield f"{allocation.receipt} pays for another family's charge: {allocation.charge}."
    early = Q(used_on__lt=F("receipt__received_on")) | Q(used_on__lt=F("charge__charged_on"))
    for allocation in Allocation.objects.filter(early).select_related("receipt"):
        yield f"{allocation.receipt} pays from {day_text(allocation.used_on)}, before there was something to pay."


@invariant("Fees in advance equals the charges whose thing has not started, and what was written by hand")
def fees_in_advance_holds() -> Iterator[str]:
    posted = -Posting.objects.filter(account__role=Role.FEES_IN_ADVANCE).aggregate(figure=sum_of("amount"))["figure"]
    detail = selectors.in_advance_detail() - by_hand(Role.FEES_IN_ADVANCE)
    yield from differences("Fees in advance", {"all": posted}, {"all": detail})


@invariant("The GST in each fee, and in what was credited or written off of it, is an eleventh of the club's part")
def tax_of_fees_holds() -> Iterator[str]:
    shares = Prefetch("shares", ChargeShare.objects.only("charge", "party", "amount"))
    taxed = Charge.objects.filter(tax__gt=0).prefetch_related(shares).order_by("pk")
    taxed = taxed.annotate(
        credited=selectors.SumPer(ChargeCredit, "charge", selectors.NOT_CANCELLED),
        back=selectors.SumPer(ChargeCredit, "charge", selectors.NOT_CANCELLED, column="tax"),
    )
    for charge in taxed.iterator(chunk_size=2000):
        parts, left = list(charge.shares.all()), charge.amount - as_amount(charge.credited)
        whole, stands = posting.tax_in(charge.amount, parts), posting.tax_in(left, parts)
        if (charge.tax, as_amount(charge.back)) != (whole, whole - stands):
            yield f"Charge {charge.pk} has {shown(charge.tax)} of GST, less {shown(charge.back)} with its credits."
    for credit in ChargeCredit.objects.filter(tax__gt=0, charge__tax=0):
        yield f"Credit {credit.pk} gives GST back of a fee that has none."
    for lost in WriteOff.objects.filter(tax__gt=0).select_related("charge").iterator(chunk_size=2000):
        if not lost.charge.is_taxed or lost.tax > gst_in(lost.amount):
            yield f"Write-off {lost.pk} of {shown(lost.amount)} takes {shown(lost.tax)} of GST off."


@invariant(
    "Vouchers owed equals the vouchers accepted and unpaid, and what was written by hand, department by department"
)
def vouchers_owed_holds() -> Iterator[str]:
    unpaid = Voucher.objects.filter(state__in=(VoucherState.ACCEPTED, VoucherState.LODGED))
    detail: dict[int, Decimal] = dict(
        unpaid.order_by().values_list("scheme__department_id").annotate(figure=sum_of("amount"))
    )
    for party, figure in by_hand_of_parties(Role.VOUCHERS_OWED).items():
        detail[party] = detail.get(party, Decimal(0)) + figure
    yield from party_differences(Role.VOUCHERS_OWED, detail)


@invariant("What is owed back to each department equals the vouchers that were given back and not paid yet")
def given_back_holds() -> Iterator[str]:
    of_it = Posting.objects.filter(account__role=Role.OTHER_PAYABLES, party__kind=PartyKind.DEPARTMENT)
    posted: dict[int, Decimal] = {
        party: -figure for party, figure in of_it.order_by().values_list("party").annotate(figure=sum_of("amount"))
    }
    told = givingback.owed_by_department()
    for party, figure in by_hand_of_parties(Role.OTHER_PAYABLES).items():
        if party in posted:
            told[party] = told.get(party, Decimal(0)) - figure
    yield from differences("Owed back to departments", _of_parties(posted), _of_parties(told))
    standing = GiveBack.objects.filter(undone_on=None)
    astray = standing.exclude(household=F("voucher__charge__household")).filter(voucher__came_on=None)
    for row in astray.exclude(voucher__charge__household__merged_into=F("household")):
        yield f"{row} is not of the family whose fee the voucher paid."
    for voucher in Voucher.objects.filter(state=VoucherState.RETURNED).exclude(
        pk__in=standing.filter(amount=F("voucher__amount")).values("voucher")
    ):
        yield f"{voucher} was given back whole; its invoice says something else."
    for voucher in Voucher.objects.filter(given_back__gt=0).exclude(
        pk__in=standing.filter(amount=F("voucher__given_back")).values("voucher")
    ):
        yield f"{voucher} was given back by {shown(voucher.given_back)}; its invoice says something else."
    nothing_went = Voucher.objects.filter(state=VoucherState.PAID, given_back=0)
    for row in standing.filter(voucher__in=nothing_went):
        yield f"{row} stands; its voucher pays as if nothing was given back."
    for row in GiveBack.objects.exclude(undone_on=None).filter(credit__isnull=False, credit__cancelled_on=None):
        yield f"{row} was undone, and what was credited with it still is."


def _of_parties(figures: Mapping[int, Decimal]) -> dict[str, Decimal]:
    names = dict(Party.objects.filter(pk__in=figures).values_list("pk", "name"))
    return {f"{names.get(pk, 'nobody')} ({pk})": figure for pk, figure in figures.items() if figure}


@invariant("No more vouchers a child, scheme and year than the scheme allows, never more than the fee or its value")
def vouchers_hold() -> Iterator[str]:
    standing = Voucher.objects.filter(selectors.STANDING_VOUCHER).select_related("person", "scheme")
    seen: Counter[tuple[int, int, int]] = Counter()
    for voucher in standing:
        key = (voucher.scheme_id, voucher.person_id, voucher.calendar_year)
        seen[key] += 1
        if seen[key] == voucher.scheme.per_year + 1:
            yield f"{voucher.person} has {seen[key]} vouchers of {voucher.scheme} in {voucher.calendar_year}."
    for voucher in standing.filter(amount__gt=F("charge__amount")):
        yield f"{voucher} is more than the fee."
    worth = Q(scheme__values__calendar_year=F("calendar_year"), amount__gt=F("scheme__values__amount"))
    for voucher in standing.filter(worth):
        yield f"{voucher} is more than a voucher of {voucher.calendar_year} is worth."


@invariant("Each file of a voucher claim is the one that was sent, or that the department answered")
def claim_files_hold() -> Iterator[str]:
    for document in ClaimFile.objects.filter(erased_on=None).iterator():
        if fault := fault_of_stored(document.file, document.file_digest):
            yield f"The file {document} {fault}."


@invariant("No credit that a voucher made is paid back as money, where its scheme forbids that")
def tied_credit_holds() -> Iterator[str]:
    tied = selectors.receipts_with_payable().filter(tied_up__gt=0).select_related("household")
    for receipt in tied.annotate(beyond=F("tied_up") + F("repaid") - F("amount")).filter(beyond__gt=0):
        yield f"{receipt} was paid back by {shown(receipt.beyond)} too much: vouchers took its place."
    ended = TiedCredit.objects.filter(freed_on=None, voucher__state__in=NOTHING_CLAIMED).select_related("voucher")
    for row in ended:
        yield f"{row.voucher} pays nothing and still ties a credit."
    astray = TiedCredit.objects.exclude(receipt__household=F("voucher__charge__household"))
    for row in astray.filter(voucher__came_on=None).select_related("voucher"):
        yield f"{row.voucher} ties a receipt of another family."


@invariant("What is left of an arrangement's parts never comes to more than the family owes")
def arrangements_hold() -> Iterator[str]:
    owed = selectors.household_detail()
    for standing in accounts.standing_arrangements().select_related("household__party"):
        left = total(amount for _, amount in accounts.parts_left(standing))
        due = as_amount(max(owed.get(standing.household.party_id, Decimal(0)), Decimal(0)))
        if left > due:
            yield f"{standing} asks for {shown(left)} more; {standing.household} owes {shown(due)}."
