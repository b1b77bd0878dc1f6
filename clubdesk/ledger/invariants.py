"""What must always be true of the books: a register that each room adds to, and the ledger's own part.

An invariant is a function that yields one sentence a fault, re-derived from the rows themselves.
"""

import logging
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby, islice
from math import inf
from operator import itemgetter
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import F, Max, Min, Q, QuerySet

from clubdesk import guards, twice, upkeep
from clubdesk.clock import day_text
from clubdesk.evidence import fault_of_stored
from clubdesk.faults import OF_DATABASE, Kind, kind_of
from clubdesk.ledger import selectors
from clubdesk.ledger.chain import LINE, SEALED, Row, digest_of_rows
from clubdesk.ledger.models import (
    GENESIS,
    Account,
    Book,
    Document,
    FinancialYear,
    Fund,
    Journal,
    JournalEntry,
    MonthBalance,
    MonthUnlock,
    Party,
    Posting,
    Role,
    UnlockState,
)
from clubdesk.ledger.stored import locked_months, months_that_differ, posted_in_funds
from clubdesk.moment import one_moment
from clubdesk.money import in_cents, in_units, shown, sum_of

log = logging.getLogger(__name__)
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


def _in_silence(name: str) -> None:
    """Nobody asked which check runs."""


@one_moment()
def check_all(begins: Callable[[str], object] = _in_silence) -> list[Result]:
    """Every registered invariant with its first faults, all at one moment; `begins` is told each that is begun.

    Every row is read and none kept, so that it takes memory for one check alone, and time as the book grows.
    """
    results = []
    for name in _register:
        begins(name)
        results.append(check_one(name))
    return results


def check_one(name: str) -> Result:
    """The invariant registered under that sentence, with its first faults."""
    return Result(name, _found_by(_register[name]))


def _found_by(check: Look) -> list[str]:
    """The first faults; also that a row cannot be read, as where the file of the database was spoilt."""
    try:
        return _first(check())
    except OF_DATABASE as error:
        if kind_of(error) is not Kind.DAMAGED:
            raise
        return [f"This cannot be looked at, since the file of the book is damaged: {error}."]
    except Exception as error:
        log.error("the check failed", exc_info=error)
        return [f"This cannot be looked at, since something that the book holds cannot be read: {error}."]


def _first(faults: Iterable[str]) -> list[str]:
    """The first faults, and how many more there are."""
    found = iter(faults)
    told = list(islice(found, MOST_FAULTS))
    more = sum(1 for _ in found)
    return [*told, f"… and {more} more."] if more else told


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


@invariant("The database's file is whole")
def file_is_whole() -> Iterator[str]:
    yield from upkeep.damage()


@invariant("The database guards stand")
def guards_stand() -> Iterator[str]:
    yield from guards.faults(connection)
    yield from twice.faults(connection)


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
    previous, lines = GENESIS, _lines_by_entry()
    rows = JournalEntry.objects.order_by("number").values_list("pk", "digest", *SEALED).iterator(chunk_size=2000)
    for pk, digest, *content in rows:
        number = content[1]
        if content[0] != previous:
            yield f"The chain breaks at entry {number}: it does not follow the entry before it."
            return
        if digest_of_rows(content, lines(pk)) != digest:
            yield f"The chain breaks at entry {number}: its content is not what was sealed."
            return
        previous = digest


def _lines_by_entry() -> Callable[[int], list[Row]]:
    """What gives the lines of each entry, asked in the order of entry numbers; they are read once through."""
    found: QuerySet[Any, Any] = Posting.objects.order_by("entry__number", "pk")
    rows = found.values_list("entry", *LINE, in_cents("amount")).iterator(chunk_size=5000)
    row = next(rows, None)

    def of(entry: int) -> list[Row]:
        nonlocal row
        lines: list[Row] = []
        while row is not None and row[0] == entry:
            lines.append((*row[1:-1], in_units(row[-1])))
            row = next(rows, None)
        return lines

    return of


@invariant("Stored month balances equal the postings")
def stored_months_hold() -> Iterator[str]:
    locked = locked_months()
    ends = MonthBalance.objects.order_by("month_end").values_list("month_end", flat=True).distinct()
    for end in sorted(set(ends) - set(locked)):
        yield f"Balances are stored for {end:%B %Y}, which is not locked."
    for end, wrong in months_that_differ(locked):
        named = ", ".join(sorted(map(str, Account.objects.in_bulk(wrong).values())))
        yield f"The balances stored for {end:%B %Y} are not those of the postings: {named}."


@invariant("Each fund's balance is what its postings make it, and no restricted fund is overdrawn")
def funds_hold() -> Iterator[str]:
    posted = posted_in_funds()
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
    first = FinancialYear.objects.aggregate(first=Min("first_day"))["first"]
    for entry in JournalEntry.objects.filter(year=None, date__gte=first) if first else ():
        yield f"Entry {entry.number} is in no financial year, though it is not from before the first."


@invariant("A month that was opened again was asked for by one and agreed to by another, and then opened")
def unlocks_hold() -> Iterator[str]:
    agreed = MonthUnlock.objects.filter(state=UnlockState.AGREED)
    for each in agreed.filter(Q(decided_by=F("recorded_by")) | Q(decided_by=None)).select_related("recorded_by"):
        yield f"{each}: {each.recorded_by} asked for it, and nobody else agreed."
    for each in agreed.filter(done=False):
        yield f"{each}: two people wanted it, and it is not done."
    for each in MonthUnlock.objects.exclude(state=UnlockState.AGREED).filter(done=True):
        yield f"{each}: it was done, and nobody agreed to it."


@invariant("Each document attached to a journal is the file that was uploaded")
def journal_documents_hold() -> Iterator[str]:
    for journal in Journal.objects.exclude(receipt=""):
        if fault := fault_of_stored(journal.receipt, journal.receipt_digest):
            yield f"The document of the journal {journal} {fault}."


def document_models() -> list[type[Document]]:
    return [model for model in apps.get_models() if issubclass(model, Document)]


Found = tuple[float, dict[str, bool]]
"""A document's id, and the purposes of its entries, each with whether it stands."""
NO_MORE: Found = (inf, {})
OF_NO_DOCUMENT = ("ledger.financialyear", "ledger.journalentry")


@invariant("Each document has the entries its state calls for, once, and no entry lacks its document")
def documents_match_entries() -> Iterator[str]:
    named = set(JournalEntry.objects.values_list("source_type", flat=True).order_by().distinct())
    models = {selectors.source_type(model): model for model in document_models()}
    call_for_none = {of for of, model in models.items() if model.entries_called_for is Document.entries_called_for}
    looked_at = named | (_held(models) - call_for_none)
    for source_type, model in models.items():
        if source_type in looked_at:
            yield from _unmatched(model)
    if unknown := named - models.keys() - {*OF_NO_DOCUMENT}:
        strange = JournalEntry.objects.filter(source_type__in=unknown).order_by("source_type", "source_id")
        for source_type, source_id in strange.values_list("source_type", "source_id").distinct().iterator():
            yield _of_nothing(source_type, source_id)
    yield from _unmatched_years_and_reversals()


def _held(models: dict[str, type[Document]]) -> set[str]:
    """The kinds of which the book holds any document, in one question instead of one a kind."""
    kinds, name = list(models), connection.ops.quote_name
    tables = (name(models[kind]._meta.db_table) for kind in kinds)
    asked = (f"SELECT {number} WHERE EXISTS (SELECT 1 FROM {table})" for number, table in enumerate(tables))
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(asked))
        return {kinds[number] for (number,) in cursor.fetchall()}


def _of_nothing(source_type: str, source_id: float) -> str:
    return f"The journal names a document that does not exist: {source_type} {source_id}."


def _unmatched(model: type[Document]) -> Iterator[str]:
    """Faults of one kind of document: documents and entries are read side by side, by the document's id."""
    source_type = selectors.source_type(model)
    entries = _entries_by_document(source_type)
    pk, found = next(entries, NO_MORE)
    documents = model._base_manager.order_by("pk")
    if model.entries_follow_from is not None:
        documents = documents.only("pk", *model.entries_follow_from)
    for document in documents.iterator(chunk_size=2000):
        while pk < document.pk:
            yield _of_nothing(source_type, pk)
            pk, found = next(entries, NO_MORE)
        own: dict[str, bool] = {}
        if pk == document.pk:
            own = found
            pk, found = next(entries, NO_MORE)
        standing = {purpose for purpose, stands in own.items() if stands or model.may_be_reversed}
        if standing != document.entries_called_for:
            yield from _unlike(document, standing, document.entries_called_for)
    while pk < inf:
        yield _of_nothing(source_type, pk)
        pk, found = next(entries, NO_MORE)


def _unlike(document: Document, standing: set[str], called_for: set[str]) -> Iterator[str]:
    for purpose in sorted(called_for - standing):
        yield f"{document._meta.verbose_name} {document.pk} lacks its entry “{purpose}”."
    for purpose in sorted(standing - called_for):
        yield f"{document._meta.verbose_name} {document.pk} has an entry “{purpose}” that it does not call for."


def _entries_by_document(source_type: str) -> Iterator[Found]:
    rows = JournalEntry.objects.filter(source_type=source_type).order_by("source_id")
    read = rows.values_list("source_id", "purpose", "reversed_by").iterator(chunk_size=2000)
    for pk, entries in groupby(read, key=itemgetter(0)):
        yield pk, {purpose: reversal is None for _, purpose, reversal in entries}


UNDONE_OTHERWISE = """
WITH RECURSIVE party (id, stands) AS (
    SELECT id, id FROM ledger_party WHERE merged_into_id IS NULL
    UNION ALL SELECT p.id, s.stands FROM ledger_party p JOIN party s ON s.id = p.merged_into_id
)
SELECT number, undone FROM (
    SELECT r.number, e.number AS undone, p.account_id, p.fund_id, p.party_id, -p.amount AS amount, 1 AS side
    FROM ledger_journalentry r JOIN ledger_journalentry e ON e.id = r.reverses_id
        JOIN ledger_posting p ON p.entry_id = r.id
    UNION ALL
    SELECT r.number, e.number, p.account_id, p.fund_id, p.party_id, p.amount, -1
    FROM ledger_journalentry r JOIN ledger_journalentry e ON e.id = r.reverses_id
        JOIN ledger_posting p ON p.entry_id = e.id
) line LEFT JOIN party ON party.id = party_id
GROUP BY number, undone, account_id, fund_id, stands, amount HAVING SUM(side) <> 0
"""
"""What is undone for a party is undone for whoever it was merged into."""


def _unmatched_years_and_reversals() -> Iterator[str]:
    reversals = JournalEntry.objects.filter(source_type="ledger.journalentry").exclude(reverses=F("source_id"))
    for number in reversals.values_list("number", flat=True):
        yield f"Entry {number} says it reverses an entry that it does not name."
    closings = JournalEntry.objects.filter(source_type="ledger.financialyear")
    for number in closings.exclude(year=F("source_id"), is_closing=True).values_list("number", flat=True):
        yield f"Entry {number} is not a closing entry of its year."
    with connection.cursor() as cursor:
        cursor.execute(UNDONE_OTHERWISE)
        for number, undone in sorted(set(cursor.fetchall())):
            yield f"Entry {number} does not undo entry {undone} line by line."
