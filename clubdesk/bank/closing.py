"""What a year needs of this room before it is closed."""

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from clubdesk.bank.models import BankAccount, StatementLine
from clubdesk.bank.reconciling import last_signed
from clubdesk.bank.selectors import UNEXPLAINED
from clubdesk.ledger.models import Account, FinancialYear, Posting, Role
from clubdesk.ledger.selectors import balances
from clubdesk.rooms import Check, Item

STATEMENTS = "Every account of money has statements"
RECONCILED = "Every month of the bank is reconciled"
EXPLAINED = "Every bank line is explained"
MOST_NAMED = 3


def money_is_at_a_bank(year: FinancialYear) -> Item:
    """Money that is neither in the till nor at the card reader is proven by statements."""
    unproven = _held_in(year).exclude(role__in=(Role.TILL, Role.CARD_TAKINGS)).filter(bank_account=None)
    named = [str(account) for account in unproven]
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    said = (
        f"Nothing proves {', '.join(named[:MOST_NAMED])}{more};"
        " set it up as a bank account and bring in its statements."
        if named
        else "Every account of money has statements."
    )
    return Item(STATEMENTS, not named, said, reverse("admin:bank_bankaccount_add"), "bank.add_bankaccount")


def months_reconciled(year: FinancialYear) -> Item:
    """Each bank account that moved in the year, or held money in it, is signed off to its last month."""
    behind = []
    for bank in BankAccount.objects.filter(account__in=_held_in(year)).select_related("account"):
        signed = last_signed(bank)
        if signed is None or signed.month_end < year.last_day:
            to = f"signed off to {signed.month_end:%B %Y}" if signed else "nothing signed off yet"
            behind.append(f"{bank}: {to}")
    said = "; ".join(behind) if behind else f"Signed off to {year.last_day:%B %Y}."
    return Item(RECONCILED, not behind, said, reverse("admin:reconcile_month"), "bank.add_reconciliation")


def lines_explained(year: FinancialYear) -> Item:
    count = StatementLine.objects.filter(UNEXPLAINED, date__lte=year.last_day).count()
    said = f"{count} lines of the bank are not explained." if count else "Every line is explained."
    return Item(EXPLAINED, not count, said, reverse("admin:explain_lines"), "bank.change_statementline")


def _held_in(year: FinancialYear) -> QuerySet[Account]:
    """Accounts of money that moved in the year, or held some all through it, and so when it ended."""
    moved = Posting.objects.filter(account=OuterRef("pk"), entry__year=year, entry__is_closing=False)
    ended = balances(year.last_day, ["account_id"], account__is_money=True).after_closing
    with_money = {pk for (pk,), figure in ended.items() if figure}
    return Account.objects.filter(Exists(moved) | Q(pk__in=with_money), is_money=True)


CHECKS = (
    Check(STATEMENTS, "bank.add_bankaccount", money_is_at_a_bank),
    Check(RECONCILED, "bank.add_reconciliation", months_reconciled),
    Check(EXPLAINED, "bank.change_statementline", lines_explained),
)
