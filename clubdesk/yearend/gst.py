"""The GST returns of a registered club: what falls in one, on either basis of the Act. Questions only.

The tax was posted with each fee and bill. A return holds whatever was posted, or on the cash basis paid, by its last
day and is in no earlier return; so what was dated late falls in the next one, and nothing in none or in two. Source: A
New Tax System (Goods and Services Tax) Act 1999 (Cth), s 29-5 and s 29-10: on accruals the earlier of invoice and first
payment, and a fee is invoiced as it is charged; on the cash basis as far as it was paid. What is a taxable supply is
for the law and a registered tax agent to say; the club sets a code on each fee and account.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import F, Q, QuerySet
from djmoney.money import Money

from clubdesk.expenses.models import Expense
from clubdesk.fees.models import Allocation, Charge, ChargeCredit, FeeItem, Voucher, WriteOff
from clubdesk.fees.selectors import SumPer
from clubdesk.ledger.models import Account, FundRole, Journal, JournalEntry, JournalOrigin, Posting, Role, TaxBasis
from clubdesk.ledger.selectors import BY_HAND, ZERO, source_type
from clubdesk.money import as_amount, half_up, in_all, sum_of
from clubdesk.rangeday.models import SignOn

ByFund = Mapping[str, Decimal]
_RETURNS = Journal.objects.filter(origin=JournalOrigin.GST).values("pk")
OF_RETURNS = BY_HAND & (Q(entry__source_id__in=_RETURNS) | Q(entry__reverses__source_id__in=_RETURNS))
"""What returns themselves put into the tax accounts, and reversals of them."""


@dataclass(frozen=True)
class GstFigures:
    """What falls in a return of the days from `first` to `last`, by fund; a refund of tax is below nil."""

    first: date
    last: date
    collected_by_fund: ByFund
    credits_by_fund: ByFund

    @property
    def collected(self) -> Money:
        return as_amount(sum(self.collected_by_fund.values(), ZERO))

    @property
    def credits(self) -> Money:
        return as_amount(sum(self.credits_by_fund.values(), ZERO))

    @property
    def payable(self) -> Money:
        return self.collected - self.credits


def figures(first: date, last: date, basis: TaxBasis) -> GstFigures:
    """The return of these days on that basis, with whatever of before is in no return yet."""
    collected = {fund: -figure for fund, figure in _not_returned(Role.GST_COLLECTED, last).items()}
    credits = _not_returned(Role.GST_PAID, last)
    if basis == TaxBasis.CASH:
        collected = _less(collected, {FundRole.GENERAL.value: unpaid_sales(last)})
        credits = _less(credits, unpaid_bills(last))
    return GstFigures(first, last, collected, credits)


def _not_returned(role: Role, last: date) -> dict[str, Decimal]:
    """What was posted to the account by that day and is in no return, by fund; debit positive."""
    rows = Posting.objects.filter(Q(entry__date__lte=last) & ~OF_RETURNS | OF_RETURNS, account__role=role)
    return dict(rows.order_by().values_list("fund").annotate(figure=sum_of("amount")))


def _less(figures: ByFund, others: ByFund) -> dict[str, Decimal]:
    return {fund: figures.get(fund, ZERO) - others.get(fund, ZERO) for fund in figures.keys() | others.keys()}


def unpaid_sales(on: date) -> Decimal:
    """The GST in what was not paid of fees by that day; where a part was paid, that part's is rounded (s 9-90)."""
    day = f"'{on.isoformat()}'"
    stands = f"(cancelled_on IS NULL OR cancelled_on > {day})"
    paid_by = f"state = 'paid' AND lodgement_id IN (SELECT id FROM fees_lodgement WHERE paid_on <= {day})"
    parts: dict[str, SumPer] = {}
    for column in ("amount", "tax"):
        parts[f"credited_{column}"] = SumPer(ChargeCredit, "charge", f"credited_on <= {day} AND {stands}", column)
        parts[f"lost_{column}"] = SumPer(WriteOff, "charge", f"written_off_on <= {day} AND {stands}", column)
    rows: QuerySet[Any, Any] = Charge.objects.filter(tax__gt=0, charged_on__lte=on).annotate(
        **parts,
        paid=SumPer(Allocation, "charge", f"used_on <= {day} AND (freed_on IS NULL OR freed_on > {day})"),
        claimed=SumPer(Voucher, "charge", paid_by),
    )
    rows = rows.annotate(
        due=F("amount") - F("credited_amount") - F("lost_amount"),
        taxed=F("tax") - F("credited_tax") - F("lost_tax"),
        unpaid=F("amount") - F("credited_amount") - F("lost_amount") - F("paid") - F("claimed"),
    )
    open_ones = rows.filter(unpaid__gt=0).order_by("pk").values_list("taxed", "unpaid", "due")
    return sum(
        (taxed - half_up(taxed * (due - unpaid) / due) for taxed, unpaid, due in open_ones.iterator(chunk_size=2000)),
        ZERO,
    )


def unpaid_bills(on: date) -> dict[str, Decimal]:
    """The GST in bills that were posted and not paid by that day, by fund."""
    rows = _bills(date.min, on).filter(Q(paid_on=None) | Q(paid_on__gt=on))
    return dict(rows.values_list("fund").annotate(figure=sum_of("tax")))


def _bills(first: date, last: date) -> QuerySet[Expense]:
    """Volunteers' expenses posted in the span, in no order."""
    entries = JournalEntry.objects.filter(
        source_type=source_type(Expense), purpose="approve", date__range=(first, last)
    )
    return Expense.objects.filter(pk__in=entries.values("source_id")).order_by()


Parts = dict[Any, tuple[Decimal, Decimal]]
"""By a fee or an account: an amount, and the GST in it; what went back is below nil."""


def sales(first: date, last: date) -> dict[FeeItem, tuple[Decimal, Decimal]]:
    """What was charged or paid at the range in the span, less what was credited, by fee."""
    span = (first, last)
    at_range = SignOn.objects.filter(charge=None, price__isnull=False)
    credits = ChargeCredit.objects.filter(charge__price__isnull=False)
    sums: Parts = defaultdict(lambda: (ZERO, ZERO))
    for rows, item, sign in (
        (Charge.objects.filter(charged_on__range=span, price__isnull=False), "price__item", 1),
        (credits.filter(credited_on__range=span), "charge__price__item", -1),
        (credits.filter(cancelled_on__range=span), "charge__price__item", 1),
        (at_range.filter(range_day__date__range=span, cancelled_on=None), "price__item", 1),
    ):
        found: QuerySet[Any, Any] = rows.order_by().values_list(item)
        for pk, amount, tax in found.annotate(whole=sum_of("amount"), part=sum_of("tax")):
            sums[pk] = (sums[pk][0] + sign * amount, sums[pk][1] + sign * tax)
    items = FeeItem.objects.filter(pk__in=sums)
    return {item: sums[item.pk] for item in items}


def bills(first: date, last: date) -> dict[Account, tuple[Decimal, Decimal]]:
    """Volunteers' expenses posted in the span, by account."""
    rows: QuerySet[Any, Any] = _bills(first, last).values_list("account")
    sums = {pk: (amount, tax) for pk, amount, tax in rows.annotate(whole=sum_of("amount"), part=sum_of("tax"))}
    return {account: sums[account.pk] for account in Account.objects.filter(pk__in=sums)}


def posted(role: Role, first: date, last: date) -> Decimal:
    """What the span put into a tax account beside returns; debit positive."""
    rows = Posting.objects.filter(account__role=role, entry__date__range=(first, last)).exclude(OF_RETURNS)
    return in_all(rows)
