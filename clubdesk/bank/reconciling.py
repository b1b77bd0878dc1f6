"""A month of a bank account reconciled: what the bank says, what is on its way, what the book says. Questions only."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from djmoney.money import Money

from clubdesk.bank.models import BankAccount, ClearedLine, ClearedPosting, Reconciliation, StatementLine
from clubdesk.bank.selectors import OPENS, UNEXPLAINED, lines_of_the_book, statements_begin
from clubdesk.clock import day_text
from clubdesk.ledger.models import Posting
from clubdesk.ledger.selectors import balances
from clubdesk.money import as_amount, nil, total


@dataclass(frozen=True)
class Item:
    """Something between the two balances: its day, its amount, money in positive, and what it is."""

    day: date
    amount: Money
    words: str


@dataclass(frozen=True)
class Reconciled:
    """The two balances with what lies between them, in the form that the published example uses.

    `on_the_way` is in the book and not yet at the bank; `recorded_later` is at the bank and in a later month of the
    book, or undone there; `lacking` are lines that nothing explains. `brought_in` says that the opening balance is the
    book's own, and `skipped` which months before are not signed off.

    Source of the form: US Internal Revenue Service, Publication 583, sample record 7.
    """

    bank_account: BankAccount
    month_end: date
    opening: Money | None
    brought_in: bool
    moved: Money
    statement_balance: Money
    on_the_way: list[Item]
    book_balance: Money
    recorded_later: list[Item]
    lacking: list[StatementLine]
    before: Reconciliation | None
    after: Reconciliation | None
    until_after: Money

    @property
    def deposits(self) -> list[Item]:
        return [each for each in self.on_the_way if each.amount > nil()]

    @property
    def payments(self) -> list[Item]:
        return [each for each in self.on_the_way if each.amount < nil()]

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
    def adjustments(self) -> Money:
        """What is added to the book's balance, or comes off it, since it was recorded later."""
        return total(each.amount for each in self.recorded_later)

    @property
    def adjusted_book(self) -> Money:
        """What the book says with what was recorded later, and once the lines that it lacks are in it."""
        return self.book_balance + self.adjustments + total(each.amount for each in self.lacking)

    @property
    def difference(self) -> Money:
        return self.adjusted_statement - self.adjusted_book

    @property
    def is_signed_off(self) -> bool:
        return self.bank_account.reconciliations.filter(reopened_on=None, month_end=self.month_end).exists()

    @property
    def obstacles(self) -> list[str]:
        """Why it cannot be signed off yet, each with what to do."""
        found = []
        if self.lacking:
            found.append("Lines of the statement are not matched yet; match them first.")
        if self.opening is not None and self.opening + self.moved != self.statement_balance:
            found.append("Opening balance and lines do not come to the closing balance; a line or a file is missing.")
        if self.difference != nil():
            found.append("The two balances differ; only where they are the same can the month be signed off.")
        if self.after and self.statement_balance + self.until_after != self.after.statement_balance:
            found.append(
                f"The lines after it do not come to what {self.after.month_end:%B %Y} was signed off with;"
                " look at the closing balance."
            )
        if self.is_signed_off:
            found.append(f"{self.month_end:%B %Y} is signed off already.")
        return found


def last_signed(bank_account: BankAccount) -> Reconciliation | None:
    return bank_account.reconciliations.filter(reopened_on=None).order_by("month_end").last()


def reconcile(bank_account: BankAccount, until: date, statement_balance: Money) -> Reconciled:
    """The month that ends on `until`, against the balance with which the bank closes it.

    A month that is signed off is told as it was known then.
    """
    standing = bank_account.reconciliations.filter(reopened_on=None).order_by("month_end")
    signed = standing.filter(month_end=until).first()
    before, after = standing.filter(month_end__lt=until).last(), standing.filter(month_end__gt=until).first()
    of_book = lines_of_the_book(bank_account)
    lines = of_book.filter(date__lte=until)
    later = of_book.filter(date__gt=until, date__lte=after.month_end) if after else of_book.none()
    between = _between(bank_account, until, signed.recorded_at if signed else None)
    brought_in = total(each.amount for each in between.opened) if between.opened else None
    return Reconciled(
        bank_account=bank_account,
        month_end=until,
        opening=before.statement_balance if before else brought_in,
        brought_in=before is None,
        moved=_sum(lines.filter(date__gt=before.month_end) if before else lines),
        statement_balance=statement_balance,
        on_the_way=[*map(_waiting, between.on_the_way), *_shown_in_part(bank_account, until)],
        book_balance=book_balance(bank_account, until),
        recorded_later=[
            *map(_recorded, _recorded_later(bank_account, until)),
            *map(_undone, between.undone_later),
        ],
        lacking=list(lines.filter(UNEXPLAINED).order_by("date", "pk")),
        before=before,
        after=after,
        until_after=_sum(later),
    )


def _sum(lines: QuerySet[StatementLine]) -> Money:
    return total(line.amount for line in lines)


def book_balance(bank_account: BankAccount, until: date) -> Money:
    found = balances(until, ["account_id"], account=bank_account.account_id)
    return as_amount(found.after_closing.get((bank_account.account_id,), Decimal(0)))


@dataclass(frozen=True)
class _Between:
    """The account's postings up to a day that no line and no other entry by then explains, by what they are: on their
    way, undone later, or brought in by the opening and taken as shown.
    """

    on_the_way: list[Posting]
    undone_later: list[Posting]
    opened: list[Posting]


def outstanding(bank_account: BankAccount, until: date) -> list[Posting]:
    """Entries of the account up to the day that are on their way, as `reconcile` says."""
    return _between(bank_account, until, None).on_the_way


def _shown_by(bank_account: BankAccount, until: date) -> QuerySet[ClearedPosting]:
    """What lines explain by the day, or other entries that the bank never shows either."""
    by_then = Q(clearing__lines__line__date__lte=until) | Q(clearing__settled_on__lte=until)
    return ClearedPosting.objects.filter(by_then, stands=True, posting__account=bank_account.account_id)


def _between(bank_account: BankAccount, until: date, known_at: datetime | None) -> _Between:
    """An entry and its reversal, neither of which the bank ever showed, cancel each other. The opening is taken as
    shown before the first line, and so is what is older than the statements of an account without one, unless a line
    shows it. Told as it was `known_at` a moment, where one is given.
    """
    by_then = _shown_by(bank_account, until)
    known = ClearedPosting.objects.filter(stands=True, posting__account=bank_account.account_id)
    if known_at:
        known = known.filter(clearing__recorded_at__lte=known_at)
    this, partner = Q(posting=OuterRef("pk")), Q(posting__entry__reverses=OuterRef("entry"))
    partner |= Q(posting__entry__reversed_by=OuterRef("entry"))
    undone = Q(entry__reversed_by__date__lte=until) | Q(entry__reverses__isnull=False)
    waiting = _postings(bank_account).filter(~Exists(by_then.filter(this)), entry__date__lte=until)
    waiting = waiting.filter(~undone | Exists(by_then.filter(partner))).annotate(
        opens=OPENS, matched=Exists(known.filter(this)), partner_matched=Exists(known.filter(partner))
    )
    begun, found = statements_begin(bank_account), _Between([], [], [])
    for posting in waiting:
        if not (posting.matched or posting.partner_matched) and _was_undone(posting, known_at):
            found.undone_later.append(posting)
        elif posting.matched or not (posting.opens or begun is None or posting.entry.date < begun):
            found.on_the_way.append(posting)
        elif posting.opens:
            found.opened.append(posting)
    return found


def _postings(bank_account: BankAccount) -> QuerySet[Any, Any]:
    rows = Posting.objects.filter(account=bank_account.account_id, entry__sealed=True)
    return rows.select_related("entry", "entry__reversed_by").order_by("entry__date", "pk")


def _recorded_later(bank_account: BankAccount, until: date) -> QuerySet[Any, Any]:
    """Entries after the day of what the bank showed by then."""
    shown = _shown_by(bank_account, until).filter(posting=OuterRef("pk"))
    return _postings(bank_account).filter(Exists(shown), entry__date__gt=until)


def _was_undone(posting: Posting, known_at: datetime | None) -> bool:
    """Whether the entry was reversed after the day: a reversal by the day is taken with it, unless one was shown."""
    reversal = getattr(posting.entry, "reversed_by", None)
    return reversal is not None and (known_at is None or reversal.posted_at <= known_at)


def _waiting(posting: Posting) -> Item:
    return Item(posting.entry.date, posting.amount, posting.entry.narration)


def _recorded(posting: Posting) -> Item:
    entry = posting.entry
    said = f"{entry.narration}: in the bank, recorded on {day_text(entry.date)} by entry {entry.number}"
    return Item(entry.date, posting.amount, said)


def _undone(posting: Posting) -> Item:
    entry, reversal = posting.entry, posting.entry.reversed_by
    said = f"{entry.narration}: undone on {day_text(reversal.date)} by entry {reversal.number}"
    return Item(reversal.date, -posting.amount, said)


def _shown_in_part(bank_account: BankAccount, until: date) -> Iterator[Item]:
    """Lines after the day of what the bank showed in more than one, the first of them by then."""
    begun = ClearedLine.objects.filter(stands=True, clearing=OuterRef("clearing"), line__date__lte=until)
    rest = ClearedLine.objects.filter(
        Exists(begun), stands=True, line__bank_account=bank_account, line__date__gt=until
    ).select_related("line")
    for each in rest.order_by("line__date", "pk"):
        yield Item(each.line.date, each.line.amount, f"The rest, shown on {day_text(each.line.date)}: {each.line.text}")


def stated_balance(bank_account: BankAccount, until: date) -> Money | None:
    """What the bank says the account held at the end of the day, where a line or a file says so."""
    line = bank_account.lines.filter(date__lte=until).exclude(balance=None).order_by("date", "pk").last()
    file = bank_account.imports.filter(last_day__lte=until).exclude(closing=None).order_by("last_day", "pk").last()
    stated: Money | None = file.closing if file else None
    if line and (file is None or line.date >= file.last_day):
        stated = line.balance
    return stated
