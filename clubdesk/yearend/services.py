"""Verbs of the year's end: the budget, the figures before this book, adjustments, equipment, and the close."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.contrib.auth.models import User
from djmoney.money import Money

from clubdesk.clock import day_text, long_day
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.fees import posting as fees
from clubdesk.fees.models import Charge, ChargeCredit
from clubdesk.fees.services import lock_charges, recognise_due
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import (
    Account,
    FinancialYear,
    Fund,
    FundRole,
    Journal,
    JournalEntry,
    JournalOrigin,
    Kind,
    Posting,
    Role,
    TaxBasis,
)
from clubdesk.ledger.posting import Line
from clubdesk.ledger.selectors import account as account_of
from clubdesk.ledger.selectors import (
    book,
    held_in,
    is_registered,
    is_taxed,
    last_day_posted,
    month_end,
    party_balances,
)
from clubdesk.money import as_amount, gst_in, half_up, nil, positive, shown, total
from clubdesk.rooms import Done
from clubdesk.verbs import verb
from clubdesk.yearend import checklist, found, gst, posting, selectors
from clubdesk.yearend.models import (
    BudgetMonth,
    Comparative,
    DepreciationLine,
    Disposal,
    Equipment,
    FoundTax,
    FoundTaxLine,
    GstReturn,
)
from clubdesk.yearend.register import Register, depreciated, disposal_of, last_undone, stands


@verb(permission="yearend.add_budgetmonth", title="Plan an account")
def set_budget(*, year: FinancialYear, account: Account, months: Mapping[date, Money], by: User) -> None:
    """Plan an account month by month (first days); a month that is missing or nil is planned at nothing.

    Raises Refused for a closed year, for an account that is neither income nor expense, and for a foreign month.
    """
    ledger.lock_book()
    _refuse_closed(year)
    if account.kind not in (Kind.INCOME, Kind.EXPENSE):
        raise Refused(f"{account} is neither income nor expense; it has no budget.")
    known = selectors.months_of(year)
    if strange := set(months) - set(known):
        raise Refused(f"{min(strange):%B %Y} is not a month of {year}.")
    if any(amount < nil() for amount in months.values()):
        raise Refused("A budget is not below 0.00; plan income on income accounts and spending on expense accounts.")
    BudgetMonth.objects.filter(year=year, account=account).delete()
    BudgetMonth.objects.bulk_create(
        BudgetMonth(year=year, account=account, month=month, amount=amount)
        for month, amount in months.items()
        if amount > nil()
    )


@dataclass(frozen=True)
class CopiedBudget:
    """How many accounts were planned, and which were not, since they came to less than nil last year."""

    planned: int
    below_nil: list[Account]


@verb(permission="yearend.add_budgetmonth", title="Copy the budget from last year")
def copy_budget(*, year: FinancialYear, percent: Decimal, by: User) -> CopiedBudget:
    """Plan the year at so many percent of what last year really was, month by month.

    What was planned before is replaced. A month that was below nil is taken off the months around it, so that the
    account's year comes to the same. Where only last year's printed figures are known, each is planned in equal parts.
    """
    ledger.lock_book()
    _refuse_closed(year)
    before = [month.replace(year=month.year - 1) for month in selectors.months_of(year)]
    actual = selectors.actual_by_month(year, before) or selectors.printed_by_month(before)
    if not actual:
        raise Refused("Nothing is known of the year before; type its figures, or the budget account by account.")
    accounts = Account.objects.in_bulk(actual)
    BudgetMonth.objects.filter(year=year).delete()
    below_nil = []
    for pk, months in actual.items():
        planned = selectors.set_off(
            {month.replace(year=month.year + 1): half_up(figure * percent / 100) for month, figure in months.items()}
        )
        if not any(planned.values()):
            below_nil.append(accounts[pk])
        amounts = {month: as_amount(figure) for month, figure in planned.items()}
        set_budget(year=year, account=accounts[pk], months=amounts, by=by)
    return CopiedBudget(len(actual) - len(below_nil), below_nil)


def _refuse_closed(year: FinancialYear) -> None:
    if FinancialYear.objects.get(pk=year.pk).is_closed:
        raise Refused(f"{year} is closed; its budget stays as it was.")


@verb(permission="yearend.add_comparative", title="Type last year’s figures")
def set_comparatives(*, year_end: date, fund: Fund, figures: Mapping[Account, Money], by: User) -> int:
    """Keep what last year's statements printed for a fund; what was kept of that year and fund before is replaced.

    Raises Refused where the ledger has that year itself, and once the year that they stand beside is closed.
    """
    ledger.lock_book()
    if FinancialYear.objects.filter(first_day__lte=year_end, last_day__gte=year_end).exists():
        raise Refused(f"The ledger has the year to {day_text(year_end)} itself; its figures stand beside already.")
    if FinancialYear.objects.filter(first_day__gt=year_end).exclude(closed_at=None).exists():
        raise Refused("The year that they stand beside is closed; its statements stay as they were.")
    Comparative.objects.filter(year_end=year_end, fund=fund).delete()
    rows = [
        Comparative(year_end=year_end, fund=fund, account=account, amount=amount)
        for account, amount in figures.items()
        if amount != nil()
    ]
    Comparative.objects.bulk_create(rows)
    return len(rows)


def _adjust(
    origin: JournalOrigin,
    lines: list[Line],
    on: date,
    narration: str,
    by: User,
    reverse_on: date | None = None,
    evidence: Evidence | None = None,
    key: uuid.UUID | None = None,
) -> Journal:
    return ledger.record_journal(
        on=on, narration=narration, lines=lines, by=by, origin=origin, reverse_on=reverse_on, evidence=evidence, key=key
    )


@verb(permission="ledger.add_journal", title="An expense not billed yet")
def accrue(
    *, expense: Account, amount: Money, fund: Fund, on: date, reverse_on: date, narration: str, by: User,
    evidence: Evidence | None = None, key: uuid.UUID | None = None,
) -> Journal:  # fmt: skip
    """A bill has not come for something that the club had by `on`; on `reverse_on` it is undone, ready for the bill."""
    lines = posting.accrual_lines(positive(amount), expense, fund)
    return _adjust(JournalOrigin.ACCRUAL, lines, on, narration, by, reverse_on, evidence, key)


@verb(permission="ledger.add_journal", title="A bill paid ahead")
def prepay(
    *, expense: Account, amount: Money, fund: Fund, on: date, reverse_on: date, narration: str, by: User,
    evidence: Evidence | None = None, key: uuid.UUID | None = None,
) -> Journal:  # fmt: skip
    """Part of a bill was paid for something after `on`; from `reverse_on` it is an expense again."""
    lines = posting.prepayment_lines(positive(amount), expense, fund)
    return _adjust(JournalOrigin.PREPAYMENT, lines, on, narration, by, reverse_on, evidence, key)


def _refuse_before_a_later_one(role: Role, fund: Fund, on: date) -> None:
    """The difference of an earlier day would change what was found on a later one."""
    later = Posting.objects.filter(account__role=role, fund=fund, entry__date__gt=on, entry__sealed=True)
    if row := later.select_related("entry").order_by("-entry__number").first():
        raise Refused(
            f"{account_of(role)} was posted for {day_text(row.entry.date)} already (entry {row.entry.number}); date"
            " this one then or later, or reverse that journal first."
        )


@verb(permission="ledger.add_journal", title="Stock of course materials")
def count_stock(
    *, counted: Money, materials: Account, fund: Fund, on: date, narration: str, by: User,
    evidence: Evidence | None = None, key: uuid.UUID | None = None,
) -> Journal:  # fmt: skip
    """Course materials worth `counted`, at cost, lie in the store on `on`; the difference to the book is posted."""
    ledger.lock_book()
    if found := ledger.written(Journal, key):
        return found
    _refuse_before_a_later_one(Role.STOCK, fund, on)
    change = counted - as_amount(held_in(Role.STOCK, fund, on))
    if change == nil():
        raise Refused(f"The book has a stock of {shown(counted)} already; there is nothing to post.")
    lines = posting.stock_lines(change, materials, fund)
    return _adjust(JournalOrigin.STOCK, lines, on, narration, by, evidence=evidence, key=key)


@verb(permission="ledger.add_journal", title="Fees not expected to be paid")
def provide(
    *, wanted: Money, on: date, narration: str, by: User,
    evidence: Evidence | None = None, key: uuid.UUID | None = None,
) -> Journal:  # fmt: skip
    """Of what families owe `wanted` is not expected to be paid; the debts stay. The difference is posted.

    Raises Refused for more than they owe on that day, and where so much is allowed for already.
    """
    ledger.lock_book()
    if found := ledger.written(Journal, key):
        return found
    owed = as_amount(sum(figure for figure in party_balances(Role.FEES_OWED, on).values() if figure > 0))
    if wanted > owed:
        raise Refused(f"Families owe {shown(owed)} on {day_text(on)}; no more than that can be doubtful.")
    fund = Fund.objects.get(pk=FundRole.GENERAL)
    _refuse_before_a_later_one(Role.ALLOWANCE, fund, on)
    change = wanted + as_amount(held_in(Role.ALLOWANCE, fund, on))
    if change == nil():
        raise Refused(f"An allowance of {shown(wanted)} stands already; there is nothing to post.")
    lines = posting.allowance_lines(change, fund)
    return _adjust(JournalOrigin.PROVISION, lines, on, narration, by, evidence=evidence, key=key)


@verb(permission="yearend.add_equipment", title="Put equipment in the register")
def add_equipment(
    *, name: str, bought_on: date, cost: Money, years: int, fund: Fund, by: User,
    residual: Money | None = None, brought_in: Money | None = None, key: uuid.UUID | None = None,
) -> Equipment:  # fmt: skip
    """Put a thing in the register. It posts nothing: whatever bought it stands in the ledger already."""
    ledger.lock_book()
    if found := ledger.written(Equipment, key):
        return found
    residual, brought_in = residual or nil(), brought_in or nil()
    if not name.strip():
        raise Refused("Write what it is.")
    if not nil() <= residual < positive(cost):
        raise Refused("What it is worth at the end is less than what it cost.")
    if brought_in > cost - residual:
        raise Refused(f"It cannot have lost more than {shown(cost - residual)} before this book.")
    if not 1 <= years <= 50:
        raise Refused("It is used for 1 to 50 years.")
    if fund.restricted:
        raise Refused(f"{fund} is for its purpose alone and holds money only; equipment stands in another fund.")
    _refuse_more_than_the_ledger_has(cost, fund)
    return Equipment.objects.create(
        key=key or uuid.uuid4(), name=name.strip()[:120], bought_on=bought_on, cost=cost, residual=residual,
        years=years, fund=fund, brought_in=brought_in, recorded_by=by,
    )  # fmt: skip


def _refuse_more_than_the_ledger_has(cost: Money, fund: Fund) -> None:
    latest = last_day_posted() or date.min
    bought = as_amount(held_in(Role.EQUIPMENT, fund, latest))
    listed = total(thing.cost for thing in Register.at(date.max).things if thing.fund_id == fund.pk)
    if listed + cost > bought:
        raise Refused(
            f"{account_of(Role.EQUIPMENT)} has {shown(bought)} by the ledger, of which {shown(listed)} is in the"
            " register already. Write the journal of what bought it first, or look at the cost."
        )


@verb(permission="yearend.add_equipment", title="It was typed wrongly")
def withdraw_equipment(*, equipment: Equipment, on: date, reason: str, by: User) -> Equipment:
    """Take a thing out of the register that was typed wrongly. It posts nothing.

    Raises Refused without a reason, and while depreciation or a disposal of it stands: reverse those journals first.
    """
    ledger.lock_book()
    thing = Equipment.objects.select_for_update(of=("self",), no_key=True).get(pk=equipment.pk)
    if thing.withdrawn_on:
        return thing
    if not reason.strip():
        raise Refused("Say what is wrong with it.")
    if disposal_of(thing) or stands(thing.depreciation.all()).exists():
        raise Refused("Something was posted of it; reverse those journals first.")
    thing.withdrawn_on, thing.withdraw_reason = on, reason.strip()[:150]
    thing.save(update_fields=["withdrawn_on", "withdraw_reason"])
    return thing


@verb(permission="ledger.add_journal", title="Depreciate the equipment")
def depreciate(*, until: date, by: User, key: uuid.UUID | None = None) -> Journal:
    """Post what the equipment in use has lost by the end of the month `until`, one journal for all.

    It is dated `until`, or the first open day after it where that day is shut, and not before an earlier posting of the
    same was reversed. Raises Refused where nothing is left, so
    that a second press posts nothing twice, and out of turn: an earlier year first, nothing before what stands.
    """
    ledger.lock_book()
    if found := ledger.written(Journal, key):
        return found
    if until != month_end(until):
        raise Refused(f"Depreciation is reckoned by whole months; take {day_text(month_end(until))}.")
    register = Register.at(until)
    lost = register.behind(until)
    if not lost:
        raise Refused(f"Nothing of the register is left to depreciate up to {day_text(until)}.")
    _refuse_out_of_turn(register, lost, until)
    by_fund: dict[Fund, Money] = {}
    for thing, amount in lost:
        by_fund[thing.fund] = by_fund.get(thing.fund, nil()) + amount
    narration = f"Depreciation to {long_day(until)}, {len(lost)} of the register"
    lines = posting.depreciation_lines(by_fund)
    on = ledger.first_open_day(max(until, last_undone([thing for thing, _ in lost])))
    journal = _adjust(JournalOrigin.DEPRECIATION, lines, on, narration, by, key=key)
    DepreciationLine.objects.bulk_create(
        DepreciationLine(journal=journal, equipment=thing, until=until, amount=amount) for thing, amount in lost
    )
    return journal


def _refuse_out_of_turn(register: Register, lost: list[tuple[Equipment, Money]], until: date) -> None:
    for thing, _ in lost:
        if later := register.posted_later(thing, until):
            raise Refused(
                f"{thing} is depreciated to {day_text(later.until)} already; reverse “{later.journal}” first, then post"
                " in the order of the months."
            )
    for year in FinancialYear.objects.filter(last_day__lt=until, closed_at=None).order_by("first_day"):
        if register.behind(year.last_day):
            raise Refused(f"Depreciate to {day_text(year.last_day)} first; what was lost then belongs to that year.")


@verb(permission="yearend.add_equipment", title="It is gone")
def dispose(
    *, equipment: Equipment, on: date, reason: str, by: User, proceeds: Money | None = None,
    into: Account | None = None, key: uuid.UUID | None = None,
) -> Disposal:  # fmt: skip
    """A thing is gone: sold, broken, lost. `proceeds` came for it `into` an account of money, the bank unless said.

    What it was still worth in the book, less that, is a loss or a gain. Raises Refused without a reason, before the
    last day that it was depreciated to, and while an earlier open year lacks its depreciation.
    """
    ledger.lock_book()
    thing = Equipment.objects.select_for_update(of=("self",), no_key=True).select_related("fund").get(pk=equipment.pk)
    if found := disposal_of(thing) or ledger.written(Disposal, key):
        return found
    if thing.withdrawn_on:
        raise Refused(f"{thing} was removed from the register: {thing.withdraw_reason}.")
    proceeds = proceeds or nil()
    if not reason.strip():
        raise Refused("Say what became of it.")
    if proceeds < nil():
        raise Refused("What came for it is not below 0.00.")
    days = [max(line.until, line.journal.date) for line in stands(thing.depreciation.select_related("journal"))]
    earliest = max([*days, thing.bought_on, last_undone([thing])])
    if on < earliest:
        raise Refused(f"It was in use on {day_text(earliest)}; it cannot have gone before.")
    register = Register.at(on)
    for year in FinancialYear.objects.filter(last_day__lt=on, closed_at=None).order_by("first_day"):
        if any(behind == thing for behind, _ in register.behind(year.last_day)):
            raise Refused(f"Depreciate to {day_text(year.last_day)} first; what it lost then belongs to that year.")
    into = into or account_of(Role.BANK)
    if not into.is_money:
        raise Refused(f"{into} is no account of money.")
    narration = f"Disposed of: {thing.name}"
    tax = gst_in(proceeds) if is_taxed(account_of(Role.EQUIPMENT).tax_code, on) else nil()
    lines = posting.disposal_lines(thing.cost, depreciated(thing), proceeds, tax, into, thing.fund)
    journal = _adjust(JournalOrigin.DISPOSAL, lines, on, narration, by)
    return Disposal.objects.create(
        key=key or uuid.uuid4(), equipment=thing, gone_on=on, reason=reason.strip()[:150], proceeds=proceeds,
        journal=journal, recorded_by=by,
    )  # fmt: skip


@verb(permission="yearend.add_gstreturn", title="Post the GST of a period")
def post_gst(*, first: date, last: date, by: User, key: uuid.UUID | None = None) -> GstReturn:
    """Draw the GST return of a period on the club's basis: what was collected less the credits is owed, by one journal.

    It is dated `last`, or the first open day after it. Raises Refused where the club is not registered, after a return
    of later days, for days that are in a return already, and where there is no GST.
    """
    ledger.lock_book()
    if written := ledger.written(GstReturn, key):
        return written
    basis = _basis_of_returns()
    if last <= first:
        raise Refused("The last day is before the first.")
    if later := selectors.returns_that_stand().filter(last_day__gt=last).first():
        raise Refused(f"“{later}” was posted already; draw the returns in their order, or reverse its journal first.")
    figures, funds = gst.figures(first, last, basis), Fund.objects.in_bulk()
    collected, credits = (
        {funds[fund]: as_amount(tax) for fund, tax in by_fund.items()}
        for by_fund in (figures.collected_by_fund, figures.credits_by_fund)
    )
    lines = posting.gst_lines(collected, credits)
    if not lines:
        raise Refused("No sale and no bill of these days has GST in it.")
    narration = f"GST of {day_text(first)} to {day_text(last)}"
    journal = _adjust(JournalOrigin.GST, lines, ledger.first_open_day(last), narration, by)
    return GstReturn.objects.create(
        key=key or uuid.uuid4(), first_day=first, last_day=last, journal=journal, collected=figures.collected,
        credits=figures.credits, basis=basis, recorded_by=by,
    )  # fmt: skip


def _basis_of_returns() -> TaxBasis:
    if not is_registered():
        raise Refused("The club is not registered for GST.")
    return TaxBasis(book().gst_basis)


@verb(permission="yearend.add_gstreturn", title="Post the GST that was found")
def post_found_tax(
    *, until: date, by: User, without: Sequence[JournalEntry] = (), key: uuid.UUID | None = None
) -> FoundTax:
    """Post what GST should have been posted by `until` and was not (`found.py`); the entries `without` have none.

    It is dated `until`, or the first open day after it, so that a locked month or a closed year is no end. Raises
    Refused where the club is not registered and where nothing is found.
    """
    held = lock_charges(found.find(until).charges)
    ledger.lock_book()
    if written := ledger.written(FoundTax, key):
        return written
    _basis_of_returns()
    exempt = frozenset(entry.pk for entry in without)
    there, on = found.find(until, exempt), ledger.first_open_day(until)
    there.charges = [charge for charge in there.charges if charge.pk in held]
    looked_at = [each for each in found.find(until).by_code if each.entry.pk in exempt]
    if not there.postings and not looked_at:
        raise Refused(f"All GST to {day_text(until)} is posted.")
    document = FoundTax.objects.create(
        key=key or uuid.uuid4(), until=until, posted_on=on, collected=there.collected, credits=there.credits,
        is_posted=bool(there.postings), recorded_by=by,
    )  # fmt: skip
    rows = [*((each, each.tax) for each in there.lines()), *((each, nil()) for each in looked_at)]
    FoundTaxLine.objects.bulk_create(
        FoundTaxLine(found=document, entry=each.entry, account=each.account, fund=each.fund, tax=tax)
        for each, tax in rows
    )
    _write_tax_into(there.charges)
    if document.is_posted:
        narration = f"GST found later, to {day_text(until)}"
        ledger.post(source=document, purpose="gst", on=on, narration=narration, lines=there.postings, by=by)
    return document


def _write_tax_into(charges: Sequence[Charge]) -> None:
    """The fees and what was credited of them say from now on what GST is in them, so that more credits give it back."""
    credits = []
    for charge in charges:
        shares, left = list(charge.shares.all()), charge.amount
        charge.tax = fees.tax_in(charge.amount, shares)
        for each in charge.credits.filter(cancelled_on=None).order_by("pk"):
            each.tax = fees.tax_credited(each.amount, left, shares)
            left -= each.amount
            credits.append(each)
    Charge.objects.bulk_update(charges, ["tax"], batch_size=500)
    ChargeCredit.objects.bulk_update(credits, ["tax"], batch_size=500)


@verb(permission="ledger.close_year", title="Let what has started become income")
def recognise_started(*, year: FinancialYear, by: User) -> Done:
    """What has started by the year's last day becomes income at once, as the night does it."""
    return recognise_due(on=year.last_day, by=by)


@verb(permission="ledger.close_year", title="Close this year")
def close_books(*, year: FinancialYear, on: date, by: User) -> FinancialYear:
    """Close a year whose checklist is done whole. Raises Refused with a sentence for each item that is not."""
    ledger.lock_book()
    year = FinancialYear.objects.get(pk=year.pk)
    if year.is_closed:
        return year
    ledger.refuse_early_close(year, on)
    open_items = [item for item in checklist.of_year(year, with_books=True) if not item.done]
    if open_items:
        raise Refused([f"{item.title}: {item.said}" for item in open_items])
    return ledger.close_year(year=year, by=by, on=on)
