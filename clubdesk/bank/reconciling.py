"""A month of a bank account reconciled: what the bank says, what is on its way, what the book says. Questions only."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q
from djmoney.money import Money

from clubdesk.bank.models import BankAccount, ClearedPosting, Reconciliation, StatementLine
from clubdesk.bank.selectors import statements_begin, unexplained
from clubdesk.ledger.models import Posting
from clubdesk.ledger.selectors import balances, month_end
from clubdesk.money import as_amount, nil, total


@dataclass(frozen=True)
class Reconciled:
    """The two balances with what lies between them, in the form that the published example uses.

    Source of the form: US Internal Revenue Service, Publication 583, sample record 7.
    """

    bank_account: BankAccount
    month_end: date
    opening: Money | None
    moved: Money
    statement_balance: Money
    deposits: list[Posting]
    payments: list[Posting]
    book_balance: Money
    lacking: list[StatementLine]

    @property
    def deposits_not_credited(self) -> Money:
        return total(each.amount for each in self.deposits)

    @property
    def payments_not_presented(self) -> Money:
        """Above nil."""
        return -total(each.amount for each in self.payments)

    @property
    def adjusted_statement(self) -> Money:
        return self.statement_balance + self.deposits_not_credited - self.payments_not_presented

    @property
    def adjusted_book(self) -> Money:
        """What the book will say once the lines that it lacks are in it."""
        return self.book_balance + total(each.amount for each in self.lacking)

    @property
    def difference(self) -> Money:
        return self.adjusted_statement - self.adjusted_book

    @property
    def obstacles(self) -> list[str]:
        """Why it cannot be signed off yet, each with what to do."""
        found = []
        if self.lacking:
            found.append("Lines of the statement are not explained yet; explain them first.")
        if self.opening is not None and self.opening + self.moved != self.statement_balance:
            found.append("Opening balance and lines do not come to the closing balance; a line or a file is missing.")
        if self.difference != nil():
            found.append("The two balances differ; only a difference of nil can be signed off.")
        standing = last_signed(self.bank_account)
        if standing and standing.month_end >= self.month_end:
            found.append(f"{standing.month_end:%B %Y} is signed off already.")
        return found


def last_signed(bank_account: BankAccount) -> Reconciliation | None:
    return bank_account.reconciliations.filter(reopened_on=None).order_by("month_end").last()


def reconcile(bank_account: BankAccount, until: date, statement_balance: Money) -> Reconciled:
    """The month that ends on `until`, against the balance with which the bank closes it."""
    before = bank_account.reconciliations.filter(reopened_on=None, month_end__lt=until).order_by("month_end").last()
    lines = bank_account.lines.filter(date__lte=until)
    if before:
        lines = lines.filter(date__gt=before.month_end)
    open_ones = outstanding(bank_account, until)
    return Reconciled(
        bank_account=bank_account,
        month_end=until,
        opening=before.statement_balance if before else None,
        moved=total(line.amount for line in lines),
        statement_balance=statement_balance,
        deposits=[each for each in open_ones if each.amount > nil()],
        payments=[each for each in open_ones if each.amount < nil()],
        book_balance=book_balance(bank_account, until),
        lacking=list(unexplained(bank_account).filter(date__lte=until).order_by("date", "pk")),
    )


def book_balance(bank_account: BankAccount, until: date) -> Money:
    found = balances(until, ["account_id"], account=bank_account.account_id)
    return as_amount(found.after_closing.get((bank_account.account_id,), Decimal(0)))


def outstanding(bank_account: BankAccount, until: date) -> list[Posting]:
    """Entries of the account up to the day that no line up to the day explains, and no other entry by then.

    An entry and its reversal, neither of which the bank ever showed, cancel each other. What is dated before the month
    of the account's first line is taken as shown: the book began with no statement of it.
    """
    by_then = Q(clearing__lines__line__date__lte=until) | Q(clearing__settled_on__lte=until)
    shown = ClearedPosting.objects.filter(by_then, stands=True)
    shown = shown.filter(posting__account=bank_account.account)
    partner = Q(posting__entry__reverses=OuterRef("entry")) | Q(posting__entry__reversed_by=OuterRef("entry"))
    undone = Q(entry__reversed_by__date__lte=until) | Q(entry__reverses__isnull=False)
    begun = statements_begin(bank_account)
    if begun is None:
        return []
    rows = Posting.objects.filter(account=bank_account.account, entry__date__range=(begun, until), entry__sealed=True)
    rows = rows.filter(~Exists(shown.filter(posting=OuterRef("pk"))))
    rows = rows.filter(~undone | Exists(shown.filter(partner)))
    return list(rows.select_related("entry").order_by("entry__date", "pk"))


def stated_balance(bank_account: BankAccount, until: date) -> Money | None:
    """What the bank says the account held at the end of the day, where a line or a file says so."""
    line = bank_account.lines.filter(date__lte=until).exclude(balance=None).order_by("date", "pk").last()
    file = bank_account.imports.filter(last_day__lte=until).exclude(closing=None).order_by("last_day", "pk").last()
    stated: Money | None = file.closing if file else None
    if line and (file is None or line.date >= file.last_day):
        stated = line.balance
    return stated


def next_month(bank_account: BankAccount) -> date | None:
    """The first month that is not signed off and has lines; None where nothing is there."""
    signed = last_signed(bank_account)
    lines = bank_account.lines.all()
    if signed:
        lines = lines.filter(date__gt=signed.month_end)
    first = lines.order_by("date").first()
    return month_end(first.date) if first else None
