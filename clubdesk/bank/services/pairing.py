"""What the bank never shows, or takes back itself: two entries, or two lines, matched with each other."""

import uuid
from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk.bank.models import BankAccount, ClearedPosting, Clearing, HowSure
from clubdesk.bank.services.clearing import join, locked
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Posting
from clubdesk.money import nil
from clubdesk.verbs import verb


@verb(permission="bank.change_statementline", title="Match with another entry")
def match_entries(*, posting: Posting, other: Posting, reason: str, by: User, key: uuid.UUID | None = None) -> Clearing:
    """Say that two entries of one bank account cancel each other and that the bank never shows either.

    They are on their way until the later of their days, or, where a month is signed off with them on their way, until
    that month is over. Raises Refused for entries of different accounts or amounts, that are matched already, and
    without a reason.
    """
    account = BankAccount.objects.filter(account=posting.account_id).first()
    if account is None or other.account_id != posting.account_id:
        raise Refused("Two entries of one bank account are matched with each other.")
    account = locked(account.pk)
    if found := ledger.written(Clearing, key):
        return found
    pair = [posting, other]
    if posting.amount + other.amount != nil():
        raise Refused("Two entries are matched where one put in what the other took out, to the cent.")
    if ClearedPosting.objects.filter(posting__in=pair, stands=True).exists():
        raise Refused("One of the two is matched already.")
    if not reason.strip():
        raise Refused("Say why the bank never shows these two.")
    document = Clearing(
        key=key or uuid.uuid4(),
        bank_account=account,
        how_sure=HowSure.BY_HAND,
        reasons=reason.strip()[:300],
        settled_on=_settled_on(account, pair),
        recorded_by=by,
    )
    return join(document, postings=pair)


def _settled_on(account: BankAccount, pair: list[Posting]) -> date:
    """The later of their days, but after the last month that was signed off with them as they were."""
    signed = account.reconciliations.filter(reopened_on=None).order_by("month_end").last()
    days = [each.entry.date for each in pair]
    return max([*days, signed.month_end + timedelta(days=1)] if signed else days)
