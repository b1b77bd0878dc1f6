"""Money that moves between the club's own accounts: two bank accounts, or the bank and the cash box."""

import uuid

from django.contrib.auth.models import User

from clubdesk.bank.goingback import BETWEEN_ACCOUNTS
from clubdesk.bank.models import BankAccount, Clearing, HowSure, StatementLine
from clubdesk.bank.posting import transfer_lines
from clubdesk.bank.selectors import UNEXPLAINED
from clubdesk.bank.services.clearing import clear, locked
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Posting, Role
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import nil, shown
from clubdesk.rangeday.services import bank_takings
from clubdesk.verbs import verb


@verb(permission="bank.change_statementline", title="Transfer between the club’s accounts")
def transfer_line(*, line: StatementLine, account: Account, by: User, key: uuid.UUID | None = None) -> Clearing:
    """The line is money that moved to or from `account`, another account of money of the club's: an entry of both is
    written and matched, and the line of the other account too where it stands.

    Raises Refused for an account that is no money, or the same, and where that transfer was written before.
    """
    locked(line.bank_account_id, *BankAccount.objects.filter(account=account).values_list("pk", flat=True))
    if found := ledger.written(Clearing, key):
        return found
    if not account.is_money or account.role == Role.CARD_TAKINGS or account.pk == line.bank_account.account_id:
        raise Refused("Choose another bank account of the club, or the cash box.")
    there = StatementLine.objects.filter(
        UNEXPLAINED,
        bank_account__account=account,
        amount=-line.amount,
        date__range=(line.date - BETWEEN_ACCOUNTS, line.date + BETWEEN_ACCOUNTS),
    )
    alone = there.first() if there.count() == 1 else None
    posting = moved_between(line, account, alone, by)
    reasons = f"transfer {'to' if line.amount < nil() else 'from'} {account.name}"
    return clear(lines=[line], postings=[posting], reasons=reasons, by=by, key=key)


def moved_between(line: StatementLine, account: Account, there: StatementLine | None, by: User) -> Posting:
    """The line's own posting of an entry between its account and the other, whose line is matched at once.

    Cash that was taken to the bank is a banking of takings; all else a journal, dated by the earlier of the lines.
    """
    own = line.bank_account.account
    _refuse_written_before(line, account)
    if there and there.amount != -line.amount:
        raise Refused(f"The other account’s line is of {shown(there.amount)}, so it is not this transfer.")
    on = ledger.open_day_now(min(line.date, there.date) if there else line.date)
    if account.role == Role.TILL and own.role == Role.BANK and line.amount > nil():
        document: object = bank_takings(amount=line.amount, on=on, by=by)
    else:
        words = f"Transfer {'to' if line.amount < nil() else 'from'} {account.name}"
        document = ledger.record_journal(on=on, narration=words, lines=transfer_lines(line.amount, own, account), by=by)
    entry = entries_of(document).get()  # type: ignore[arg-type]  # either document is a model
    if there:
        other = entry.postings.get(account=account)
        clear(lines=[there], postings=[other], reasons="transfer", how_sure=HowSure.LIKELY, by=by)
    return entry.postings.get(account=own)


def _refuse_written_before(line: StatementLine, account: Account) -> None:
    days = (line.date - BETWEEN_ACCOUNTS, line.date + BETWEEN_ACCOUNTS)
    open_ones = Posting.objects.filter(
        account=line.bank_account.account_id, amount=line.amount, entry__date__range=days
    )
    open_ones = open_ones.filter(entry__reversed_by=None, entry__reverses=None, entry__postings__account=account)
    if found := open_ones.exclude(clearings__stands=True).select_related("entry").first():
        raise Refused(f"Entry {found.entry.number} is that transfer already; match the line with it.")
