"""Payment runs: made by one, released by another, paid or returned item by item."""

import hashlib
import uuid
from collections.abc import Iterable, Sequence
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Max

from clubdesk.bank import directentry, selectors
from clubdesk.bank.models import (
    BankAccount,
    HowPaid,
    ItemState,
    PaymentFile,
    PaymentItem,
    PaymentRun,
    RunState,
)
from clubdesk.bank.states import PAYMENT, RUN
from clubdesk.clock import day_text
from clubdesk.entryfund.models import EntryClaim
from clubdesk.entryfund.services import pay_claim, take_claim_back
from clubdesk.errors import Refused
from clubdesk.expenses.models import Expense
from clubdesk.expenses.services import pay_expense, take_expense_back
from clubdesk.fees.models import GiveBack
from clubdesk.fees.services import pay_give_back, repay_credit, take_give_back_back, take_repayment_back
from clubdesk.fees.services.charging import queue_all
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Role
from clubdesk.money import as_amount, cents_of, shown
from clubdesk.roll.models import Household
from clubdesk.roll.selectors import NEVER, left_families
from clubdesk.verbs import verb

OF_ITEMS = ("household", "claim", "expense", "give_back__voucher__scheme__department")
"""What a payment is for, and to whom."""


@verb(permission="bank.add_paymentrun", title="Make a payment run")
def make_run(
    *,
    bank_account: BankAccount,
    method: HowPaid,
    pay_on: date,
    on: date,
    by: User,
    claims: Iterable[EntryClaim] = (),
    expenses: Iterable[Expense] = (),
    credits: Iterable[Household] = (),
    give_backs: Iterable[GiveBack] = (),
    key: uuid.UUID | None = None,
) -> PaymentRun:
    """Put approved refunds and expenses, whole credits and vouchers to give back into one run. Nothing is paid by that.

    Raises Refused where there is nothing to pay, where something is not to be paid or stands in another run, and for a
    file where the club's or a household's bank details are missing.
    """
    ledger.lock_book()
    if found := ledger.written(PaymentRun, key):
        return found
    method = HowPaid(method)
    if pay_on < on:
        raise Refused("The bank cannot pay on a day that has passed.")
    if bank_account.account.role != Role.BANK:
        raise Refused(f"Payments are posted to the account with the role “Bank”; {bank_account} is another.")
    if method == HowPaid.FILE and not bank_account.makes_files:
        raise Refused(f"{bank_account} lacks what a Direct Entry file needs; fill it in, or choose single transfers.")
    items = [*_claims(claims), *_expenses(expenses), *_credits(credits), *_give_backs(give_backs)]
    if not items:
        raise Refused("Choose at least one payment.")
    _find_details(items, method)
    run = PaymentRun.objects.create(
        key=key or uuid.uuid4(),
        number=(PaymentRun.objects.aggregate(last=Max("number"))["last"] or 0) + 1,
        bank_account=bank_account,
        method=method,
        made_on=on,
        pay_on=pay_on,
        recorded_by=by,
    )
    for item in items:
        item.run = run
    PaymentItem.objects.bulk_create(items)
    return run


def _find_details(items: list[PaymentItem], method: HowPaid) -> None:
    """Where each is paid to; of a voucher that goes back its invoice says so."""
    details = selectors.details_of_all({item.household_id for item in items})
    for item in items:
        if item.give_back and method == HowPaid.FILE:
            raise Refused(
                "A voucher goes back by a single transfer, to the account on its invoice; leave it for such a run."
            )
        item.details = None if item.give_back else details.get(item.household_id)
        if method == HowPaid.FILE and item.details is None:
            raise Refused(f"{item.household} has no bank details; note them first, or leave it for another run.")


def _claims(claims: Iterable[EntryClaim]) -> list[PaymentItem]:
    chosen, payable = list(claims), selectors.claims_to_pay().in_bulk()
    for claim in chosen:
        if claim.pk not in payable:
            raise Refused(f"The refund request {claim} is not to be paid, or stands in another run.")
    return [PaymentItem(household=claim.household, claim=claim, amount=claim.amount) for claim in chosen]


def _expenses(expenses: Iterable[Expense]) -> list[PaymentItem]:
    chosen, payable = list(expenses), selectors.expenses_to_pay().in_bulk()
    for expense in chosen:
        if expense.pk not in payable:
            raise Refused(f"The expense {expense} is not to be paid, or stands in another run.")
    return [PaymentItem(household=each.household, expense=each, amount=each.amount) for each in chosen]


def _credits(households: Iterable[Household]) -> list[PaymentItem]:
    chosen, payable = list(households), selectors.credits_to_repay()
    for household in chosen:
        if household.pk not in payable:
            raise Refused(f"{household} has no credit to repay, or it stands in another run.")
    return [PaymentItem(household=each, amount=as_amount(payable[each.pk])) for each in chosen]


def _give_backs(give_backs: Iterable[GiveBack]) -> list[PaymentItem]:
    chosen, payable = list(give_backs), selectors.give_backs_to_pay().in_bulk()
    for back in chosen:
        if back.pk not in payable:
            raise Refused(f"{back} is paid, or stands in another run.")
    return [PaymentItem(household=each.household, give_back=each, amount=each.amount) for each in chosen]


def _locked(run: PaymentRun) -> PaymentRun:
    rows = PaymentRun.objects.select_for_update(of=("self",), no_key=True).select_related("bank_account")
    return rows.get(pk=run.pk)


def _waiting(run: PaymentRun) -> list[PaymentItem]:
    rows = run.items.filter(state=ItemState.WAITING).select_related("details", "run", *OF_ITEMS)
    return list(rows.order_by("pk"))


@verb(permission="bank.release_paymentrun", title="Release this run")
def release_run(*, run: PaymentRun, on: date, by: User) -> PaymentRun:
    """The second person lets the run go. Raises Refused for whoever made it, entered bank details that it pays to or
    belongs to a household that it pays, and where details or what is owed changed since it was made; whoever
    comes after another has released it is told so.
    """
    run = _locked(run)
    if run.state == RunState.RELEASED:
        if run.released_by_id == by.pk:
            return run
        raise Refused(released_before(run))
    RUN.refuse_unless(run.state, RunState.RELEASED, "This run was withdrawn.")
    if run.recorded_by_id == by.pk:
        raise Refused("You made this run; somebody else must release it.")
    if on < run.made_on:
        raise Refused(f"The run was made on {day_text(run.made_on)}; it cannot be released before.")
    if run.method == HowPaid.FILE and on > run.pay_on:
        raise Refused(f"The bank was to pay on {day_text(run.pay_on)}, which has passed; withdraw it and make it anew.")
    items = _waiting(run)
    if not items:
        raise Refused("Every payment of this run was left out; withdraw it.")
    left = left_families(by)
    if own := next((item for item in items if left.get(item.household_id, NEVER) >= item.asked_for_at), None):
        raise Refused(f"You belong or belonged to {own.household}, which this run pays; somebody else must release it.")
    if any(item.details and item.details.recorded_by_id == by.pk for item in items):
        raise Refused("You entered bank details that this run pays to; somebody else must release it.")
    _refuse_changed_details(items)
    _refuse_unpayable(items)
    run.state, run.released_by, run.released_on = RunState.RELEASED, by, on
    run.save(update_fields=["state", "released_by", "released_on"])
    return run


def released_before(run: PaymentRun) -> str:
    assert run.released_on, "a run that is released has a day"
    who = f"by {run.released_by} on {day_text(run.released_on)}"
    return f"{run} was released already, {who}; nothing more is to be done."


def _refuse_changed_details(items: Sequence[PaymentItem]) -> None:
    now = selectors.details_of_all({item.household_id for item in items})
    for item in items:
        if not item.give_back and now.get(item.household_id) != item.details:
            raise Refused(f"The bank details of {item.household} changed since the run was made; make it anew.")


def _refuse_unpayable(items: Sequence[PaymentItem], has_paid: bool = False) -> None:
    """What is owed must be owed still; once the bank has paid, a credit that was used meanwhile is owed again."""
    credits = selectors.credit_of_all({item.household_id for item in items if item.is_credit})
    for item in items:
        owed = item.claim or item.expense or item.give_back
        if owed and owed.state != "approved":
            raise Refused(f"{item} was paid another way; leave it out.")
        if item.is_credit and not has_paid and as_amount(credits.get(item.household_id, 0)) < item.amount:
            raise Refused(f"{item.household} has a smaller credit than {shown(item.amount)} by now; leave it out.")


@verb(permission="bank.change_paymentrun", title="Make the payment file")
def make_file(*, run: PaymentRun, by: User, key: uuid.UUID | None = None) -> PaymentFile:
    """Make the Direct Entry file of a released run. Made again it is the same file with the same number."""
    run = _locked(run)
    if found := ledger.written(PaymentFile, key):
        return found
    if not run.files.exists():
        _refuse_changed_details(_waiting(run))
    digest = hashlib.sha256(made_file(run)).hexdigest()
    return PaymentFile.objects.create(key=key or uuid.uuid4(), run=run, file_digest=digest, recorded_by=by)


def made_file(run: PaymentRun) -> bytes:
    """The file, found to be the one that was made before. Raises Refused where it would be another by now."""
    content, first = file_of(run), run.files.first()
    if first and first.file_digest != hashlib.sha256(content).hexdigest():
        raise Refused("The bank account's settings changed since this file was made; put them back, or make a new run.")
    return content


def file_of(run: PaymentRun) -> bytes:
    """The run's file. Raises Refused for a run that is not released or is paid by single transfers."""
    if run.method != HowPaid.FILE:
        raise Refused("This run is paid by single transfers; it has no file.")
    if run.state != RunState.RELEASED:
        raise Refused("Only a released run has a file.")
    account = run.bank_account
    sender = directentry.Sender(
        bsb=account.bsb,
        account=account.account_number,
        bank=account.bank_letters,
        user_name=account.user_name,
        user_id=account.user_id,
        remitter=account.remitter,
        balanced=account.balanced,
    )
    rows = run.items.exclude(state=ItemState.LEFT_OUT).select_related("details").order_by("pk")
    payments = [
        directentry.Payment(
            bsb=item.details.bsb,
            account=item.details.account_number,
            title=item.details.title,
            reference=item.reference,
            cents=cents_of(item.amount),
        )
        for item in rows
        if item.details
    ]
    return directentry.write(sender, payments, description=f"RUN {run.number}", on=run.pay_on)


@verb(permission="bank.change_paymentrun", title="Record what the bank paid")
def record_paid(*, run: PaymentRun, items: Sequence[PaymentItem], on: date, by: User) -> PaymentRun:
    """The bank paid these payments of a released run: each document posts. What was paid already stays as it is.

    Raises Refused for a run that is not released; then nothing of it is saved.
    """
    run = _locked(run)
    if run.state != RunState.RELEASED:
        raise Refused("Only a released run is paid.")
    if run.released_on and on < run.released_on:
        raise Refused(f"The run was released on {day_text(run.released_on)}; it cannot be paid before.")
    if run.method == HowPaid.FILE and on < run.pay_on:
        raise Refused(f"The file tells the bank to pay on {day_text(run.pay_on)}; it cannot have paid before.")
    if run.method == HowPaid.FILE and not run.files.exists():
        raise Refused("The file of this run was not made yet; the bank cannot have paid it.")
    chosen = {item.pk for item in items}
    waiting = [item for item in _waiting(run) if item.pk in chosen]
    _lock_owed(waiting)
    _refuse_unpayable(waiting, has_paid=True)
    for item in waiting:
        _pay(item, on, by)
    return run


def _lock_owed(items: Sequence[PaymentItem]) -> None:
    """Take households, claims and expenses in their order, before the first post takes the book."""
    queue_all({item.household_id for item in items})
    for model, ids in (
        (EntryClaim, [item.claim_id for item in items if item.claim_id]),
        (Expense, [item.expense_id for item in items if item.expense_id]),
        (GiveBack, [item.give_back_id for item in items if item.give_back_id]),
    ):
        list(model._default_manager.select_for_update(of=("self",), no_key=True).order_by("pk").filter(pk__in=ids))
    for item in items:
        for owed in (item.claim, item.expense, item.give_back):
            if owed:
                owed.refresh_from_db(fields=["state"])


def _pay(item: PaymentItem, on: date, by: User) -> None:
    reference = f"{item.reference}, run {item.run.number}"
    if item.claim:
        pay_claim(claim=item.claim, on=on, by=by, reference=reference)
    elif item.expense:
        pay_expense(expense=item.expense, on=on, by=by, reference=reference)
    elif item.give_back:
        pay_give_back(back=item.give_back, on=on, by=by, reference=reference)
    else:
        item.repayment = repay_credit(
            household=item.household, amount=item.amount, on=on, by=by, reference=reference, has_paid=True
        )
    item.state, item.paid_on = ItemState.PAID, on
    item.save(update_fields=["state", "paid_on", "repayment"])


@verb(permission="bank.change_paymentrun", title="The bank returned this payment")
def record_returned(*, item: PaymentItem, on: date, reason: str, by: User) -> PaymentItem:
    """The bank returned a payment: its entry is reversed and what it was for waits to be paid again."""
    run = _locked(item.run)
    item = run.items.select_related("repayment", *OF_ITEMS).get(pk=item.pk)
    if item.state == ItemState.RETURNED:
        return item
    PAYMENT.refuse_unless(item.state, ItemState.RETURNED, "This payment was not paid; leave it out instead.")
    if not reason.strip():
        raise Refused("Write what the bank says.")
    if item.claim:
        take_claim_back(claim=item.claim, on=on, by=by)
    elif item.expense:
        take_expense_back(expense=item.expense, on=on, by=by)
    elif item.give_back:
        take_give_back_back(back=item.give_back, on=on, by=by)
    elif item.repayment:
        take_repayment_back(repayment=item.repayment, on=on, reason=reason, by=by)
    return _end(item, ItemState.RETURNED, on, reason)


@verb(permission="bank.change_paymentrun", title="This payment does not go out")
def leave_out(*, item: PaymentItem, on: date, reason: str, by: User) -> PaymentItem:
    """A payment that does not go out after all; what it was for can go into another run. A run that holds no other is
    withdrawn with it.

    Once the run's file was made the bank may have it: then this says that the bank did not make the payment, and the
    file stays as it was.
    """
    run = _locked(item.run)
    item = run.items.select_related(*OF_ITEMS).get(pk=item.pk)
    if item.state in (ItemState.LEFT_OUT, ItemState.REFUSED):
        return item
    PAYMENT.refuse_unless(item.state, ItemState.LEFT_OUT, "This payment was paid; if the bank returned it, say so.")
    if not reason.strip():
        raise Refused("Say why it is left out.")
    if run.files.exists():
        return _end(item, ItemState.REFUSED, on, reason)
    _end(item, ItemState.LEFT_OUT, on, reason)
    if not run.items.exclude(state=ItemState.LEFT_OUT).exists():
        run.state, run.withdraw_reason = RunState.WITHDRAWN, item.reason
        run.save(update_fields=["state", "withdraw_reason"])
    return item


def _end(item: PaymentItem, state: ItemState, on: date, reason: str) -> PaymentItem:
    item.state, item.ended_on, item.reason = state, on, reason.strip()[:150]
    item.save(update_fields=["state", "ended_on", "reason"])
    return item


@verb(permission="bank.change_paymentrun", title="Withdraw this run")
def withdraw_run(*, run: PaymentRun, on: date, reason: str, by: User) -> PaymentRun:
    """Give a run up of which nothing was paid; what it held can go into another. Raises Refused without a reason."""
    run = _locked(run)
    if run.state == RunState.WITHDRAWN:
        return run
    if run.items.filter(state__in=(ItemState.PAID, ItemState.RETURNED)).exists():
        raise Refused("Some of this run was paid; say of each other payment whether the bank made it.")
    if not reason.strip():
        raise Refused("Say why the run is withdrawn, and that the bank does not have its file.")
    for item in _waiting(run):
        _end(item, ItemState.LEFT_OUT, on, reason)
    run.state, run.withdraw_reason = RunState.WITHDRAWN, reason.strip()[:150]
    run.save(update_fields=["state", "withdraw_reason"])
    return run
