"""GST that should have been posted and was not: fees of a book that had charges before the club registered in it, and
what was written by hand or otherwise on an account whose code says that GST is in it. Questions only.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from djmoney.money import Money

from clubdesk.expenses.models import Expense
from clubdesk.fees import posting as fees
from clubdesk.fees.models import Charge, ChargeCredit, ChargeShare, WriteOff
from clubdesk.fees.selectors import NOT_CANCELLED, SumPer, charges_with_open
from clubdesk.ledger.models import (
    TAX_ROLES,
    Account,
    Book,
    Fund,
    Journal,
    JournalEntry,
    JournalOrigin,
    Kind,
    Posting,
    Role,
    TaxCode,
)
from clubdesk.ledger.posting import Line, credit, debit, difference, merged
from clubdesk.ledger.selectors import source_type
from clubdesk.money import as_amount, gst_in, sum_of, total
from clubdesk.rangeday.models import SignOn
from clubdesk.yearend.models import FoundTax, FoundTaxLine

OWN_RULES = tuple(map(source_type, (Charge, ChargeCredit, WriteOff, SignOn, Expense, FoundTax)))
"""Documents whose GST follows from a fee or from what a bill says, and from no account's code."""
WRITTEN = (JournalOrigin.HAND, JournalOrigin.FILE)
IN_BY_CODE = Q(account__tax_code=TaxCode.TAXABLE) & (
    Q(account__kind=Kind.INCOME)
    | (Q(account__kind=Kind.EXPENSE) | Q(account__role=Role.EQUIPMENT)) & Q(fund__restricted=False)
)
"""Lines with GST in them; a restricted fund holds no credit that is still to come back."""


@dataclass(frozen=True)
class Untaxed:
    """A line of an entry with GST in it that was not posted; `tax` has the sign of the line, debit positive."""

    entry: JournalEntry
    account: Account
    fund: Fund
    tax: Money

    @property
    def lines(self) -> list[Line]:
        """The GST leaves the account; of a debt written off it comes off what was collected, as it does of income."""
        is_sale = self.account.kind == Kind.INCOME or self.account.role == Role.WRITTEN_OFF
        role = Role.GST_COLLECTED if is_sale else Role.GST_PAID
        return [credit(self.account, self.tax, fund=self.fund), debit(role, self.tax, fund=self.fund)]


@dataclass
class Found:
    """What should have been posted by a day: fees with what was credited of them, and lines of other entries."""

    charges: list[Any] = field(default_factory=list)
    by_code: list[Untaxed] = field(default_factory=list)
    others: list[Untaxed] = field(default_factory=list)

    def lines(self) -> list[Untaxed]:
        return [*self.by_code, *self.others]

    @cached_property
    def postings(self) -> list[Line]:
        """The lines of the one entry that puts it right."""
        of_fees = [line for charge in self.charges for line in _put_right(charge)]
        return merged([*of_fees, *(line for each in self.lines() for line in each.lines)])

    @property
    def collected(self) -> Money:
        return -total(line.amount for line in self.postings if line.account == Role.GST_COLLECTED)

    @property
    def credits(self) -> Money:
        return total(line.amount for line in self.postings if line.account == Role.GST_PAID)


def _put_right(charge: Any) -> list[Line]:
    """What is left of a fee was posted whole; its GST leaves Fees in advance, or the income that it is."""
    left, shares = charge.amount - as_amount(charge.credited), list(charge.shares.all())
    if charge.waits and charge.recognised_on is None:
        return difference(*(fees.advance_lines(left, shares, taxed=taxed) for taxed in (False, True)))
    return difference(*(fees.income_lines(left, charge.income, shares, taxed=taxed) for taxed in (False, True)))


def find(until: date, without: frozenset[int] = frozenset()) -> Found:
    """What happened by that day since the club registered and lacks its GST; entries `without` any are left out."""
    since = Book.objects.values_list("gst_from", flat=True).first()
    if since is None or since > until:
        return Found()
    charges, entries = _charges(since, until), _entries(since, until).exclude(pk__in=without)
    rows = [*_at_the_range(entries), *_bad_debts(entries, {charge.pk for charge in charges}), *_undone(since, until)]
    return Found(charges, list(_by_code(entries)), rows)


def _charges(since: date, until: date) -> list[Any]:
    rows = charges_with_open().filter(tax=0, charged_on__range=(since, until), price__item__tax_code=TaxCode.TAXABLE)
    shares = Prefetch("shares", ChargeShare.objects.select_related("account", "party"))
    rows = rows.select_related("price__item__income_account").prefetch_related(shares).order_by("pk")
    return [charge for charge in rows if fees.tax_in(charge.amount, list(charge.shares.all())).amount > 0]


def _entries(since: date, until: date) -> QuerySet[JournalEntry]:
    """Entries that stand, post no GST and were not looked through before."""
    own = Posting.objects.filter(entry=OuterRef("pk"))
    looked_through = FoundTaxLine.objects.filter(entry=OuterRef("pk"))
    rows = JournalEntry.objects.filter(
        date__range=(since, until), sealed=True, is_closing=False, reverses=None, reversed_by=None
    )
    return rows.exclude(Exists(own.filter(account__role__in=TAX_ROLES))).exclude(Exists(looked_through))


def _sums(entries: QuerySet[JournalEntry], which: Q) -> Iterator[tuple[JournalEntry, Account, Fund, Money]]:
    """What such lines of the entries come to, by entry, account and fund."""
    rows: QuerySet[Any, Any] = Posting.objects.filter(which, entry__in=entries).order_by("entry", "account", "fund")
    found = list(rows.values_list("entry", "account", "fund").annotate(figure=sum_of("amount")))
    by_pk = JournalEntry.objects.in_bulk({row[0] for row in found})
    accounts, funds = Account.objects.in_bulk({row[1] for row in found}), Fund.objects.in_bulk({r[2] for r in found})
    for entry, account, fund, figure in found:
        yield by_pk[entry], accounts[account], funds[fund], as_amount(figure)


def _by_code(entries: QuerySet[JournalEntry]) -> Iterator[Untaxed]:
    written = Journal.objects.filter(origin__in=WRITTEN)
    journal = source_type(Journal)
    others = entries.exclude(source_type__in=OWN_RULES).exclude(
        Q(source_type=journal) & ~Q(source_id__in=written.values("pk"))
    )
    for entry, account, fund, figure in _sums(others, IN_BY_CODE):
        yield Untaxed(entry, account, fund, gst_in(figure))


def _at_the_range(entries: QuerySet[JournalEntry]) -> Iterator[Untaxed]:
    paid = SignOn.objects.filter(tax=0, price__item__tax_code=TaxCode.TAXABLE).values("pk")
    signed = entries.filter(source_type=source_type(SignOn), source_id__in=paid)
    for entry, account, fund, figure in _sums(signed, Q(account__kind=Kind.INCOME)):
        yield Untaxed(entry, account, fund, gst_in(figure))


def _bad_debts(entries: QuerySet[JournalEntry], charges: set[int]) -> Iterator[Untaxed]:
    """Written off while the fee was posted without its GST."""
    rows = WriteOff.objects.filter(Q(charge__tax__gt=0) | Q(charge__in=charges), tax=0)
    documents = {row.pk: row for row in rows.select_related("charge")}
    credited = dict(
        Charge.objects.filter(write_offs__in=documents)
        .annotate(credited=SumPer(ChargeCredit, "charge", NOT_CANCELLED))
        .values_list("pk", "credited")
    )
    lost = entries.filter(source_type=source_type(WriteOff), source_id__in=documents)
    for entry, account, fund, figure in _sums(lost, Q(account__role=Role.WRITTEN_OFF)):
        charge = documents[entry.source_id].charge
        left = charge.amount - as_amount(credited[charge.pk])
        yield Untaxed(entry, account, fund, fees.tax_written_off(figure, left, list(charge.shares.all())))


def _undone(since: date, until: date) -> Iterator[Untaxed]:
    """Reversals of what was found before: they undo what the entry posted and not what was found in it."""
    looked_through = FoundTaxLine.objects.filter(entry=OuterRef("entry__reversed_by"))
    rows = FoundTaxLine.objects.exclude(tax=0).filter(entry__reversed_by__date__range=(since, until))
    for line in rows.exclude(Exists(looked_through)).select_related("entry__reversed_by", "account", "fund"):
        yield Untaxed(line.entry.reversed_by, line.account, line.fund, -line.tax)
