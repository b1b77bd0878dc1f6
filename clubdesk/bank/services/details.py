"""Where a household's money goes."""

import uuid
from datetime import date

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from clubdesk.bank import selectors
from clubdesk.bank.directentry import in_file, no_such_account
from clubdesk.bank.models import BankDetails
from clubdesk.errors import Refused
from clubdesk.fees.services.charging import queue
from clubdesk.ledger import services as ledger
from clubdesk.roll.models import Household
from clubdesk.verbs import verb


@verb(permission="bank.add_bankdetails", title="Note bank details")
def set_bank_details(
    *,
    household: Household,
    title: str,
    bsb: str,
    account_number: str,
    reason: str,
    on: date,
    by: User,
    key: uuid.UUID | None = None,
) -> BankDetails:
    """Note where a household's money goes from now on, and why it changes; the same details again change nothing.

    A run that was made keeps the details that it was made with, and cannot be released after a change.
    Raises Refused for a BSB or number of another form, and without a reason.
    """
    household = queue(household)
    if found := ledger.written(BankDetails, key):
        return found
    title, bsb, account_number = title.strip(), bsb.strip(), account_number.replace(" ", "")
    last = selectors.details_of(household)
    if last and (last.title, last.bsb, last.account_number) == (title, bsb, account_number):
        return last
    if not reason.strip():
        raise Refused("Say who asked for this and how you made sure; the next payment goes there.")
    if no_account := no_such_account(bsb, account_number):
        raise Refused(no_account)
    if not in_file(title, 32):
        raise Refused("Write the account name as the bank knows it.")
    document = BankDetails(
        key=key or uuid.uuid4(),
        household=household,
        title=title[:60],
        bsb=bsb,
        account_number=account_number,
        noted_on=on,
        reason=reason.strip()[:150],
        recorded_by=by,
    )
    try:
        document.clean_fields(exclude=["household", "recorded_by"])
    except ValidationError as fault:
        raise Refused(" ".join(fault.messages)) from None
    document.save()
    return document
