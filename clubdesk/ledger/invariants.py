"""What must always be true of the books: a register that each room adds to, and the ledger's own part.

An invariant is a function that yields one sentence a fault, re-derived from the rows themselves.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import F, Max, Min, Q

from clubdesk import guards
from clubdesk.clock import day_text
from clubdesk.evidence import fault_of_stored
from clubdesk.ledger import selectors
from clubdesk.ledger.chain import digest_of
from clubdesk.ledger.models import (
    GENESIS,
    Account,
    Book,
    Document,
    FinancialYear,
    Fund,
    Journal,
    JournalEntry,
    Kind,
    MonthBalance,
    Party,
    Posting,
    Role,
)
from clubdesk.money import shown, sum_of

MOST_FAULTS = 20


@dataclass(frozen=True)
class Result:
    name: str
    faults: list[str]


Look = Callable[[], Iterable[str]]
_register: dict[str, Look] = {}


def invariant(name: str) -> Callable[[Look], Look]:
    """Register the decorated function under the sentence `name` that it proves."""

    def add(check: Look) -> Look:
        _register[name] = check
        return check

    return add


def registered() -> list[str]:
    """The sentence of every invariant, in the order in which they are looked at."""
    return list(_register)


def check_all() -> list[Result]:
    """Every registered invariant with its first faults."""
    results = []
    for name, check in _register.items():
        faults = list(check())
        if len(faults) > MOST_FAULTS:
            faults = [*faults[:MOST_FAULTS], f"… and {len(faults) - MOST_FAULTS} more."]
        results.append(Result(name, faults))
    return results


def differences(
    what: str, ledger: dict[Any, Decimal], detail: dict[Any, Decimal], name: Callable[[Any], str] = str
) -> Iterator[str]:
    """A sentence for each key whose figure in the ledger is not that of the documents."""
    for key in sorted(ledger.keys() | detail.keys(), key=str):
        posted, written = ledger.get(key, selectors.ZERO), detail.get(key, selectors.ZERO)
        if posted != written:
            yield f"{what}, {name(key)}: the ledger says {shown(posted)}, the documents say {shown(written)}."


def party_differences(role: Role, detail: dict[int, Decimal], *, credit: bool = False) -> Iterator[str]:
    """Faults where the control account `role` differs from `detail`, per party."""
    sign = -1 if credit else 1
    rows = Posting.objects.filter(account__role=role).values_list("party_id").annotate(figure=sum_of("amount"))
    ledger = {party: sign * figure for party, figure in rows.order_by() if figure}
    names = Party.objects.in_bulk([key for key in ledger.keys() | detail.keys() if key])
    yield from differences(
        Role(role).label, ledger, {k: v for k, v in detail.items() if v}, lambda key: str(names.get(key, key))
    )


@invariant("The database guards stand")
def guards_stand() -> Iterator[str]:
    yield from guards.faults(connection)


@invariant("Every entry sums to zero in each fund and is sealed")
def entries_balance() -> Iterator[str]:
    for row in selectors.unsummed_entries():
        yield f"Entry {row['number']} is out by {shown(row['figure'])} in {row['fund_name']}."
    for number in JournalEntry.objects.filter(Q(sealed=False) | Q(postings=None)).values_list("number", flat=True):
        yield f"Entry {number} was begun and never sealed."


@invariant("The trial balance sums to zero on every date")
def trial_balance_is_zero() -> Iterator[str]:
    running = Decimal(0)
    by_date = Posting.objects.values_list("entry__date").annotate(figure=sum_of("amount"))
    for day, figure in by_date.order_by("entry__date"):
        running += figure
        if running:
            yield f"On {day_text(day)} the trial balance is out by {shown(running)}."
    last = selectors.last_day_posted()
    if last:
        trial = selectors.trial_balance(last)
        if trial.total_debit != trial.total_credit:
            yield f"The trial balance prints {shown(trial.total_debit)} and {shown(trial.total_credit)}."


@invariant("Entry numbers have no gap")
def numbers_have_no_gap() -> Iterator[str]:
    ends = JournalEntry.objects.aggregate(first=Min("number"), last=Max("number"))
    count = JournalEntry.objects.count()
    if count and (ends["first"] != 1 or ends["last"] != count):
        expected = 1
        for number in JournalEntry.objects.order_by("number").values_list("number", flat=True).iterator():
            if number != expected:
                yield f"Entry {expected} is missing; the next is {number}."
                return
            expected += 1


@invariant("The book's head is its last entry")
def head_holds() -> Iterator[str]:
    last = JournalEntry.objects.filter(sealed=True).order_by("-number").first()
    for book in Book.objects.all():
        head = (book.last_number, book.last_digest)
        if head != ((last.number, last.digest) if last else (0, GENESIS)):
            yield f"The book says that its last entry is {book.last_number}, which is not the last that stands."


@invariant("The chain of digests holds from the first entry to the last")
def chain_holds() -> Iterator[str]:
    previous = GENESIS
    entries = JournalEntry.objects.order_by("number").iterator(chunk_size=2000)
    lines = _lines_by_entry()
    for entry in entries:
        if entry.previous_digest != previous:
            yield f"The chain breaks at entry {entry.number}: it does not follow the entry before it."
            return
        if digest_of(entry, next(lines)) != entry.digest:
            yield f"The chain breaks at entry {entry.number}: its content is not what was sealed."
            return
        previous = entry.digest


def _lines_by_entry() -> Iterator[list[Posting]]:
    """The lines of each entry in the order of entry numbers, read once through."""
    numbers = JournalEntry.objects.order_by("number").values_list("pk", flat=True).iterator(chunk_size=2000)
    rows = Posting.objects.order_by("entry__number", "pk").iterator(chunk_size=5000)
    row = next(rows, None)
    for entry_id in numbers:
        lines = []
        while row is not None and row.entry_id == entry_id:
            lines.append(row)
            row = next(rows, None)
        yield lines


@invariant("Stored month balances equal the postings")
def stored_months_hold() -> Iterator[str]:
    ends = MonthBalance.objects.order_by("month_end").values_list("month_end", flat=True).distinct()
    locked = {
        end
        for year in FinancialYear.objects.exclude(locked_through=None)
        for end in selectors.month_ends(year.first_day, year.locked_through or year.first_day)
    }
    for end in sorted(set(ends) - locked):
        yield f"Balances are stored for {end:%B %Y}, which is not locked."
    keys = ("account_id", "fund_id", "party_id")
    running: dict[tuple[Any, ...], Decimal] = {}
    after = None
    for end in sorted(locked):
        moved = Posting.objects.filter(entry__date__lte=end)
        if after:
            moved = moved.filter(entry__date__gt=after)
        rows = moved.values_list(*keys, "entry__is_closing").annotate(figure=sum_of("amount")).order_by()
        for *key, figure in rows:
            running[tuple(key)] = running.get(tuple(key), Decimal(0)) + figure
        stored = {}
        for row in MonthBalance.objects.filter(month_end=end):
            stored[row.account_id, row.fund_id, row.party_id, False] = row.balance.amount
            stored[row.account_id, row.fund_id, row.party_id, True] = row.closing.amount
        wrong = [key for key in running.keys() | stored.keys() if running.get(key, 0) != stored.get(key, 0)]
        if wrong:
            accounts = Account.objects.in_bulk({key[0] for key in wrong})
            named = ", ".join(sorted({str(accounts[key[0]]) for key in wrong}))
            yield f"The balances stored for {end:%B %Y} are not those of the postings: {named}."
        after = end


@invariant("Each fund's balance is what its postings make it, and no restricted fund is overdrawn")
def funds_hold() -> Iterator[str]:
    rows = Posting.objects.filter(account__kind__in=(Kind.ASSET, Kind.LIABILITY)).values_list("fund_id")
    posted = dict(rows.annotate(figure=sum_of("amount")).order_by())
    for fund in Fund.objects.all():
        figure = posted.get(fund.pk, selectors.ZERO)
        if fund.balance.amount != figure:
            yield f"{fund} is kept at {shown(fund.balance)}; its postings make {shown(figure)}."
        if fund.restricted and figure < 0:
            yield f"{fund} is overdrawn by {shown(-figure)}."


@invariant("Nothing is posted into a closed year after its closing entry")
def closed_years_stay() -> Iterator[str]:
    for year in FinancialYear.objects.exclude(closed_at=None):
        closing = year.entries.filter(is_closing=True).aggregate(last=Max("number"))["last"]
        if closing:
            for entry in year.entries.filter(number__gt=closing):
                yield f"Entry {entry.number} of {day_text(entry.date)} came after {year} was closed."
    astray = JournalEntry.objects.exclude(date__gte=F("year__first_day"), date__lte=F("year__last_day"))
    for entry in astray:
        yield f"Entry {entry.number} is dated outside its financial year."


@invariant("Each document attached to a journal is the file that was uploaded")
def journal_documents_hold() -> Iterator[str]:
    for journal in Journal.objects.exclude(receipt=""):
        if fault := fault_of_stored(journal.receipt, journal.receipt_digest):
            yield f"The document of the journal {journal} {fault}."


def document_models() -> list[type[Document]]:
    return [model for model in apps.get_models() if issubclass(model, Document)]


@invariant("Each document has the entries its state calls for, once, and no entry lacks its document")
def documents_match_entries() -> Iterator[str]:
    purposes: dict[tuple[str, int], dict[str, bool]] = {}
    entries = JournalEntry.objects.exclude(source_type__in=("ledger.financialyear", "ledger.journalentry"))
    for row in entries.values_list("source_type", "source_id", "purpose", "reversed_by").iterator():
        source_type, source_id, purpose, reversal = row
        purposes.setdefault((source_type, source_id), {})[purpose] = reversal is None
    for model in document_models():
        yield from _unmatched(model, purposes)
    for source_type, source_id in purposes:
        yield f"The journal names a document that does not exist: {source_type} {source_id}."
    yield from _unmatched_years_and_reversals()


def _unmatched(model: type[Document], purposes: dict[tuple[str, int], dict[str, bool]]) -> Iterator[str]:
    """Faults of one kind of document; takes what it has matched out of `purposes`."""
    source_type = selectors.source_type(model)
    for document in model._base_manager.order_by().iterator(chunk_size=2000):
        found = purposes.pop((source_type, document.pk), {})
        standing = {purpose for purpose, stands in found.items() if stands or model.may_be_reversed}
        for purpose in sorted(document.entries_called_for - standing):
            yield f"{model._meta.verbose_name} {document.pk} lacks its entry “{purpose}”."
        for purpose in sorted(standing - document.entries_called_for):
            yield f"{model._meta.verbose_name} {document.pk} has an entry “{purpose}” that it does not call for."


def _unmatched_years_and_reversals() -> Iterator[str]:
    for entry in JournalEntry.objects.filter(source_type="ledger.journalentry").select_related("reverses"):
        if entry.reverses_id != entry.source_id:
            yield f"Entry {entry.number} says it reverses an entry that it does not name."
    for entry in JournalEntry.objects.filter(source_type="ledger.financialyear").select_related("year"):
        if entry.source_id != entry.year_id or not entry.is_closing:
            yield f"Entry {entry.number} is not a closing entry of its year."
    reversals = JournalEntry.objects.exclude(reverses=None).select_related("reverses")
    for entry in reversals.prefetch_related("postings", "reverses__postings"):
        assert entry.reverses is not None
        key = ("account_id", "fund_id", "party_id")
        mine = sorted((*(str(getattr(p, k) or "") for k in key), -p.amount.amount) for p in entry.postings.all())
        theirs = sorted(
            (*(str(getattr(p, k) or "") for k in key), p.amount.amount) for p in entry.reverses.postings.all()
        )
        if mine != theirs:
            yield f"Entry {entry.number} does not undo entry {entry.reverses.number} line by line."
