"""Financial years: opened, locked month by month, and closed."""

from datetime import date, timedelta

from django.contrib.auth.models import User
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.models import YEARLY_KINDS, Account, FinancialYear, Fund, MonthBalance, MonthLock, Role
from clubdesk.ledger.posting import Line, without_nil
from clubdesk.ledger.services.book import lock_book
from clubdesk.ledger.services.posting import post
from clubdesk.ledger.signals import month_locked
from clubdesk.money import as_amount
from clubdesk.rooms import in_order
from clubdesk.verbs import NOBODY, verb


@verb(permission="ledger.add_financialyear", title="Open the next financial year")
def open_year(*, first_day: date, by: User) -> FinancialYear:
    """Open the twelve months from `first_day`, which is the first of a month and follows the last year.

    Called again it returns the year that is open already.
    """
    lock_book()
    found = FinancialYear.objects.filter(first_day=first_day).first()
    if found:
        return found
    if first_day.day != 1:
        raise Refused("A financial year starts on the first of a month.")
    latest = FinancialYear.objects.order_by("-last_day").first()
    if latest and first_day != latest.last_day + timedelta(days=1):
        raise Refused(f"The next financial year starts on {day_text(latest.last_day + timedelta(days=1))}.")
    last_day = first_day.replace(year=first_day.year + 1) - timedelta(days=1)
    return FinancialYear.objects.create(first_day=first_day, last_day=last_day)


@verb(permission="ledger.lock_month", title="Lock months")
def lock_month(*, month_end: date, by: User, reason: str = "") -> FinancialYear:
    """Lock every month through `month_end` and store its balances.

    Raises Refused where `month_end` is not the last day of a month of an open year, an earlier year is not locked
    whole, or a room says that one of the months is not proven and no `reason` is given, which is kept. Locking what
    is locked changes nothing.
    """
    lock_book()
    year = selectors.year_containing(month_end)
    if month_end != selectors.month_end(month_end):
        raise Refused(f"{day_text(month_end)} is not the last day of a month.")
    if year.locked_through and month_end <= year.locked_through:
        return year
    earlier = FinancialYear.objects.filter(last_day__lt=year.first_day).order_by("-last_day").first()
    if earlier and earlier.locked_through != earlier.last_day:
        raise Refused(f"Lock {earlier} to its end first.")
    lacking = _not_proven(year, month_end)
    if lacking and not reason.strip():
        raise Refused([*(f"{each}." for each in lacking), "Do that first, or say why it is locked all the same."])
    return _lock(year, month_end, lacking, reason if lacking else "", by)


def _not_proven(year: FinancialYear, month_end: date) -> list[str]:
    """What the rooms say that the months lack which are open, through `month_end`; a sentence each."""
    first = first_open(year)
    return [said for room in in_order() for each in room.before_lock for said in each.lacking(first, month_end)]


def first_open(year: FinancialYear) -> date:
    """The first day of the year that is not locked; after its last day where all are."""
    return year.locked_through + timedelta(days=1) if year.locked_through else year.first_day


def _lock(year: FinancialYear, month_end: date, lacking: list[str], reason: str, by: User) -> FinancialYear:
    ends = selectors.month_ends(first_open(year), month_end)
    for end in ends:
        store_month(end)
    year.locked_through = month_end
    year.save(update_fields=["locked_through"])
    for end in ends:
        month_locked.send(sender=FinancialYear, month_end=end)
    MonthLock.objects.create(
        year=year, month_end=month_end, locked_on=clock.today(), lacking="\n".join(lacking),
        reason=reason.strip()[:150], recorded_by=by,
    )  # fmt: skip
    return year


def store_month(end: date) -> None:
    """Store the balances of a month that is locked, from the last stored month before it and what was posted since."""
    keys = ("account_id", "fund_id", "party_id")
    MonthBalance.objects.filter(month_end=end).delete()
    found = selectors.balances(end, keys)
    rows = [
        MonthBalance(
            month_end=end,
            account_id=key[0],
            fund_id=key[1],
            party_id=key[2],
            balance=as_amount(found.before_closing.get(key, selectors.ZERO)),
            closing=as_amount(after - found.before_closing.get(key, selectors.ZERO)),
        )
        for key, after in found.after_closing.items()
        if after or found.before_closing.get(key)
    ]
    MonthBalance.objects.bulk_create(rows, batch_size=500)


def _stored_from(day: date) -> list[date]:
    """The stored months from `day` on; the next year's may be locked before this one is closed."""
    ends = MonthBalance.objects.filter(month_end__gte=day).order_by("month_end")
    return list(ends.values_list("month_end", flat=True).distinct())


def refuse_early_close(year: FinancialYear, on: date) -> None:
    """Raise Refused where the year is not over on `on`, or an earlier one is still open."""
    if on <= year.last_day:
        raise Refused(f"{year} is not over yet; it can be closed from {day_text(year.last_day + timedelta(days=1))}.")
    if FinancialYear.objects.filter(last_day__lt=year.first_day, closed_at=None).exists():
        raise Refused("Close the earlier year first.")


@verb(permission=NOBODY, title="Close a year of the ledger")
def close_year(*, year: FinancialYear, by: User, on: date) -> FinancialYear:
    """Close `year` for good: in each fund, income and expense go to Accumulated funds; every month is locked.

    What must be done before a club closes is asked by `yearend.services.close_books`.

    Raises Refused where the year is not over on `on` or an earlier year is open. Closing a closed year
    changes nothing; there is no reopening.
    """
    lock_book()
    year = FinancialYear.objects.select_for_update(of=("self",), no_key=True).get(pk=year.pk)
    if year.is_closed:
        return year
    refuse_early_close(year, on)
    for fund in Fund.objects.all():
        lines = closing_lines(fund, year.last_day)
        if lines:
            post(
                source=year,
                purpose=f"close {fund.code}",
                on=year.last_day,
                narration=f"{year} closed: {fund}",
                lines=lines,
                by=by,
                is_closing=True,
            )
    if year.locked_through != year.last_day:
        _lock(year, year.last_day, [], "", by)
    for end in _stored_from(year.last_day):
        store_month(end)
    year.refresh_from_db()
    year.closed_at, year.closed_by = timezone.now(), by
    year.save(update_fields=["closed_at", "closed_by"])
    return year


def closing_lines(fund: Fund, as_at: date) -> list[Line]:
    """The lines that bring the fund's income and expense to nil, against Accumulated funds."""
    found = selectors.balances(as_at, ["account_id"], fund=fund, account__kind__in=YEARLY_KINDS).after_closing
    accounts = Account.objects.in_bulk([account_id for (account_id,) in found])
    lines = [
        Line(accounts[account_id], as_amount(-figure), None, fund)
        for (account_id,), figure in sorted(found.items())
        if figure
    ]
    surplus = sum((line.amount for line in lines), as_amount(0))
    return without_nil([*lines, Line(Role.ACCUMULATED, -surplus, None, fund)])
