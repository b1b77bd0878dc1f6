"""The GST of a period, where the club is registered: what was in its sales and in its bills. Questions only.

A fee counts on the day it is charged, a fee paid at the range on its day, what is taken back on the day it is taken
back (accruals). Each amount is rounded by itself. Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth),
one eleventh of the price; s 9-90, half a cent up. What is a taxable supply, and how much of a fee is collected for an
association, is for the law and a registered tax agent to say; the club sets a code on each fee and expense account.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet
from djmoney.money import Money

from clubdesk.fees.models import Charge, ChargeCredit, FeeItem
from clubdesk.ledger.models import Account, Fund, Journal, JournalOrigin, Kind, Posting, TaxCode
from clubdesk.ledger.selectors import BY_HAND
from clubdesk.money import gst_in, nil, total
from clubdesk.rangeday.models import SignOn

CODED = (TaxCode.TAXABLE, TaxCode.FREE)


@dataclass
class GstFigures:
    """Sales by fee and bills by account and fund: their amounts and the GST in them."""

    first: date
    last: date
    sales: dict[FeeItem, Money] = field(default_factory=lambda: defaultdict(nil))
    in_sales: dict[FeeItem, Money] = field(default_factory=lambda: defaultdict(nil))
    bills: dict[tuple[Account, Fund], Money] = field(default_factory=lambda: defaultdict(nil))
    in_bills: dict[tuple[Account, Fund], Money] = field(default_factory=lambda: defaultdict(nil))

    @property
    def collected(self) -> Money:
        return total(self.in_sales.values())

    @property
    def credits(self) -> Money:
        return total(self.in_bills.values())

    @property
    def payable(self) -> Money:
        return self.collected - self.credits

    @property
    def by_income(self) -> dict[Account, Money]:
        """The GST in sales by the account they are income of."""
        found: dict[Account, Money] = defaultdict(nil)
        for item, amount in self.in_sales.items():
            found[item.income_account] += amount
        return dict(found)


def is_registered() -> bool:
    return settings.CLUB_GST_FROM is not None


def figures(first: date, last: date) -> GstFigures:
    """The GST of the days from `first` to `last` on which the club is registered."""
    since: date | None = settings.CLUB_GST_FROM
    found = GstFigures(first, last)
    if since is None or since > last:
        return found
    items = {item.pk: item for item in FeeItem.objects.filter(tax_code__in=CODED).select_related("income_account")}
    for pk, amount in _sales(max(first, since), last):
        if item := items.get(pk):
            found.sales[item] += amount
            if item.tax_code == TaxCode.TAXABLE:
                found.in_sales[item] += gst_in(amount)
    _add_bills(found, max(first, since), last)
    return found


def _sales(first: date, last: date) -> Iterator[tuple[int, Money]]:
    """Each fee of the span by its item's id; what was taken back is below nil."""
    span = (first, last)
    at_range = SignOn.objects.filter(charge=None, price__isnull=False).exclude(amount=0)
    for rows, item, sign in (
        (Charge.objects.filter(charged_on__range=span, price__isnull=False), "price__item", 1),
        (ChargeCredit.objects.filter(credited_on__range=span, charge__price__isnull=False), "charge__price__item", -1),
        (at_range.filter(range_day__date__range=span), "price__item", 1),
        (at_range.filter(cancelled_on__range=span), "price__item", -1),
    ):
        values: QuerySet[Any, Any] = rows.order_by("pk").values_list(item, "amount")
        for pk, amount in values.iterator(chunk_size=5000):
            yield pk, sign * amount


def _add_bills(found: GstFigures, first: date, last: date) -> None:
    accounts = {each.pk: each for each in Account.objects.filter(kind=Kind.EXPENSE, tax_code__in=CODED)}
    funds = {fund.pk: fund for fund in Fund.objects.all()}
    ours = Journal.objects.filter(origin=JournalOrigin.GST).values("pk")
    own = BY_HAND & (Q(entry__source_id__in=ours) | Q(entry__reverses__source_id__in=ours))
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        account__in=accounts, entry__date__range=(first, last), entry__is_closing=False
    )
    rows = rows.exclude(own).order_by("pk").values_list("account", "fund", "amount")
    for account, fund, amount in rows.iterator(chunk_size=5000):
        key = (accounts[account], funds[fund])
        found.bills[key] += amount
        if accounts[account].tax_code == TaxCode.TAXABLE:
            found.in_bills[key] += gst_in(amount)
