"""The club's own account: a book begins with one, and two people say where money comes into it."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from stdnum import bic as bics
from stdnum import iban as ibans

from clubdesk.bank.directentry import no_such_account
from clubdesk.bank.models import AccountChange, BankAccount, ChangeState
from clubdesk.bank.rules import NUMBERS
from clubdesk.bank.services.clearing import locked
from clubdesk.bank.states import ACCOUNT_CHANGE
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import account
from clubdesk.verbs import verb


def begin() -> BankAccount:
    """Set up the bank account to which documents post. Raises Refused where the chart has no account for it."""
    return BankAccount.objects.create(name="Club account", account=account(Role.BANK))


@verb(permission="bank.change_bankaccount", title="Enter an account number")
def ask_for_account(
    *,
    bank_account: BankAccount,
    holder: str,
    reason: str,
    on: date,
    by: User,
    bsb: str = "",
    account_number: str = "",
    iban: str = "",
    bic: str = "",
    key: uuid.UUID | None = None,
) -> AccountChange:
    """Ask that the club's money comes into this account from now on; nothing changes until somebody else agrees.

    Raises Refused unless it is either a BSB with a number or an IBAN, each of its form; without the name of the account
    or a reason; and while another change waits.
    """
    own = locked(bank_account.pk)
    if found := ledger.written(AccountChange, key):
        return found
    if waiting := own.changes.filter(state=ChangeState.ASKED).first():
        raise Refused(f"{waiting.recorded_by} asked for {waiting.in_full} already; decide on that first.")
    if not reason.strip():
        raise Refused("Say why, and where the number stands: on the bank’s own letter, or in its app.")
    document = AccountChange(
        key=key or uuid.uuid4(), bank_account=own, holder=holder.strip()[:70], bsb=bsb.strip(),
        account_number=account_number.replace(" ", ""), iban=ibans.compact(iban), bic=bics.compact(bic),
        replaces=own.in_full, reason=reason.strip()[:150], asked_on=on, recorded_by=by,
    )  # fmt: skip
    _refuse_unless_an_account(document)
    document.save()
    return document


def _refuse_unless_an_account(asked: AccountChange) -> None:
    if not asked.holder:
        raise Refused("Write the account name as the bank knows it.")
    if bool(asked.iban) == bool(asked.bsb or asked.account_number):
        raise Refused("Write either a BSB and an account number, or an IBAN.")
    if asked.iban and not ibans.is_valid(asked.iban):
        raise Refused("This IBAN is not right: compare each letter and digit with the bank’s own letter.")
    if asked.bic and not (asked.iban and bics.is_valid(asked.bic)):
        raise Refused("A BIC is eight or eleven letters and digits, and goes with an IBAN.")
    if not asked.iban and not (asked.bsb and asked.account_number):
        raise Refused("Write both the BSB and the account number.")
    if no_account := no_such_account(asked.bsb, asked.account_number):
        raise Refused(no_account)
    try:
        asked.clean_fields(exclude=["bank_account", "recorded_by"])
    except ValidationError as fault:
        raise Refused(" ".join(fault.messages)) from None


@verb(permission="bank.agree_accountchange", title="Agree to the account")
def agree_to_account(*, change: AccountChange, on: date, by: User) -> AccountChange:
    """From now on families pay into it. Raises Refused to whoever asked for it, and once it was declined."""
    own = locked(change.bank_account_id)
    document = AccountChange.objects.select_for_update(of=("self",), no_key=True).get(pk=change.pk)
    if document.state == ChangeState.AGREED:
        return document
    ACCOUNT_CHANGE.refuse_unless(document.state, ChangeState.AGREED, f"It was declined: {document.answer}.")
    if document.recorded_by_id == by.pk:
        raise Refused("You asked for it; somebody else agrees to it.")
    document.state, document.decided_by, document.decided_on = ChangeState.AGREED, by, on
    document.save(update_fields=["state", "decided_by", "decided_on"])
    for name in NUMBERS:
        setattr(own, name, getattr(document, name))
    own.save(update_fields=NUMBERS)
    return document


@verb(permission="bank.agree_accountchange", title="Decline")
def decline_account(*, change: AccountChange, reason: str, on: date, by: User) -> AccountChange:
    """Leave the account as it is. Raises Refused without a reason, and once it was agreed to."""
    locked(change.bank_account_id)
    document = AccountChange.objects.select_for_update(of=("self",), no_key=True).get(pk=change.pk)
    if document.state == ChangeState.DECLINED:
        return document
    ACCOUNT_CHANGE.refuse_unless(document.state, ChangeState.DECLINED, "It was agreed to already; ask for another.")
    if not reason.strip():
        raise Refused("Say why the account stays as it is.")
    document.state, document.decided_by, document.decided_on = ChangeState.DECLINED, by, on
    document.answer = reason.strip()[:150]
    document.save(update_fields=["state", "decided_by", "decided_on", "answer"])
    return document
