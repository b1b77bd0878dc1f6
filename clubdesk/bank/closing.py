"""What a year needs of this room before it is closed."""

from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from clubdesk.bank.models import BankAccount
from clubdesk.bank.months import missing_of_banks, missing_of_counts, named
from clubdesk.bank.selectors import UNEXPLAINED, lines_of_the_book
from clubdesk.ledger.closing import listed
from clubdesk.ledger.models import Account, FinancialYear, Posting, Role
from clubdesk.ledger.selectors import balances
from clubdesk.rooms import BeforeLock, Check, Item

STATEMENTS = "Every account of money has statements"
RECONCILED = "Every month of the bank is reconciled"
COUNTED = "Every month of the cash box and the card takings is counted"
EXPLAINED = "Every bank line is matched"
MOST_NAMED = 3
COUNTED_ROLES = (Role.TILL, Role.CARD_TAKINGS)


def money_is_at_a_bank(year: FinancialYear) -> Item:
    """Money that is neither in the till nor at the card reader is proven by statements."""
    unproven = _held_in(year).exclude(role__in=COUNTED_ROLES).filter(bank_account=None)
    said = (
        f"Nothing proves {listed(unproven, MOST_NAMED)}; set it up as a bank account and import its statements."
        if unproven
        else "Every account of money has statements."
    )
    return Item(STATEMENTS, not unproven, said, reverse("admin:bank_bankaccount_add"), "bank.add_bankaccount")


def months_reconciled(year: FinancialYear) -> Item:
    """Each month end of the year is signed off for itself, on each bank account that moved or held money then."""
    banks = BankAccount.objects.filter(account__in=_held_in(year)).select_related("account")
    behind = missing_of_banks(banks, year.first_day, year.last_day)
    whole = f"Each is signed off, to {year.last_day:%B %Y}." if banks else "No money was at a bank in this year."
    said = "; ".join(behind) or whole
    return Item(RECONCILED, not behind, said, reverse("admin:reconcile_month"), "bank.add_reconciliation")


def months_counted(year: FinancialYear) -> Item:
    """What is in the till and on the card reader is proven by the counts of its days, month by month."""
    behind = missing_of_counts(Account.objects.filter(role__in=COUNTED_ROLES), year.first_day, year.last_day)
    said = "; ".join(behind) if behind else "Each day was counted, and none held less than nothing at a month’s end."
    return Item(COUNTED, not behind, said, reverse("admin:money_streams"), "bank.view_statementline")


def lines_explained(year: FinancialYear) -> Item:
    rows = (lines_of_the_book(each) for each in BankAccount.objects.all())
    count = sum(each.filter(UNEXPLAINED, date__lte=year.last_day).count() for each in rows)
    said = f"{count} lines of the bank are not matched." if count else "Every line is matched."
    return Item(EXPLAINED, not count, said, reverse("admin:explain_lines"), "bank.change_statementline")


def not_signed_off(first: date, last: date) -> list[str]:
    return missing_of_banks(BankAccount.objects.select_related("account"), first, last)


def not_counted(first: date, last: date) -> list[str]:
    return missing_of_counts(Account.objects.filter(role__in=COUNTED_ROLES), first, last)


def stay_signed(first: date, last: date) -> list[str]:
    """What becomes of the months that are signed off where they are unlocked: they hold until they are opened again."""
    found = []
    for bank in BankAccount.objects.all():
        standing = bank.reconciliations.filter(reopened_on=None, month_end__range=(first, last))
        if ends := sorted(standing.values_list("month_end", flat=True)):
            found.append(
                f"{bank}: {named(ends)} stays signed off, and no entry of that account can be dated there. To post one,"
                " open the sign-off again, the last month first; then reconcile the month and sign it off anew"
            )
    return found


def _held_in(year: FinancialYear) -> QuerySet[Account]:
    """Accounts of money that moved in the year, or held some all through it, and so when it ended."""
    moved = Posting.objects.filter(account=OuterRef("pk"), entry__year=year, entry__is_closing=False)
    ended = balances(year.last_day, ["account_id"], account__is_money=True).after_closing
    with_money = {pk for (pk,), figure in ended.items() if figure}
    return Account.objects.filter(Exists(moved) | Q(pk__in=with_money), is_money=True)


CHECKS = (
    Check(STATEMENTS, "bank.add_bankaccount", money_is_at_a_bank),
    Check(RECONCILED, "bank.add_reconciliation", months_reconciled),
    Check(COUNTED, "bank.view_statementline", months_counted),
    Check(EXPLAINED, "bank.change_statementline", lines_explained),
)
BEFORE_LOCK = (
    BeforeLock(
        not_signed_off,
        "What the bank shows of a locked month and the book lacks can only be recorded in a later one. The month can"
        " still be reconciled: what was recorded later stands there as such.",
        stay_signed,
    ),
    BeforeLock(not_counted, "What is counted later is dated after the lock, and counts for that month."),
)
