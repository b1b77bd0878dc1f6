"""What must be done before a year is closed. Each item checks itself and leads to the page that puts it right."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank.models import BankAccount, StatementLine
from clubdesk.bank.reconciling import last_signed
from clubdesk.bank.selectors import UNEXPLAINED
from clubdesk.clock import day_text
from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.fees.models import Voucher, VoucherState
from clubdesk.fees.selectors import charges_to_recognise
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, FinancialYear, Posting, Role
from clubdesk.ledger.selectors import ZERO, balance, balances, journals_to_reverse
from clubdesk.money import shown
from clubdesk.rangeday.models import RangeDay, Tap
from clubdesk.screens import page_of
from clubdesk.yearend.register import Register


@dataclass(frozen=True)
class Item:
    """One thing of the checklist: whether it is done, what is found, where it is put right, and what that needs.

    `needs` is the permission of whoever may put it right there; `whose` says in words who that is.
    """

    title: str
    done: bool
    said: str
    url: str = ""
    needs: str = ""
    whose: str = "the treasurer"


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
    """Each bank account that moved in the year, or held money in it, is signed off to its last month."""
    title, url = "Every month of the bank is reconciled", reverse("admin:reconcile_month")
    behind = []
    for bank in BankAccount.objects.filter(account__in=_held_in(year)).select_related("account"):
        signed = last_signed(bank)
        if signed is None or signed.month_end < year.last_day:
            to = f"signed off to {signed.month_end:%B %Y}" if signed else "nothing signed off yet"
            behind.append(f"{bank}: {to}")
    said = "; ".join(behind) if behind else f"Signed off to {year.last_day:%B %Y}."
    return Item(title, not behind, said, url, "bank.add_reconciliation")


def money_is_at_a_bank(year: FinancialYear) -> Item:
    """Money that is neither in the till nor at the card reader is proven by statements."""
    unproven = _held_in(year).exclude(role__in=(Role.TILL, Role.CARD_TAKINGS)).filter(bank_account=None)
    said = (
        f"Nothing proves {_listed(unproven)}; set it up as a bank account and bring in its statements."
        if unproven
        else "Every account of money has statements."
    )
    url = reverse("admin:bank_bankaccount_add")
    return Item("Every account of money has statements", not unproven, said, url, "bank.add_bankaccount")


def _held_in(year: FinancialYear) -> QuerySet[Account]:
    """Accounts of money that moved in the year, or held some all through it, and so when it ended."""
    moved = Posting.objects.filter(account=OuterRef("pk"), entry__year=year, entry__is_closing=False)
    ended = balances(year.last_day, ["account_id"], account__is_money=True).after_closing
    held = {pk for (pk,), figure in ended.items() if figure}
    return Account.objects.filter(Exists(moved) | Q(pk__in=held), is_money=True)


def range_days_closed(year: FinancialYear) -> Item:
    days = RangeDay.objects.filter(
        date__range=(year.first_day, year.last_day), closed_on=None, called_off_on=None
    ).order_by("date")
    said = f"Not counted: {_listed(days)}." if days else "Every day was counted or called off."
    url = _list_url("rangeday_rangeday", "standing=uncounted")
    return Item("Every range day is closed", not days, said, url, "rangeday.close_rangeday")


def phones_answered(year: FinancialYear) -> Item:
    asked = Tap.objects.filter(state="question", range_day__date__lte=year.last_day).count()
    said = f"{asked} still to be answered." if asked else "None is open."
    url = _list_url("rangeday_tap", "state__exact=question")
    return Item("Questions from phones are answered", not asked, said, url, "rangeday.change_signon", "the coordinator")


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
    return Item("Vouchers are settled or carried", not waiting, said, url, "fees.add_lodgement")


def started_fees_are_income(year: FinancialYear) -> Item:
    due = charges_to_recognise(min(year.last_day, clock.today())).count()
    said = (
        f"{due} fees of what has started still wait in Fees in advance." if due else "Nothing waits that has started."
    )
    url = reverse("admin:ledger_financialyear_recognise", args=[year.pk])
    return Item("Cohorts and memberships that started are income", not due, said, url, "ledger.close_year")


def claims_decided(year: FinancialYear) -> Item:
    open_ones = EntryClaim.objects.filter(
        claimed_on__lte=year.last_day, state__in=(ClaimState.RECORDED, ClaimState.ASKED)
    ).count()
    said = f"{open_ones} wait for a decision." if open_ones else "All are decided."
    url = reverse("admin:claim_queue")
    return Item("Entry claims are decided", not open_ones, said, url, "entryfund.decide_entryclaim", "an approver")


def expenses_decided(year: FinancialYear) -> Item:
    open_ones = Expense.objects.filter(spent_on__lte=year.last_day, state=ExpenseState.RECORDED).count()
    said = f"{open_ones} wait for a decision." if open_ones else "All are decided."
    url = _list_url("expenses_expense")
    return Item("Volunteers’ expenses are decided", not open_ones, said, url, "expenses.decide_expense", "an approver")


def bank_lines_explained(year: FinancialYear) -> Item:
    lines = StatementLine.objects.filter(UNEXPLAINED, date__lte=year.last_day)
    count = lines.count()
    said = f"{count} lines of the bank are not explained." if count else "Every line is explained."
    url = reverse("admin:explain_lines")
    return Item("Every bank line is explained", not count, said, url, "bank.change_statementline")


def suspense_is_nil(year: FinancialYear) -> Item:
    """Nil on the last day; once that day is locked, what was cleared after it is carried."""
    title, url = "Nothing stands in suspense", reverse("admin:ledger_journal_add")
    parked = Account.objects.filter(role=Role.SUSPENSE).first()
    if parked is None:
        return Item(title, True, "The chart has no account for it.")
    left = _in_suspense(parked, year.last_day)
    if left and _locked_whole(year) and not _in_suspense(parked, max(clock.today(), year.last_day)):
        return Item(title, True, f"{left} stood there on {day_text(year.last_day)}; it was cleared after the lock.")
    said = f"{parked} holds {left}; write a journal to where it belongs." if left else f"{parked} is nil."
    return Item(title, not left, said, url, "ledger.add_journal")


def _in_suspense(parked: Account, on: date) -> str:
    found = balances(on, ["fund__name"], account=parked).after_closing
    return ", ".join(f"{shown(figure)} in the {fund}" for (fund,), figure in found.items() if figure)


def _locked_whole(year: FinancialYear) -> bool:
    return year.locked_through == year.last_day


def equipment_depreciated(year: FinancialYear) -> Item:
    known = Register.at(year.last_day)
    behind = [thing for thing, _ in known.behind(year.last_day)]
    said = f"Not up to {day_text(year.last_day)}: {_listed(behind)}." if behind else "The register is up to date."
    later = next((line for thing in behind if (line := known.posted_later(thing, year.last_day))), None)
    if later:
        said += f" Later months were posted first; reverse “{later.journal}”, then post in the order of the months."
    url = page_of(later.journal) if later else reverse("admin:ledger_journal_depreciation")
    return Item("Equipment is depreciated", not behind, said, url, "ledger.add_journal")


def register_agrees(year: FinancialYear) -> Item:
    """What the register says the equipment cost and has lost is what the ledger says, fund by fund.

    Once the last day is locked, what was put right after it counts.
    """
    title, url = "The register of equipment agrees with the ledger", _list_url("yearend_equipment")
    gaps = _register_gaps(year.last_day)
    if gaps and _locked_whole(year) and not _register_gaps(max(clock.today(), year.last_day)):
        return Item(title, True, f"{_listed(gaps)}; it was put right after the lock.")
    said = _listed(gaps) + "." if gaps else "Cost and depreciation are the same in both."
    return Item(title, not gaps, said, url, "yearend.add_equipment")


def _register_gaps(on: date) -> list[str]:
    known, listed = Register.at(on, as_posted_on=on), dict[tuple[str, str], Decimal]()
    for thing in known.things:
        for role, figure in (
            (Role.EQUIPMENT, thing.cost.amount),
            (Role.DEPRECIATED, -known.posted_until(thing, date.max)),
        ):
            key = (role.value, thing.fund.name)
            listed[key] = listed.get(key, ZERO) + figure
    roles = (Role.EQUIPMENT, Role.DEPRECIATED)
    held = balances(on, ["account__role", "fund__name"], account__role__in=roles).after_closing
    return [
        f"{Role(role).label} is {shown(held.get((role, fund), ZERO))} by the ledger and"
        f" {shown(listed.get((role, fund), ZERO))} by the register in the {fund}"
        for role, fund in sorted(held.keys() | listed.keys())
        if held.get((role, fund), ZERO) != listed.get((role, fund), ZERO)
    ]


def journals_reversed(year: FinancialYear) -> Item:
    due = journals_to_reverse(min(year.last_day, clock.today()))
    said = f"Still to be undone though their day has come: {_listed(due)}." if due else "None is overdue."
    url = page_of(due[0]) if due else ""
    return Item("Journals that undo themselves have done so", not due, said, url, "ledger.change_journal")


def next_year_is_open(year: FinancialYear) -> Item:
    following = year.last_day + timedelta(days=1)
    there = FinancialYear.objects.filter(first_day=following).exists()
    said = "It is." if there else f"Open the year from {day_text(following)}, so that nothing has to wait."
    url = reverse("admin:ledger_financialyear_add")
    return Item("The next year is open", there, said, url, "ledger.add_financialyear")


def books_are_clean(year: FinancialYear) -> Item:
    faults = [fault for result in check_all() for fault in result.faults]
    said = _listed(faults, 5) if faults else "Every invariant holds."
    return Item("The books agree with themselves (check_books)", not faults, said)


def is_over(year: FinancialYear, today: date) -> bool:
    return year.last_day < today


CHECKS: list[Check] = [
    money_is_at_a_bank,
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
    register_agrees,
    journals_reversed,
    next_year_is_open,
]
