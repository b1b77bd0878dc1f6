"""Posting: one sealed entry for a document and a purpose."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta

from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection, models, transaction
from django.utils import timezone

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.chain import digest_of
from clubdesk.ledger.models import Account, Book, FinancialYear, Fund, JournalEntry, Kind, Posting, Role
from clubdesk.ledger.posting import Line, without_nil
from clubdesk.ledger.services.book import lock_book
from clubdesk.ledger.services.days import refuse_late_opening, refuse_shut_in
from clubdesk.money import cents_of, from_cents, shown

CLOCKS_DIFFER_BY = timedelta(minutes=5)
"""So far the clocks of two servers may be apart."""
YEAR_AND_CLOCK = """SELECT y.*, (SELECT 1 FROM ledger_journalentry WHERE number = %s AND posted_at > %s) AS is_behind
    FROM ledger_financialyear y WHERE %s BETWEEN first_day AND last_day"""
"""Both in one question: it is asked for every post."""
NO_MONEY_ROLES = (Role.EQUIPMENT, Role.DEPRECIATED, Role.PREPAYMENTS, Role.STOCK, Role.ALLOWANCE, Role.GST_PAID)
"""Assets that cannot be spent; no restricted fund holds them."""
OF_ONE_POST = "source_type = %s AND source_id = %s AND purpose = %s"
SEAL = "UPDATE ledger_journalentry SET sealed = TRUE WHERE id = %s"
HEAD = "SELECT last_digest FROM ledger_book"


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
    is_opening: bool = False,
    is_new: bool = False,
) -> JournalEntry:
    """Write one sealed entry for `source` and `purpose`; a second call returns the first entry.

    `is_new` says that `source` was written in this very transaction, so that no entry of it is looked for.
    `is_opening` says that it tells of what was there before the first year: it is in no year, on the day before that.
    `lines` are debit positive, credit negative, at least two, and sum to zero in each fund. Raises Refused
    where they do not, where an account needs a party, where `on` is in no year, a locked month or a closed
    year, where a restricted fund would be overdrawn, and on a server whose clock is behind the last entry.
    """
    book = lock_book()
    source_type = selectors.source_type(source)
    if not is_new:
        for posted in selectors.asked(JournalEntry, OF_ONE_POST, source_type, source.pk, purpose):
            return posted
    lines = without_nil(lines)
    now = timezone.now()
    year = None if is_opening else _year_of(on, book, now)
    if year is None:
        refuse_late_opening(on)
    else:
        refuse_shut_in(year, on, is_closing)
    accounts = accounts_of(lines)
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
        posted_at=now,
        previous_digest=book.last_digest,
    )
    postings = [
        Posting(account=account, fund_id=line.fund_code, party=line.party, amount=line.amount)
        for line, account in zip(lines, accounts, strict=True)
    ]
    _write_sealed(entry, postings)
    return entry


def _year_of(on: date, book: Book, now: datetime) -> FinancialYear:
    """The year that the day is in. Raises Refused where there is none, or the last entry was posted after `now`.

    Entries follow one another in time as well as by number, whichever server posts them.
    """
    latest = connection.ops.adapt_datetimefield_value(now + CLOCKS_DIFFER_BY)
    for year in FinancialYear.objects.raw(YEAR_AND_CLOCK, [book.last_number, latest, on]):
        if vars(year)["is_behind"] and book.last_number > settings.CLOCK_WRONG_UNTIL_ENTRY:
            last = JournalEntry.objects.get(number=book.last_number)
            here, there = (f"{day_text(each)}, {each:%H:%M}" for each in map(timezone.localtime, (now, last.posted_at)))
            raise Refused(
                f"By this server's clock it is {here}, but entry {last.number} was posted on {there}. Nothing was"
                " saved: whoever looks after the server sets its clock right first."
            )
        return year
    return selectors.year_containing(on)


def _write_sealed(entry: JournalEntry, postings: Sequence[Posting]) -> None:
    """Once it is sealed the database lets nothing happen to the entry, and moves the book's head on to it.

    Where the head stays behind, the guards are lifted, and nothing is posted.
    """
    entry.digest = digest_of(entry, postings)
    entry.save(force_insert=True)
    for posting in postings:
        posting.entry = entry
    Posting.objects.bulk_create(postings)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(SEAL, [entry.pk])
            head = connection.connection.execute(HEAD).fetchone()  # SQLite answers in this process
        else:
            cursor.execute(f"{SEAL}; {HEAD}", [entry.pk])  # both at once, so that nobody waits for a second answer
            cursor.nextset()
            head = cursor.fetchone()
    if head != (entry.digest,):
        raise Refused("The guards of the database are lifted, so nothing is posted; run migrate, then check_books.")
    entry.sealed = True


def accounts_of(lines: Sequence[Line]) -> list[Account]:
    """The account of each line, those named by role in one query."""
    roles = {line.account for line in lines if isinstance(line.account, Role)}
    found = {account.role: account for account in selectors.with_roles(*roles)}
    for role in roles - found.keys():
        raise Refused(f"No account has the role “{role.label}”; give it to one in the chart.")
    return [found[line.account] if isinstance(line.account, Role) else line.account for line in lines]


def _refuse_unsound(lines: Sequence[Line], accounts: Sequence[Account]) -> None:
    if len(lines) < 2:
        raise Refused("An entry needs at least two lines.")
    sums: dict[str, int] = {}
    effects: dict[str, int] = {}
    for line, account in zip(lines, accounts, strict=True):
        cents = cents_of(line.amount)
        sums[line.fund_code] = sums.get(line.fund_code, 0) + cents
        if account.kind in (Kind.ASSET, Kind.LIABILITY):
            effects[line.fund_code] = effects.get(line.fund_code, 0) + cents
        if account.needs_party and line.party is None:
            raise Refused(f"{account} needs to say who owes or is owed.")
    _refuse_things_in_restricted_funds(lines, accounts)
    for code, cents in sums.items():
        if cents:
            gap, more = shown(from_cents(abs(cents))), "debits" if cents > 0 else "credits"
            fund = Fund.objects.get(pk=code)
            raise Refused(f"The entry is out of balance by {gap} in the fund “{fund}”: its {more} are more.")
    for code, cents in effects.items():
        if cents < 0:
            refuse_overdrawing(code, cents)


def _refuse_things_in_restricted_funds(lines: Sequence[Line], accounts: Sequence[Account]) -> None:
    """What such a fund holds may be spent; a thing or a bill paid ahead would be spent a second time as money."""
    touched = {line.fund_code for line, each in zip(lines, accounts, strict=True) if each.role in NO_MONEY_ROLES}
    for fund in Fund.objects.filter(pk__in=touched, restricted=True) if touched else ():
        raise Refused(
            f"{fund} is for its purpose alone and holds money only; charge what it buys to an expense account of it."
        )


def refuse_overdrawing(fund_code: str, cents: int) -> None:
    """Raise Refused where moving the fund by `cents` (negative takes out) would overdraw it and it is restricted."""
    fund = Fund.objects.get(pk=fund_code)
    if fund.restricted and cents_of(fund.balance) + cents < 0:
        raise Refused(
            f"{fund} holds {shown(fund.balance)}; this would take {shown(from_cents(-cents))}."
            " Bring in more first, or decide on a smaller amount."
        )
