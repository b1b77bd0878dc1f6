"""What was put right after a year was closed: told beside its figures, which stay as they were printed."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import timedelta
from itertools import groupby
from operator import itemgetter

from django.db.models import QuerySet

from clubdesk.clock import day_text
from clubdesk.ledger.models import FinancialYear, Journal, JournalEntry, JournalOrigin, Posting
from clubdesk.money import from_cents, in_cents, shown
from clubdesk.reports.selectors import Figures
from clubdesk.reports.tracing import CASH, JOURNAL, Chart, moves_of

Told = Iterator[tuple[JournalEntry, int | None, str]]


def corrected_since(now: Figures, known: int | None = None) -> dict[int | None, list[str]]:
    """What journals of later years put right of a closed year's money: sentences, by the line that they are about.

    Under None stands what was in no line of it. Where it is told as it was once, `known` is the last entry that the
    book had then. Nothing is told of other days than a closed year. A journal by hand
    says of no year; it is taken to put the year before right where it takes more off a line than its own year has of it
    (common practice, no source).
    """
    found: dict[int | None, list[str]] = defaultdict(list)
    years = FinancialYear.objects.filter(first_day=now.first, last_day=now.last)
    if year := years.exclude(closed_at=None).first():
        for tell in (_undone, _corrections, _moved_on):
            for entry, line, words in tell(now, year):
                if known is None or entry.number <= known:
                    found[line].append(f"corrected since: {words}, by entry {entry.number} of {day_text(entry.date)}")
    return found


def _undone(now: Figures, year: FinancialYear) -> Told:
    """Journals of the year that were reversed after it; not those that were to be undone by themselves."""
    wrong = Journal.objects.filter(reverse_on=None).values("pk")
    entries = JournalEntry.objects.filter(
        date__gt=now.last, reverses__year=year, reverses__source_type=JOURNAL, reverses__source_id__in=wrong
    )
    for entry, moved in _money_of(entries, now):
        for line, cents in moved.items():
            yield entry, line, f"{_amount(abs(cents))} was undone"


def _corrections(now: Figures, year: FinancialYear) -> Told:
    """What was written on the page for errors of that year, as far as it was money."""
    named = Journal.objects.filter(origin=JournalOrigin.CORRECTION, corrects_year=year)
    for entry, moved in _money_of(_standing(named).filter(date__gt=now.last), now):
        yield entry, None, f"{entry.narration}, {_amount(sum(moved.values()))}"


def _moved_on(now: Figures, year: FinancialYear) -> Told:
    """What journals of the year after say anew of what money was for, and that year has not had of it."""
    after = FinancialYear.objects.filter(first_day=year.last_day + timedelta(days=1)).first()
    if after is None:
        return
    by_hand = Journal.objects.filter(origin__in=(JournalOrigin.HAND, JournalOrigin.FILE))
    with_money = Posting.objects.filter(entry__year=after, account__is_money=True).values("entry")
    entries = _standing(by_hand).filter(year=after).exclude(pk__in=with_money)
    then, names = now.of_other_days(after.first_day, after.last_day), {each.pk: each for each in now.accounts}
    for entry, moved in _money_of(entries, now):
        for line, cents in moved.items():
            was, other = now.cash(names[line]), then.cash(names[line])
            if cents * was < 0 and was * other < 0 and from_cents(abs(cents)).amount <= abs(was):
                to = ", ".join(names[each].name for each, moving in moved.items() if moving * cents < 0)
                yield entry, line, f"{_amount(abs(cents))} was for {to}"


def _standing(journals: QuerySet[Journal]) -> QuerySet[JournalEntry]:
    rows = JournalEntry.objects.filter(source_type=JOURNAL, source_id__in=journals.values("pk"))
    return rows.filter(reverses=None, reversed_by=None)


def _amount(cents: int) -> str:
    return shown(from_cents(cents))


def _money_of(entries: QuerySet[JournalEntry], now: Figures) -> Iterator[tuple[JournalEntry, dict[int, int]]]:
    """Each entry that moved money, with how much in which line, in cents."""
    chart = Chart.of(now.accounts)
    rows = Posting.objects.filter(entry__in=entries, fund__in=now.funds).order_by("entry", "fund")
    lines = groupby(rows.values_list("entry", "fund", "account", in_cents("amount")), key=itemgetter(0, 1))
    found: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for (entry, _), of_fund in lines:
        for line, against, cents in moves_of([row[2:] for row in of_fund], None, chart, is_journal=True):
            if against == CASH and cents:
                found[entry][line] += cents
    for each in entries.order_by("number"):
        if any(found[each.pk].values()):
            yield each, found[each.pk]
