"""Posting: one sealed entry for a document and a purpose."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection, models
from django.utils import timezone

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.chain import digest_of
from clubdesk.ledger.models import Account, Fund, JournalEntry, Kind, Posting, Role
from clubdesk.ledger.posting import Line, without_nil
from clubdesk.ledger.services.book import lock_book
from clubdesk.ledger.services.days import refuse_late_opening, refuse_shut_in
from clubdesk.money import cents_of, from_cents, shown
from clubdesk.verbs import part

CLOCKS_DIFFER_BY = timedelta(minutes=5)
"""So far the clocks of two servers may be apart."""
ACCOUNT = [field.attname for field in Account._meta.concrete_fields]
HOLD = "SELECT 1 FROM ledger_book WHERE id = 1 FOR NO KEY UPDATE; "
STANDING = f"""SELECT b.last_number, b.last_digest, y.id, y.closed_at IS NOT NULL OR %s <= y.locked_through,
    (SELECT 1 FROM ledger_journalentry e WHERE e.number = b.last_number AND e.posted_at > %s),
    (SELECT e.id FROM ledger_journalentry e WHERE e.source_type = %s AND e.source_id = %s AND e.purpose = %s),
    {", ".join(f"a.{column}" for column in ACCOUNT)}
    FROM ledger_book b LEFT JOIN ledger_financialyear y ON %s BETWEEN y.first_day AND y.last_day
    LEFT JOIN ledger_account a ON a.role IN ({{roles}}) WHERE b.id = 1"""
"""What a post must know, in one question, since it is asked for every post.

The book's only row is asked for by its id: PostgreSQL, which has counted no rows yet, expects many otherwise.
"""
NO_MONEY_ROLES = (Role.EQUIPMENT, Role.DEPRECIATED, Role.PREPAYMENTS, Role.STOCK, Role.ALLOWANCE, Role.GST_PAID)
"""Assets that cannot be spent; no restricted fund holds them."""
SEAL = "UPDATE ledger_journalentry SET sealed = TRUE WHERE id = %s"
HEAD = "SELECT last_digest FROM ledger_book WHERE id = 1"


@dataclass(frozen=True)
class Standing:
    """What a post finds once it holds the book: the head, an earlier entry of its own, the day's year, accounts."""

    last_number: int
    last_digest: str
    year: int | None
    is_shut: bool
    clock_is_behind: bool
    posted: int | None
    accounts: dict[str, Account]


@part
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
) -> JournalEntry:
    """Write one sealed entry for `source` and `purpose`; a second call returns the first entry.

    `is_opening` says that it tells of what was there before the first year: it is in no year, on the day before that.
    `lines` are debit positive, credit negative, at least two, and sum to zero in each fund. Raises Refused
    where they do not, where an account needs a party, where `on` is in no year, a locked month or a closed
    year, where a restricted fund would be overdrawn, and on a server whose clock is behind the last entry.
    """
    lines, source_type = without_nil(lines), selectors.source_type(source)
    roles = {line.account for line in lines if isinstance(line.account, Role)}
    found = _standing(on, roles, (source_type, source.pk, purpose))
    if found.posted:
        return JournalEntry.objects.get(pk=found.posted)
    if is_opening:
        refuse_late_opening(on)
    year = None if is_opening else _year_of(found, on, is_closing)
    accounts = _by_line(lines, found.accounts)
    _refuse_unsound(lines, accounts)
    entry = JournalEntry(
        number=found.last_number + 1,
        date=on,
        year_id=year,
        narration=narration[:300],
        source_type=source_type,
        source_id=source.pk,
        purpose=purpose,
        reverses=reverses,
        is_closing=is_closing,
        posted_by=by,
        posted_at=timezone.now(),
        previous_digest=found.last_digest,
    )
    postings = [
        Posting(account=account, fund_id=line.fund_code, party=line.party, amount=line.amount)
        for line, account in zip(lines, accounts, strict=True)
    ]
    _write_sealed(entry, postings)
    return entry


def _standing(on: date, roles: Collection[Role], post: tuple[str, int, str]) -> Standing:
    """Take the book's place in the queue and ask what the post must know; on PostgreSQL both at once.

    Raises Refused where no book has been started.
    """
    latest = connection.ops.adapt_datetimefield_value(timezone.now() + CLOCKS_DIFFER_BY)
    text = STANDING.format(roles=", ".join(["%s"] * len(roles)) or "NULL")
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(text, [on, latest, *post, on, *roles])
        else:
            cursor.execute(f"{HOLD}{text}", [on, latest, *post, on, *roles])
            cursor.nextset()
        rows = cursor.fetchall()
    if not rows:
        lock_book()
    last_number, last_digest, year, is_shut, is_behind, posted = rows[0][:6]
    accounts = [Account.from_db(connection.alias, ACCOUNT, row[6:]) for row in rows if row[6]]
    by_role = {str(each.role): each for each in accounts}
    return Standing(last_number, last_digest, year, bool(is_shut), bool(is_behind), posted, by_role)


def _year_of(found: Standing, on: date, is_closing: bool) -> int:
    """The year that the day is in. Raises Refused where it is in no open month, or the last entry was posted later.

    Entries follow one another in time as well as by number, whichever server posts them.
    """
    if found.clock_is_behind and found.last_number > settings.CLOCK_WRONG_UNTIL_ENTRY:
        last, now = JournalEntry.objects.get(number=found.last_number), timezone.now()
        here, there = (f"{day_text(each)}, {each:%H:%M}" for each in map(timezone.localtime, (now, last.posted_at)))
        raise Refused(
            f"By this server's clock it is {here}, but entry {last.number} was posted on {there}. Nothing was"
            " saved: whoever looks after the server sets its clock right first."
        )
    if found.year is None or found.is_shut:
        year = selectors.year_containing(on)
        refuse_shut_in(year, on, is_closing)
        return year.pk
    return found.year


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
    return _by_line(lines, {str(account.role): account for account in selectors.with_roles(*roles)})


def _by_line(lines: Sequence[Line], found: Mapping[str, Account]) -> list[Account]:
    """The account of each line, by those that were found by their roles."""
    for line in lines:
        if isinstance(line.account, Role) and line.account not in found:
            raise Refused(f"No account has the role “{line.account.label}”; give it to one in the chart.")
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
            " Put more in first, or decide on a smaller amount."
        )
