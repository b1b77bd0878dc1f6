"""What must always be true of the bank, the till and the card takings."""

from collections.abc import Iterator

from django.db.models import Count, F, Prefetch

from clubdesk.bank.models import (
    ClearedLine,
    ClearedPosting,
    Clearing,
    ItemState,
    PaymentFile,
    PaymentItem,
    PaymentRun,
    Reconciliation,
)
from clubdesk.bank.reconciling import reconcile
from clubdesk.bank.selectors import detail_of
from clubdesk.ledger.invariants import differences, invariant
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance_of
from clubdesk.money import total


@invariant("The till equals its takings less bankings and counted differences")
def till_holds() -> Iterator[str]:
    yield from differences("Till", {"all": balance_of(Role.TILL)}, {"all": detail_of(Role.TILL)})


@invariant("Card takings equal what the readers took less what was settled")
def card_takings_hold() -> Iterator[str]:
    waiting, told = balance_of(Role.CARD_TAKINGS), detail_of(Role.CARD_TAKINGS)
    yield from differences("Card takings", {"all": waiting}, {"all": told})


@invariant("A payment that went out stands behind a document that says it is paid, and no two behind one")
def payments_hold() -> Iterator[str]:
    rows = PaymentItem.objects.select_related("run", "household", "claim", "expense", "repayment")
    for item in rows.filter(state=ItemState.PAID):
        owed = item.claim or item.expense
        unpaid = owed.state != "paid" if owed else item.repayment is None or item.repayment.returned_on
        if unpaid:
            yield f"{item.run}: {item} was paid; what it was for says something else."
    for item in rows:
        owed = item.claim or item.expense
        if owed and (owed.amount, owed.household_id) != (item.amount, item.household_id):
            yield f"{item.run}: {item} is not of the amount and household of what it pays."
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


@invariant("What a clearing says is the same money comes to the same sum, in one account")
def clearings_hold() -> Iterator[str]:
    parts = (
        Prefetch("lines", ClearedLine.objects.select_related("line")),
        Prefetch("postings", ClearedPosting.objects.select_related("posting")),
    )
    rows = Clearing.objects.select_related("bank_account").prefetch_related(*parts)
    for clearing in rows:
        lines = [part.line for part in clearing.lines.all()]
        postings = [part.posting for part in clearing.postings.all()]
        account = clearing.bank_account
        if not clearing.complete or total(each.amount for each in lines) != total(each.amount for each in postings):
            yield f"{clearing} joins what does not come to the same sum."
        if any(each.bank_account_id != account.pk for each in lines) or any(
            each.account_id != account.account_id for each in postings
        ):
            yield f"{clearing} joins lines or entries of another account."
        stand = {part.stands for part in clearing.lines.all()} | {part.stands for part in clearing.postings.all()}
        if stand != {clearing.undone_on is None}:
            yield f"{clearing} was undone in part."


@invariant("A month that is signed off still reconciles to nil, with the balances that were signed")
def signed_off_months_hold() -> Iterator[str]:
    for signed in Reconciliation.objects.filter(reopened_on=None).select_related("bank_account"):
        figures = reconcile(signed.bank_account, signed.month_end, signed.statement_balance)
        found = (figures.deposits_not_credited, figures.payments_not_presented, figures.book_balance)
        if found != (signed.deposits, signed.payments, signed.book_balance) or figures.lacking:
            yield f"{signed} was signed off and no longer says what was signed."
