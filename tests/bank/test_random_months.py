"""Random months at the bank: whatever came late, in parts or was undone, both sides agree at every month end."""

import random
from datetime import date, timedelta

import pytest
from django.utils import timezone

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.bank.outstanding import Stood, stood_at
from clubdesk.bank.reconciling import reconcile
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Posting
from clubdesk.ledger.selectors import month_ends
from clubdesk.money import as_amount, total
from tests.bank.begun import FIRST, begin, booked, line

pytestmark = pytest.mark.django_db
ENDS = month_ends(FIRST, date(2026, 12, 31))
LATER = date(2027, 1, 9)


def some_day(chance, since=FIRST):
    return since + timedelta(days=chance.randrange((ENDS[-1] - since).days + 1))


class Months:
    """Entries, lines and what is said to be the same money, at random days of half a year."""

    def __init__(self, seed, by):
        self.chance, self.by = random.Random(seed), by

    def amount(self):
        return f"{self.chance.choice((-1, 1)) * self.chance.randint(1, 99_999) / 100:.2f}"

    def entry(self, amount=None):
        return booked(self.by, amount or self.amount(), "Entry", some_day(self.chance))

    def undo(self, posting):
        day = some_day(self.chance, since=posting.entry.date)
        reversal = ledger.reverse(entry=posting.entry, on=day, reason="wrong", by=self.by)
        return reversal.postings.get(account=posting.account_id)

    def alone(self):
        if self.chance.random() < 0.5:
            return self.entry()
        return line(self.by, self.amount(), "NOBODY KNOWS", some_day(self.chance))

    def matched(self):
        parts = [self.entry() for _ in range(self.chance.choice((1, 1, 2)))]
        whole = total(each.amount for each in parts)
        first = as_amount(self.amount())
        amounts = self.chance.choice(([whole], [whole], [first, whole - first]))
        if not all(amount.amount for amount in amounts):
            return parts[0]
        account = BankAccount.objects.get()
        lines = [
            bank.record_statement_line(
                bank_account=account, on=some_day(self.chance), amount=amount, text="MATCHED", by=self.by
            )
            for amount in amounts
        ]
        bank.clear(lines=lines, postings=parts, reasons="random", by=self.by)
        return parts[0]

    def undone(self):
        """Wrong from the start, or shown by the bank and then returned."""
        if self.chance.random() < 0.5:
            return self.undo(self.entry())
        shown = self.matched()
        back = self.undo(shown)
        if self.chance.random() < 0.5:
            line(self.by, str(back.amount.amount), "RETURNED", some_day(self.chance), back)
        return back


@pytest.mark.parametrize("seed", range(6))
def test_both_sides_agree_at_each_month_end_and_as_check_books_reckons_them(book, by, seed):
    with clock.on(LATER):
        begin(by)
        months = Months(seed, by)
        for act in months.chance.choices((months.alone, months.matched, months.undone), weights=(2, 5, 3), k=40):
            act()
        account = BankAccount.objects.get()
        stood = stood_at(account, ENDS, [timezone.now()] * len(ENDS))
        for end, reckoned in zip(ENDS, stood, strict=True):
            lines = total(each.amount for each in account.lines.filter(date__lte=end))
            found = reconcile(account, end, as_amount("4213.77") + lines)
            assert found.difference == as_amount(0), end
            assert reckoned == Stood(
                found.deposits_not_credited, found.payments_not_presented, found.book_balance, found.adjustments
            ), end
    assert Posting.objects.count() > 80
