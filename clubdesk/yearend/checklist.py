"""What must be done before a year is closed. Each item checks itself and leads to the page that puts it right."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q
from django.urls import reverse

from clubdesk.bank.models import BankAccount, StatementLine
from clubdesk.bank.reconciling import last_signed
from clubdesk.bank.selectors import UNEXPLAINED
from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.fees.models import Voucher, VoucherState
from clubdesk.fees.selectors import charges_to_recognise
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Posting, Role
from clubdesk.ledger.selectors import balance, balances, journals_to_reverse
from clubdesk.money import nil, shown
from clubdesk.rangeday.models import RangeDay, Tap
from clubdesk.screens import page_of
from clubdesk.yearend import selectors


@dataclass(frozen=True)
class Item:
    """One thing of the checklist: whether it is done, what is found, and where it is put right."""

    title: str
    done: bool
    said: str
    url: str = ""


Check = Callable[[FinancialYear], Item]


def of_year(year: FinancialYear, *, with_books: bool = False) -> list[Item]:
    """Every item of the year; `with_books` runs check_books too, which takes a while."""
    items = [check(year) for check in CHECKS]
    return [*items, books_are_clean(year)] if with_books else items


def _listed(things: Iterable[object], most: int = 3) -> str:
    named = [str(thing) for thing in things]
    more = f" and {len(named) - most} more" if len(named) > most else ""
    return ", ".join(named[:most]) + more


def _list_url(model: str, query: str = "") -> str:
    return reverse(f"admin:{model}_changelist") + (f"?{query}" if query else "")


def months_reconciled(year: FinancialYear) -> Item:
    """Each bank account that moved in the year is signed off to its last month."""
    title, url = "Every month of the bank is reconciled", reverse("admin:reconcile_month")
    behind = []
    for bank in BankAccount.objects.select_related("account"):
        if not Posting.objects.filter(account=bank.account, entry__year=year, entry__is_closing=False).exists():
            continue
        signed = last_signed(bank)
        if signed is None or signed.month_end < year.last_day:
            to = f"signed off to {signed.month_end:%B %Y}" if signed else "nothing signed off yet"
            behind.append(f"{bank}: {to}")
    said = "; ".join(behind) if behind else f"Signed off to {year.last_day:%B %Y}."
    return Item(title, not behind, said, url)


def range_days_closed(year: FinancialYear) -> Item:
    days = RangeDay.objects.filter(
        date__range=(year.first_day, year.last_day), closed_on=None, called_off_on=None
    ).order_by("date")
    said = f"Not counted: {_listed(days)}." if days else "Every day was counted or called off."
    return Item("Every range day is closed", not days, said, _list_url("rangeday_rangeday", "standing=uncounted"))


def phones_answered(year: FinancialYear) -> Item:
    asked = Tap.objects.filter(state="question", range_day__date__lte=year.last_day).count()
    said = f"{asked} still to be answered." if asked else "None is open."
    return Item(
        "Questions from phones are answered", not asked, said, _list_url("rangeday_tap", "state__exact=question")
    )


def vouchers_settled_or_carried(year: FinancialYear) -> Item:
    """One that was accepted is lodged or given back; what is lodged and unpaid is carried into the next year."""
    accepted = Q(accepted_on__lte=year.last_day)
    waiting = Voucher.objects.filter(accepted, state=VoucherState.ACCEPTED).count()
    owed = balance(Role.VOUCHERS_OWED, year.last_day)
    said = (
        f"{waiting} accepted and never lodged; lodge them, or say that they are not claimed."
        if waiting
        else f"{shown(owed)} is carried into the next year."
    )
    url = _list_url("fees_voucher", "state__exact=accepted")
    return Item("Vouchers are settled or carried", not waiting, said, url)


def started_fees_are_income(year: FinancialYear) -> Item:
    due = charges_to_recognise(year.last_day).count()
    said = (
        f"{due} fees of what has started still wait in Fees in advance." if due else "Nothing waits that has started."
    )
    url = reverse("admin:ledger_financialyear_recognise", args=[year.pk])
    return Item("Cohorts and memberships that started are income", not due, said, url)


def claims_decided(year: FinancialYear) -> Item:
    open_ones = EntryClaim.objects.filter(
        claimed_on__lte=year.last_day, state__in=(ClaimState.RECORDED, ClaimState.ASKED)
    ).count()
    said = f"{open_ones} wait for a decision." if open_ones else "All are decided."
    return Item("Entry claims are decided", not open_ones, said, reverse("admin:claim_queue"))


def expenses_decided(year: FinancialYear) -> Item:
    open_ones = Expense.objects.filter(spent_on__lte=year.last_day, state=ExpenseState.RECORDED).count()
    said = f"{open_ones} wait for a decision." if open_ones else "All are decided."
    return Item("Volunteers’ expenses are decided", not open_ones, said, _list_url("expenses_expense"))


def bank_lines_explained(year: FinancialYear) -> Item:
    lines = StatementLine.objects.filter(UNEXPLAINED, date__lte=year.last_day)
    count = lines.count()
    said = f"{count} lines of the bank are not explained." if count else "Every line is explained."
    return Item("Every bank line is explained", not count, said, reverse("admin:explain_lines"))


def suspense_is_nil(year: FinancialYear) -> Item:
    title, parked = "Nothing stands in suspense", Account.objects.filter(role=Role.SUSPENSE).first()
    if parked is None:
        return Item(title, True, "The chart has no account for it.")
    found = balances(year.last_day, ["fund__name"], account=parked).after_closing
    left = [f"{shown(figure)} in the {fund}" for (fund,), figure in found.items() if figure]
    said = f"{parked} holds {', '.join(left)}; write a journal to where it belongs." if left else f"{parked} is nil."
    return Item(title, not left, said, reverse("admin:ledger_journal_add"))


def equipment_depreciated(year: FinancialYear) -> Item:
    behind = [
        thing
        for thing in selectors.in_register(year.last_day).filter(disposed_on=None)
        if selectors.to_depreciate(thing, year.last_day) > nil()
    ]
    said = f"Not up to {year.last_day:%-d %b %Y}: {_listed(behind)}." if behind else "The register is up to date."
    url = reverse("admin:ledger_journal_depreciation")
    return Item("Equipment is depreciated", not behind, said, url)


def journals_reversed(year: FinancialYear) -> Item:
    due = journals_to_reverse(year.last_day)
    said = f"Their day has passed: {_listed(due)}." if due else "None is overdue."
    url = page_of(due[0]) if due else ""
    return Item("Journals that undo themselves have done so", not due, said, url)


def next_year_is_open(year: FinancialYear) -> Item:
    following = year.last_day + timedelta(days=1)
    there = FinancialYear.objects.filter(first_day=following).exists()
    said = "It is." if there else f"Open the year from {following:%-d %b %Y}, so that nothing has to wait."
    return Item("The next year is open", there, said, reverse("admin:ledger_financialyear_add"))


def books_are_clean(year: FinancialYear) -> Item:
    faults = [fault for result in check_all() for fault in result.faults]
    said = _listed(faults, 5) if faults else "Every invariant holds."
    return Item("The books agree with themselves (check_books)", not faults, said)


def is_over(year: FinancialYear, today: date) -> bool:
    return year.last_day < today


CHECKS: list[Check] = [
    months_reconciled,
    bank_lines_explained,
    suspense_is_nil,
    range_days_closed,
    phones_answered,
    vouchers_settled_or_carried,
    started_fees_are_income,
    claims_decided,
    expenses_decided,
    equipment_depreciated,
    journals_reversed,
    next_year_is_open,
]
