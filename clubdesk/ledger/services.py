"""Verbs of the ledger: the only code that writes to it."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import TypeVar

from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.db import connection, models, transaction
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence, attach
from clubdesk.ledger import selectors
from clubdesk.ledger.chain import digest_of
from clubdesk.ledger.models import (
    YEARLY_KINDS,
    Account,
    Book,
    Document,
    FinancialYear,
    Fund,
    FundRole,
    Journal,
    JournalEntry,
    JournalOrigin,
    Kind,
    MonthBalance,
    Posting,
    Role,
)
from clubdesk.ledger.posting import Line, negated, without_nil
from clubdesk.ledger.signals import month_locked
from clubdesk.money import as_amount, shown

SHELL_USER = "shell"
NO_MONEY_ROLES = (Role.EQUIPMENT, Role.DEPRECIATED, Role.PREPAYMENTS, Role.STOCK, Role.ALLOWANCE)
"""Assets that cannot be spent; no restricted fund holds them."""
Written = TypeVar("Written", bound=Document)


def shell_user() -> User:
    """Whoever types commands on the machine itself; cannot sign in."""
    user, created = get_user_model().objects.get_or_create(username=SHELL_USER, defaults={"is_active": False})
    if created:
        user.set_unusable_password()
        user.save()
    return user


def written(model: type[Written], key: uuid.UUID | None) -> Written | None:
    """The document that was written under `key` before, so that a verb called twice does its work once."""
    return model._default_manager.filter(key=key).first() if key else None


def lock_book() -> Book:
    """Take the book's place in the queue: until the transaction ends nobody else can post."""
    for book in Book.objects.select_for_update(of=("self",), no_key=True):
        return book
    raise Refused("No book has been started yet; run start_books first.")


def first_open_day(on: date) -> date:
    """`on`, or where that day is shut the first day after it that is open. Raises Refused where no year has one."""
    for year in FinancialYear.objects.filter(last_day__gte=on, closed_at=None).order_by("first_day"):
        day = max(on, year.first_day, year.locked_through + timedelta(days=1) if year.locked_through else on)
        if day <= year.last_day:
            return day
    raise Refused(f"No day from {day_text(on)} on is open; open the next financial year first.")


@transaction.atomic
def post(
    *,
    source: models.Model,
    purpose: str,
    on: date,
    narration: str,
    lines: Iterable[Line],
    by: User,
    reverses: JournalEntry | None = None,
    is_closing: bool = False,
    is_new: bool = False,
) -> JournalEntry:
    """Write one sealed entry for `source` and `purpose`; a second call returns the first entry.

    `is_new` says that `source` was written in this very transaction, so that no entry of it is looked for.
    `lines` are debit positive, credit negative, at least two, and sum to zero in each fund. Raises Refused
    where they do not, where an account needs a party, where `on` is in no year, a locked month or a closed
    year, and where a restricted fund would be overdrawn.
    """
    book = lock_book()
    source_type = selectors.source_type(source)
    if not is_new:
        for posted in JournalEntry.objects.filter(source_type=source_type, source_id=source.pk, purpose=purpose):
            return posted
    lines = without_nil(lines)
    year = selectors.year_containing(on)
    _refuse_shut(year, on, is_closing)
    accounts = _accounts_of(lines)
    _refuse_unsound(lines, accounts)
    entry = JournalEntry(
        number=book.last_number + 1,
        date=on,
        year=year,
        narration=narration[:300],
        source_type=source_type,
        source_id=source.pk,
        purpose=purpose,
        reverses=reverses,
        is_closing=is_closing,
        posted_by=by,
        posted_at=timezone.now(),
        previous_digest=book.last_digest,
    )
    postings = [
        Posting(account=account, fund_id=line.fund_code, party=line.party, amount=line.amount)
        for line, account in zip(lines, accounts, strict=True)
    ]
    entry.digest = digest_of(entry, postings)
    entry.save(force_insert=True)
    for posting in postings:
        posting.entry = entry
    Posting.objects.bulk_create(postings)
    _seal(entry)
    return entry


def _seal(entry: JournalEntry) -> None:
    """From here on the database lets nothing happen to the entry."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE ledger_journalentry SET sealed = TRUE WHERE id = %s", [entry.pk])
    entry.sealed = True


def _refuse_shut(year: FinancialYear, on: date, is_closing: bool = False) -> None:
    if year.is_closed:
        raise Refused(f"{day_text(on)} is in a closed year; date it in an open one.")
    if year.locked_through and on <= year.locked_through and not is_closing:
        raise Refused(
            f"{day_text(on)} is in a locked month (locked through {day_text(year.locked_through)}); use a later date."
        )


def refuse_shut(on: date) -> None:
    """Raise Refused where nothing can be dated `on`: no year, a closed one, a locked month."""
    _refuse_shut(selectors.year_containing(on), on)


def is_shut(on: date) -> bool:
    """Whether nothing can be dated `on` any more."""
    try:
        refuse_shut(on)
    except Refused:
        return True
    return False


def _accounts_of(lines: Sequence[Line]) -> list[Account]:
    """The account of each line, those named by role in one query."""
    roles = {line.account for line in lines if isinstance(line.account, Role)}
    found = {account.role: account for account in Account.objects.filter(role__in=roles)} if roles else {}
    for role in roles - found.keys():
        raise Refused(f"No account has the role “{role.label}”; give it to one in the chart.")
    return [found[line.account] if isinstance(line.account, Role) else line.account for line in lines]


def _refuse_unsound(lines: Sequence[Line], accounts: Sequence[Account]) -> None:
    if len(lines) < 2:
        raise Refused("An entry needs at least two lines.")
    sums: dict[str, int] = {}
    effects: dict[str, int] = {}
    for line, account in zip(lines, accounts, strict=True):
        cents = int(as_amount(line.amount).amount * 100)
        sums[line.fund_code] = sums.get(line.fund_code, 0) + cents
        if account.kind in (Kind.ASSET, Kind.LIABILITY):
            effects[line.fund_code] = effects.get(line.fund_code, 0) + cents
        if account.needs_party and line.party is None:
            raise Refused(f"{account} needs to say who owes or is owed.")
    _refuse_things_in_restricted_funds(lines, accounts)
    for code, cents in sums.items():
        if cents:
            gap, more = shown(as_amount(abs(cents)) / 100), "debits" if cents > 0 else "credits"
            fund = Fund.objects.get(pk=code)
            raise Refused(f"The entry is out of balance by {gap} in the fund “{fund}”: its {more} are more.")
    for code, cents in effects.items():
        if cents < 0:
            refuse_overdrawing(code, cents)


def _refuse_things_in_restricted_funds(lines: Sequence[Line], accounts: Sequence[Account]) -> None:
    """What such a fund holds may be spent; a thing or a bill paid ahead would be spent a second time as money."""
    touched = {line.fund_code for line, each in zip(lines, accounts, strict=True) if each.role in NO_MONEY_ROLES}
    for fund in Fund.objects.filter(pk__in=touched, restricted=True):
        raise Refused(
            f"{fund} is for its purpose alone and holds money only; charge what it buys to an expense account of it."
        )


def refuse_overdrawing(fund_code: str, cents: int) -> None:
    """Raise Refused where moving the fund by `cents` (negative takes out) would overdraw it and it is restricted."""
    fund = Fund.objects.get(pk=fund_code)
    if fund.restricted and int(fund.balance.amount * 100) + cents < 0:
        raise Refused(
            f"{fund} holds {shown(fund.balance)}; this would take {shown(as_amount(-cents) / 100)}."
            " Bring in more first, or decide on a smaller amount."
        )


@transaction.atomic
def reverse(*, entry: JournalEntry, on: date, reason: str, by: User) -> JournalEntry:
    """Undo `entry` by an entry of the same lines with the other sign, dated `on` in an open month.

    Once only: the same call again returns the reversal; with another date or reason it is Refused, as is the
    reversal of a reversal or of a closing entry.
    """
    lock_book()
    if not reason.strip():
        raise Refused("Say why the entry is reversed.")
    if entry.reverses_id or entry.is_closing:
        raise Refused(f"{entry} is itself a reversal or a closing entry; post what is right instead.")
    narration = f"Reversal of entry {entry.number}: {reason.strip()}"[:300]
    earlier = JournalEntry.objects.filter(reverses=entry).first()
    if earlier:
        if (earlier.date, earlier.narration) == (on, narration):
            return earlier
        raise Refused(f"{entry} is reversed already, by entry {earlier.number} on {day_text(earlier.date)}.")
    if on < entry.date:
        raise Refused(f"A reversal cannot be dated before its entry ({day_text(entry.date)}).")
    return post(
        source=entry,
        purpose="reverse",
        on=on,
        narration=narration,
        lines=negated(lines_of(entry)),
        by=by,
        reverses=entry,
    )


def lines_of(entry: JournalEntry) -> list[Line]:
    rows = entry.postings.select_related("account", "fund", "party").order_by("pk")
    return [Line(row.account, row.amount, row.party, row.fund) for row in rows]


@transaction.atomic
def undo_entries_of(*, document: models.Model, on: date, reason: str, by: User) -> list[JournalEntry]:
    """Reverse every entry of `document` that stands; an entry of a locked month is reversed on `on`."""
    standing = selectors.entries_of(document).filter(reversed_by=None).order_by("number")
    return [reverse(entry=entry, on=max(on, entry.date), reason=reason, by=by) for entry in standing]


@transaction.atomic
def record_journal(
    *,
    on: date,
    narration: str,
    lines: Iterable[Line],
    by: User,
    origin: JournalOrigin = JournalOrigin.HAND,
    reference: str = "",
    file_digest: str = "",
    reverse_on: date | None = None,
    evidence: Evidence | None = None,
    key: uuid.UUID | None = None,
) -> Journal:
    """Write a manual journal and post it; on `reverse_on` it is undone by itself. `evidence` is kept with it.

    Raises Refused as `post` does, for an empty narration, and for accounts whose detail another room keeps.
    """
    if not narration.strip():
        raise Refused("Say in a few words what the journal is for.")
    if reverse_on and not on < reverse_on <= on + LONGEST_UNTIL_UNDONE:
        raise Refused(
            f"It can be undone by itself from {day_text(on + timedelta(days=1))}"
            f" to {day_text(on + LONGEST_UNTIL_UNDONE)}, so within thirteen months; look at the date."
        )
    lock_book()
    if found := written(Journal, key):
        return found
    lines = list(lines)
    _refuse_kept_elsewhere(lines)
    if origin == JournalOrigin.OPENING:
        _refuse_brought_in_twice(lines)
    journal = Journal(
        key=key or uuid.uuid4(),
        date=on,
        narration=narration.strip()[:300],
        origin=origin,
        reference=reference,
        file_digest=file_digest,
        reverse_on=reverse_on,
        recorded_by=by,
    )
    if evidence:
        attach(journal, evidence)
    journal.save()
    post(source=journal, purpose="journal", on=on, narration=journal.narration, lines=lines, by=by)
    if reverse_on and reverse_on <= clock.today():
        reverse_as_dated(journal=journal, by=by)
    return journal


LONGEST_UNTIL_UNDONE = timedelta(days=397)
"""A year and a month: what is undone later than that was mistyped."""
KEPT_ELSEWHERE = (Role.FEES_OWED, Role.REFUNDS_PAYABLE)
"""What families owe and are owed is kept by its own documents; a journal would put the account out of step."""


def _refuse_kept_elsewhere(lines: Iterable[Line]) -> None:
    for line in lines:
        role = line.account if isinstance(line.account, Role) else line.account.role
        if role in KEPT_ELSEWHERE:
            raise Refused(f"{selectors.account(Role(role))} is kept family by family; use the page of what happened.")


def _refuse_brought_in_twice(lines: Iterable[Line]) -> None:
    """Each balance of an account and fund is brought in once; Accumulated funds take what remains each time."""
    opening = Journal.objects.filter(origin=JournalOrigin.OPENING).values("pk")
    rows = Posting.objects.filter(
        entry__source_type=selectors.source_type(Journal), entry__source_id__in=opening, entry__reversed_by=None,
        entry__purpose="journal",
    ).exclude(account__kind=Kind.EQUITY)  # fmt: skip
    stands = set(rows.values_list("account", "fund"))
    lines = list(lines)
    for line, account in zip(lines, _accounts_of(lines), strict=True):
        if (account.pk, line.fund_code) in stands:
            raise Refused(
                f"The opening balance of {account} was brought in already; reverse that journal first, or write the"
                " difference as a journal."
            )


@transaction.atomic
def reverse_as_dated(*, journal: Journal, by: User) -> Journal:
    """Undo a journal on the day that was set when it was written; one that was reversed before stays as it is."""
    if journal.reverse_on is None:
        raise Refused(f"{journal} has no day on which it is reversed.")
    for entry in selectors.entries_of(journal).filter(reversed_by=None):
        reverse(entry=entry, on=journal.reverse_on, reason="as dated when it was written", by=by)
    return journal


@transaction.atomic
def reverse_journal(*, journal: Journal, on: date, reason: str, by: User) -> Journal:
    """Undo a journal that was wrong. Raises Refused before its own day, and where it was undone already."""
    standing = selectors.entries_of(journal).filter(reversed_by=None)
    if not standing:
        raise Refused(f"{journal} was undone already.")
    for entry in standing:
        reverse(entry=entry, on=on, reason=reason, by=by)
    return journal


def reverse_due(*, on: date, by: User) -> list[str]:
    """Undo each journal whose day has come by `on`; returns a sentence for each that could not be."""
    refused = []
    for journal in selectors.journals_to_reverse(on):
        try:
            reverse_as_dated(journal=journal, by=by)
        except Refused as refusal:
            refused.append(f"{journal}: {refusal.sentence}")
    return refused


@transaction.atomic
def start_book(*, club_name: str, currency: str, by: User, is_demo: bool = False) -> Book:
    """Begin an empty book: its name, its one currency, the general fund and the entry fund.

    Raises Refused where a book has been started already.
    """
    if Book.objects.exists():
        raise Refused("A book has been started here already; it is never started twice.")
    if not club_name.strip():
        raise Refused("Say the club's name.")
    book = Book.objects.create(pk=1, club_name=club_name.strip(), currency=currency, is_demo=is_demo)
    Fund.objects.create(code=FundRole.GENERAL, name=FundRole.GENERAL.label)
    Fund.objects.create(code=FundRole.ENTRY, name=FundRole.ENTRY.label, restricted=True)
    return book


@transaction.atomic
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


@transaction.atomic
def lock_month(*, month_end: date, by: User) -> FinancialYear:
    """Lock every month through `month_end` for good and store its balances.

    Raises Refused where `month_end` is not the last day of a month of an open year or an earlier year is not
    locked whole. Locking what is locked changes nothing.
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
    first = year.locked_through + timedelta(days=1) if year.locked_through else year.first_day
    for end in selectors.month_ends(first, month_end):
        _store_month(end)
    year.locked_through = month_end
    year.save(update_fields=["locked_through"])
    for end in selectors.month_ends(first, month_end):
        month_locked.send(sender=FinancialYear, month_end=end)
    return year


def _store_month(end: date) -> None:
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


@transaction.atomic
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
    lock_month(month_end=year.last_day, by=by)
    for end in _stored_from(year.last_day):
        _store_month(end)
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
