"""What must always be true of the bank, the till and the card takings."""

from collections.abc import Iterator
from itertools import groupby
from operator import attrgetter
from typing import Any

from django.db.models import Count, Exists, F, Min, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from clubdesk.bank.models import (
    AccountChange,
    BankDetails,
    ChangeState,
    ClearedLine,
    ClearedPosting,
    Clearing,
    ItemState,
    PaymentFile,
    PaymentItem,
    PaymentRun,
    Reconciliation,
)
from clubdesk.bank.outstanding import Stood, stood_at
from clubdesk.bank.rules import NUMBERS
from clubdesk.bank.selectors import UNEXPLAINED, detail_of, lines_of_the_book
from clubdesk.ledger.invariants import differences, invariant
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance_of
from clubdesk.money import Figure, sum_of
from clubdesk.roll.models import Belonging, Person


@invariant("Families pay into the account that two people agreed on")
def agreed_account_holds() -> Iterator[str]:
    agreed = AccountChange.objects.filter(state=ChangeState.AGREED).select_related("bank_account").order_by("pk")
    for change in {each.bank_account_id: each for each in agreed}.values():
        if any(getattr(change, name) != getattr(change.bank_account, name) for name in NUMBERS):
            yield f"{change.bank_account} does not have the number that was agreed to, {change.in_full}."


@invariant("Bank details are gone only where those of the family’s last person were erased")
def details_go_with_the_family() -> Iterator[str]:
    people = Person.everyone.filter(household=OuterRef("household"))
    gone = BankDetails.objects.filter(account_number="").select_related("household")
    for details in gone.filter(Exists(people.filter(erased_on=None)) | ~Exists(people)):
        yield f"The account number of {details} was taken away, and nobody erased the family’s details."


@invariant("The cash box equals its takings less bankings and counted differences")
def till_holds() -> Iterator[str]:
    yield from differences("Cash box", {"all": balance_of(Role.TILL)}, {"all": detail_of(Role.TILL)})


@invariant("Card takings equal what the readers took less what was settled")
def card_takings_hold() -> Iterator[str]:
    waiting, told = balance_of(Role.CARD_TAKINGS), detail_of(Role.CARD_TAKINGS)
    yield from differences("Card takings", {"all": waiting}, {"all": told})


@invariant("A payment that went out stands behind a document that says it is paid, and no two behind one")
def payments_hold() -> Iterator[str]:
    rows = PaymentItem.objects.select_related("run", "household", "give_back__voucher__scheme__department")
    of_claim, of_expense = Q(claim__isnull=False), Q(claim=None, expense__isnull=False)
    of_voucher = Q(claim=None, expense=None, give_back__isnull=False)
    unpaid = (
        of_claim & ~Q(claim__state="paid")
        | of_expense & ~Q(expense__state="paid")
        | of_voucher & ~Q(give_back__state="paid")
        | Q(claim=None, expense=None, give_back=None) & (Q(repayment=None) | Q(repayment__returned_on__isnull=False))
    )
    for item in rows.filter(unpaid, state=ItemState.PAID):
        yield f"{item.run}: {item} was paid; what it was for says something else."
    as_claimed = Q(claim__amount=F("amount"), claim__household=F("household"))
    as_spent = Q(expense__amount=F("amount"), expense__household=F("household"))
    as_owed_back = Q(give_back__amount=F("amount"), give_back__household=F("household"))
    for item in rows.filter(of_claim & ~as_claimed | of_expense & ~as_spent | of_voucher & ~as_owed_back):
        yield f"{item.run}: {item} is not of the amount and family of what it pays."
    for item in rows.filter(state=ItemState.RETURNED, repayment__isnull=False, repayment__returned_on=None):
        yield f"{item.run}: {item} came back; the repayment says that it was paid."


@invariant("A run that was released was released by a second person, and its file is always the same")
def runs_hold() -> Iterator[str]:
    for run in PaymentRun.objects.filter(released_by=F("recorded_by")):
        yield f"{run} was made and released by {run.released_by}."
    unreleased = PaymentItem.objects.filter(state__in=(ItemState.PAID, ItemState.RETURNED), run__released_by=None)
    for item in unreleased.select_related("run", "household"):
        yield f"{item.run}: {item} was paid and nobody released it."
    several = PaymentFile.objects.values("run__number").annotate(kinds=Count("file_digest", distinct=True))
    for row in several.filter(kinds__gt=1).order_by():
        yield f"The file of payment run {row['run__number']} was made in {row['kinds']} different ways."


@invariant("Nobody released a payment to a family that they belonged to when it was asked for or since")
def nobody_released_to_their_family() -> Iterator[str]:
    asked = Coalesce("claim__recorded_at", "expense__recorded_at", "give_back__recorded_at", "run__recorded_at")
    rows = PaymentItem.objects.filter(run__released_by__isnull=False).annotate(asked_for=asked)
    own = Belonging.objects.filter(
        Q(ended_at=None) | Q(ended_at__gte=OuterRef("asked_for")),
        household=OuterRef("household"),
        user=OuterRef("run__released_by"),
        added_at__date__lt=OuterRef("run__released_on"),
    )
    for item in rows.filter(Exists(own)).select_related("run__released_by", "household"):
        yield f"{item.run.released_by} belongs or belonged to {item.household}, which {item.run} pays, and released it."


@invariant("What a clearing says is the same money comes to the same sum, in one account")
def clearings_hold() -> Iterator[str]:
    lines = ClearedLine.objects.order_by().values("clearing").filter(clearing=OuterRef("pk"))
    postings = ClearedPosting.objects.order_by().values("clearing").filter(clearing=OuterRef("pk"))
    rows = Clearing.objects.annotate(
        of_lines=_sum_in(lines, "line__amount"), of_postings=_sum_in(postings, "posting__amount")
    )
    for each in rows.exclude(complete=True, of_lines=F("of_postings")):
        yield f"{each} joins what does not come to the same sum."
    for clearing in _clearings(
        ClearedLine.objects.exclude(line__bank_account=F("clearing__bank_account")),
        ClearedPosting.objects.exclude(posting__account=F("clearing__bank_account__account")),
    ):
        yield f"{clearing} joins lines or entries of another account."
    in_part = Q(stands=True, clearing__undone_on__isnull=False) | Q(stands=False, clearing__undone_on=None)
    for clearing in _clearings(ClearedLine.objects.filter(in_part), ClearedPosting.objects.filter(in_part)):
        yield f"{clearing} was undone in part."
    for clearing in Clearing.objects.filter(lines=None, postings=None):
        yield f"{clearing} joins nothing."
    by_lines, by_day = Q(lines__isnull=False), Q(settled_on__isnull=False)
    for clearing in Clearing.objects.filter(by_lines & by_day | ~by_lines & ~by_day).distinct():
        yield f"{clearing} is settled neither by a line of the bank nor by a day, or by both."


def _sum_in(parts: QuerySet[Any, Any], amount: str) -> Coalesce:
    return Coalesce(Subquery(parts.annotate(sum=sum_of(amount)).values("sum")), Value(0), output_field=Figure())


def _clearings(lines: QuerySet[ClearedLine], postings: QuerySet[ClearedPosting]) -> QuerySet[Clearing]:
    """The clearings of some of their parts."""
    return Clearing.objects.filter(
        Q(pk__in=lines.order_by().values("clearing")) | Q(pk__in=postings.order_by().values("clearing"))
    )


@invariant("A month that is signed off still reconciles to 0.00, with the balances that were signed")
def signed_off_months_hold() -> Iterator[str]:
    standing = Reconciliation.objects.filter(reopened_on=None).select_related("bank_account")
    rows = standing.order_by("bank_account", "month_end").iterator(chunk_size=2000)
    for _, months in groupby(rows, key=attrgetter("bank_account_id")):
        signed = list(months)
        account = signed[0].bank_account
        lacking = lines_of_the_book(account).filter(UNEXPLAINED).aggregate(first=Min("date"))["first"]
        ends, known_at = [each.month_end for each in signed], [each.recorded_at for each in signed]
        for month, stood in zip(signed, stood_at(account, ends, known_at), strict=True):
            says = Stood(month.deposits, month.payments, month.book_balance, month.recorded_later)
            if says != stood or (lacking and lacking <= month.month_end):
                yield f"{month} was signed off and no longer says what was signed."
