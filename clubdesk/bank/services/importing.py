"""Statements brought in from a file: each line once, however often and by whatever file it comes."""

import hashlib
import uuid
from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.conf import settings
from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.bank import reading
from clubdesk.bank.models import BankAccount, Reconciliation, StatementImport, StatementLine
from clubdesk.bank.reading import Mapping, ReadLine, ReadStatement
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.money import as_amount, shown
from clubdesk.verbs import verb


@dataclass(frozen=True)
class Plan:
    """What a file would bring: the statement as read, how, which lines are new, and in words whether one is missing
    before and what is pending.
    """

    statement: ReadStatement
    mapping: Mapping | None
    fresh: list[ReadLine]
    missing: str
    pending: str
    late: str
    """Why it cannot be brought in: it has lines of a month that is signed off. Blank where it can."""

    @property
    def note(self) -> str:
        return f"{self.missing} {self.pending}".strip()

    @property
    def known(self) -> int:
        return len(self.statement.lines) - len(self.fresh)


def plan_import(bank_account: BankAccount, content: bytes, mapping: Mapping | None = None) -> Plan:
    """What the file would bring to the account; nothing is saved. Raises Refused with a sentence a fault."""
    if reading.form_of(content) != reading.Form.CSV:
        mapping = None
    elif mapping is None:
        saved = bank_account.csv_mapping
        mapping = Mapping.from_dict(saved) if saved else reading.propose(content)
    statement = reading.read(content, currency=settings.CLUB_CURRENCY, mapping=mapping)
    fresh = _fresh(bank_account, statement)
    missing, waiting = _missing_before(bank_account, statement, fresh), _waiting(statement)
    return Plan(statement, mapping, fresh, missing, waiting, _late(bank_account, fresh))


def _late(bank_account: BankAccount, fresh: Sequence[ReadLine]) -> str:
    signed = last_signed_off(bank_account)
    late = [line for line in fresh if signed and line.date <= signed.month_end]
    if signed is None or not late:
        return ""
    first = f"{day_text(late[0].date)}, {shown(late[0].amount)}, {late[0].text}"
    more = f" and {len(late) - 1} more" if len(late) > 1 else ""
    return (
        f"{signed.month_end:%B %Y} is signed off without this line of it, or of a month before: {first}{more}. "
        "Open that month again first; what is found late is then told as found late."
    )


def last_signed_off(bank_account: BankAccount) -> Reconciliation | None:
    return bank_account.reconciliations.filter(reopened_on=None).order_by("month_end").last()


@verb(permission="bank.add_statementline", title="Import a bank statement")
def import_statement(
    *,
    bank_account: BankAccount,
    content: bytes,
    file_name: str,
    by: User,
    mapping: Mapping | None = None,
    key: uuid.UUID | None = None,
) -> StatementImport:
    """Bring in the lines of a statement that the account does not have yet.

    A CSV file is read by `mapping`, which the account then keeps, else by the one that it kept, else by what the file
    proposes. What is pending waits for a later file. Raises Refused with a sentence a fault, and then nothing is saved.
    """
    account = BankAccount.objects.select_for_update(of=("self",), no_key=True).get(pk=bank_account.pk)
    if found := ledger.written(StatementImport, key):
        return found
    plan = plan_import(account, content, mapping)
    if plan.late:
        raise Refused(plan.late)
    statement = plan.statement
    document = StatementImport.objects.create(
        key=key or uuid.uuid4(),
        bank_account=account,
        file_name=file_name[-120:],
        file_digest=hashlib.sha256(content).hexdigest(),
        form=statement.form,
        first_day=statement.lines[0].date,
        last_day=statement.lines[-1].date,
        opening=_amount(statement.opening),
        closing=_amount(statement.closing),
        brought=len(plan.fresh),
        known=plan.known,
        note=plan.note,
        recorded_by=by,
    )
    StatementLine.objects.bulk_create(_written(line, document) for line in plan.fresh)
    if plan.mapping and account.csv_mapping != plan.mapping.as_dict():
        account.csv_mapping = plan.mapping.as_dict()
        account.save(update_fields=["csv_mapping"])
    return document


def _written(line: ReadLine, document: StatementImport) -> StatementLine:
    return StatementLine(
        bank_account=document.bank_account,
        brought_by=document,
        date=line.date,
        amount=as_amount(line.amount),
        text=line.text,
        bank_id=line.bank_id,
        balance=_amount(line.balance),
        recorded_by=document.recorded_by,
    )


def _amount(value: Decimal | None) -> Money | None:
    return None if value is None else as_amount(value)


def _fresh(bank_account: BankAccount, statement: ReadStatement) -> list[ReadLine]:
    """The lines that stand for none of the account's: as often as a line comes in the file beyond how often it stands.

    A line stands already with the same number of the bank's; or the same day, amount and words; or, where it came by a
    file of another kind, whose words differ, with the same day and amount. Two true payments alike on one day stand
    twice in every file that has them, and so twice in the book.
    """
    first, last = statement.lines[0].date, statement.lines[-1].date
    rows = bank_account.lines.filter(date__range=(first, last)).order_by("pk")
    standing = [
        (row.pk, row.date, row.amount.amount, row.text, row.bank_id, row.brought_by.form if row.brought_by else "")
        for row in rows.select_related("brought_by")
    ]
    left = list(statement.lines)
    free = {pk for pk, *_ in standing}
    for key_of_line, key_of_row in (
        (lambda line: line.bank_id and (line.bank_id, line.date, line.amount),
         lambda row: row[4] and (row[4], row[1], row[2])),
        (lambda line: (line.date, line.amount, line.text), lambda row: (row[1], row[2], row[3])),
        (lambda line: (line.date, line.amount), lambda row: row[5] != statement.form and (row[1], row[2])),
    ):  # fmt: skip
        stock: dict[Hashable, list[int]] = defaultdict(list)
        for row in standing:
            if row[0] in free and (key := key_of_row(row)):
                stock[key].append(row[0])
        left = [line for line in left if not _takes(stock, key_of_line(line), free)]
    return left


def _takes(stock: dict[Hashable, list[int]], key: Hashable, free: set[int]) -> bool:
    """Whether a line that stands is there for the key; it is then taken."""
    if not key or not stock.get(key):
        return False
    free.discard(stock[key].pop(0))
    return True


def _waiting(statement: ReadStatement) -> str:
    """How many lines the bank only announces; blank where there are none."""
    count = len(statement.pending)
    if not count:
        return ""
    lines = "1 line has no balance yet: it is" if count == 1 else f"{count} lines have no balance yet: they are"
    return f"{lines} pending, and taken when a later file has a balance beside {'it' if count == 1 else 'them'}."


def _missing_before(bank_account: BankAccount, statement: ReadStatement, fresh: Sequence[ReadLine]) -> str:
    """Whether a statement is missing between the last line that stands and this file; blank where none is."""
    if not fresh or statement.opening is None or len(fresh) < len(statement.lines):
        return ""
    before = bank_account.imports.filter(last_day__lte=statement.lines[0].date).exclude(closing=None)
    earlier = before.order_by("last_day", "pk").last()
    if earlier is None or earlier.closing is None or earlier.closing.amount == statement.opening:
        return ""
    return (
        f"The statement to {day_text(earlier.last_day)} closed with {shown(earlier.closing)} and this one opens with "
        f"{shown(statement.opening)}: one in between is missing."
    )


def account_with(code: str) -> BankAccount:
    """The bank account that stands under the code in the chart, or Refused."""
    found = BankAccount.objects.filter(account__code=code).first()
    if found is None:
        raise Refused(f"No bank account has the code {code}.")
    return found
