"""Questions about the bank."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Exists, Min, OuterRef, Q, QuerySet, Subquery
from djmoney.money import Money

from clubdesk import clock
from clubdesk.bank.models import (
    AccountChange,
    BankAccount,
    BankDetails,
    ChangeState,
    ClearedLine,
    ClearedPosting,
    ItemState,
    PaymentItem,
    RunState,
    StatementLine,
)
from clubdesk.clock import day_text
from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.fees import givingback
from clubdesk.fees.models import GiveBack
from clubdesk.fees.selectors import receipts_with_payable
from clubdesk.ledger.models import JournalEntry, Posting, Role
from clubdesk.ledger.selectors import balance_of, balances, by_hand, club_name, month_end, opening_entries
from clubdesk.money import as_amount, in_all
from clubdesk.paying import PaidInto
from clubdesk.roll.models import Household
from clubdesk.rooms import in_order


def paid_into() -> PaidInto | None:
    """Where families pay: the account to which documents post, once its number was agreed to; None before."""
    other = AccountChange.objects.filter(bank_account=OuterRef("pk"), state=ChangeState.AGREED).exclude(replaces="")
    since = Subquery(other.order_by("-pk").values("decided_on")[:1])
    own = BankAccount.objects.filter(account__role=Role.BANK).annotate(since=since).first()
    if own is None or not own.in_full:
        return None
    holder = own.holder or club_name()
    return PaidInto(holder, own.bsb, own.account_number, own.iban, own.bic, own.since)


def without_a_number() -> QuerySet[BankAccount]:
    """The account to which documents post, where families cannot be told its number."""
    return BankAccount.objects.filter(account__role=Role.BANK, iban="", account_number="")


def details_of(household: Household) -> BankDetails | None:
    """Where the household's money goes now."""
    return household.bank_details.first()


def details_of_all(households: Iterable[int]) -> dict[int, BankDetails]:
    """The same for several households, by their ids."""
    rows = BankDetails.objects.filter(household__in=list(households)).order_by("pk").select_related("recorded_by")
    return {row.household_id: row for row in rows}


LIVE = (ItemState.WAITING, ItemState.PAID)


def claims_to_pay() -> QuerySet[EntryClaim]:
    """Approved refunds that stand in no run."""
    rows = EntryClaim.objects.filter(state=ClaimState.APPROVED)
    rows = rows.exclude(pk__in=_in_a_run().exclude(claim=None).values("claim"))
    return rows.select_related("person", "event", "household").order_by("decided_on", "pk")


def expenses_to_pay() -> QuerySet[Expense]:
    """Approved expenses that stand in no run."""
    rows = Expense.objects.filter(state=ExpenseState.APPROVED).exclude(
        pk__in=_in_a_run().exclude(expense=None).values("expense")
    )
    return rows.select_related("household").order_by("decided_on", "pk")


def give_backs_to_pay() -> QuerySet[GiveBack]:
    """Vouchers that are owed back to their departments and stand in no run."""
    rows = givingback.unpaid().exclude(pk__in=_in_a_run().exclude(give_back=None).values("give_back"))
    return rows.select_related("household", "voucher__scheme__department").order_by("asked_on", "pk")


def _in_a_run() -> QuerySet[PaymentItem]:
    return PaymentItem.objects.filter(state__in=LIVE)


def credits_to_repay() -> dict[int, Decimal]:
    """Each household's credit that may be paid back and stands in no run, by the household's id."""
    standing = PaymentItem.objects.filter(state=ItemState.WAITING, claim=None, expense=None, give_back=None)
    rows = receipts_with_payable().filter(payable__gt=0).exclude(household__in=standing.values("household"))
    return _credits(rows)


def credit_of_all(households: Iterable[int]) -> dict[int, Decimal]:
    """What of the credit of each of these households may be paid back, by its id."""
    return _credits(receipts_with_payable().filter(payable__gt=0, household__in=list(households)))


def _credits(rows: QuerySet[Any]) -> dict[int, Decimal]:
    found: dict[int, Decimal] = {}
    for household, payable in rows.values_list("household", "payable"):
        found[household] = found.get(household, Decimal(0)) + payable
    return found


def free_in_bank(bank_account: BankAccount) -> Money:
    """What the account holds by the book, less what payment runs that stand have still to pay from it."""
    found = balances(clock.today(), ["account_id"], account=bank_account.account_id)
    held = found.after_closing.get((bank_account.account_id,), Decimal(0))
    to_pay = PaymentItem.objects.filter(state=ItemState.WAITING, run__bank_account=bank_account)
    return as_amount(held - in_all(to_pay))


def changed_details(items: Sequence[PaymentItem]) -> dict[int, str]:
    """For each payment whose details are not those of the household's last payment: what to look at, in words."""
    paid = PaymentItem.objects.filter(
        household__in={item.household_id for item in items}, state__in=(ItemState.PAID, ItemState.RETURNED)
    )
    last = {row.household_id: row for row in paid.exclude(details=None).order_by("paid_on", "pk")}
    found = _in_files_before(items)
    for item in items:
        before, said = last.get(item.household_id), ""
        if item.give_back:
            said = f"to {item.give_back.pay_to}; compare it with the invoice"
        elif item.details is None:
            said = "no bank details are noted"
        elif before and before.details_id == item.details_id and before.state == ItemState.RETURNED:
            said = f"the bank returned the last payment to this very account: {before.reason}"
        elif before is None:
            said = f"first payment to this account; noted {_noted(item.details)}"
        elif before.details_id != item.details_id:
            assert before.paid_on, "what was returned was paid"
            said = f"changed since the last payment ({day_text(before.paid_on)}): {_noted(item.details)}"
        if said:
            found[item.pk] = f"{found[item.pk]}; {said}" if item.pk in found else said
    return found


def _in_files_before(items: Sequence[PaymentItem]) -> dict[int, str]:
    """For each payment that stood in a run which was withdrawn though its file was made: that the bank may have it."""
    withdrawn = PaymentItem.objects.filter(run__state=RunState.WITHDRAWN, run__files__isnull=False).distinct()
    withdrawn = withdrawn.filter(household__in={item.household_id for item in items}).select_related("run")
    earlier = {_what_for(each): each.run for each in withdrawn}
    return {
        item.pk: f"it stood in {run}, withdrawn after its file was made; make sure that the bank did not pay it"
        for item in items
        if (run := earlier.get(_what_for(item)))
    }


def _what_for(item: PaymentItem) -> tuple[int | None, ...]:
    return item.household_id, item.claim_id, item.expense_id, item.give_back_id


def _noted(details: BankDetails) -> str:
    return f"{day_text(details.noted_on)} by {details.recorded_by}: {details.reason}"


STANDING_CLEARING = ClearedLine.objects.filter(line=OuterRef("pk"), stands=True)
UNEXPLAINED = ~Exists(STANDING_CLEARING)


def unexplained(bank_account: BankAccount) -> QuerySet[StatementLine]:
    return bank_account.lines.filter(UNEXPLAINED)


OPENS = Exists(opening_entries().filter(pk=OuterRef("entry")))
"""Of a posting: whether the book's opening brought it in."""


def brought_in_on(bank_account: BankAccount) -> date | None:
    """The day of the account's first opening balance; None where it has none."""
    found: date | None = Posting.objects.filter(OPENS, account=bank_account.account_id).aggregate(
        day=Min("entry__date")
    )["day"]
    return found


def statements_begin(bank_account: BankAccount) -> date | None:
    """From when the statement must show what is posted: from the account's opening balance, else from the first day of
    the month of its first line; None where it has neither.
    """
    if opened := brought_in_on(bank_account):
        return opened
    first = bank_account.lines.order_by("date").first()
    return first.date.replace(day=1) if first else None


def lines_of_the_book(bank_account: BankAccount) -> QuerySet[StatementLine]:
    """The account's lines but for those that its opening balance has in it already, as where a file began earlier.

    An opening that is dated on the last day of a month is what the account held when that day ended.
    """
    rows, opened = bank_account.lines.all(), brought_in_on(bank_account)
    if opened is None:
        return rows
    return rows.filter(date__gt=opened) if opened == month_end(opened) else rows.filter(date__gte=opened)


def possible_explanations(line: StatementLine) -> QuerySet[Posting]:
    """Lines of the ledger in the line's account, of its very amount, that explain no other line; nearest first."""
    return (
        Posting.objects.filter(
            account=line.bank_account.account,
            amount=line.amount,
            entry__sealed=True,
        )
        .exclude(clearings__stands=True)
        .select_related("entry", "account")
        .order_by("-entry__date")
    )


def open_at_the_bank(entry: JournalEntry) -> QuerySet[Posting]:
    """The entry's postings in the club's bank accounts that are matched with nothing."""
    rows = Posting.objects.filter(entry=entry, account__bank_account__isnull=False)
    return rows.exclude(clearings__stands=True)


def contrary_to(entry: JournalEntry) -> QuerySet[Posting]:
    """What would cancel one of those: the same amount the other way in the same account, matched with nothing."""
    wanted = Q(pk=None)
    for own in open_at_the_bank(entry):
        wanted |= Q(account=own.account_id, amount=-own.amount)
    rows = Posting.objects.filter(wanted, entry__sealed=True).exclude(clearings__stands=True)
    return rows.exclude(entry=entry).select_related("entry", "account").order_by("-entry__date", "-pk")


def matches_of(entry: JournalEntry) -> QuerySet[ClearedPosting]:
    """The standing matches of the entry's money at the bank."""
    rows = ClearedPosting.objects.filter(posting__entry=entry, stands=True).select_related("clearing")
    return rows.prefetch_related("clearing__lines__line", "clearing__postings__posting__entry").order_by("pk")


def detail_of(role: Role) -> Decimal:
    """What an account of money holds by the documents of every room that puts some in or takes some out."""
    told = (each.figure() for room in in_order() for each in room.pays_into if each.role == role)
    return sum(told, by_hand(role))


def card_takings_waiting() -> Money:
    """What the ledger says the card company still owes."""
    return as_amount(balance_of(Role.CARD_TAKINGS))
