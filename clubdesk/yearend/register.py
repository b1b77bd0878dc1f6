"""The register of equipment: what the club has on a day, what each thing has lost in worth, and what it still loses."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Protocol, TypeVar

from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce
from djmoney.money import Money

from clubdesk.ledger.models import Journal, JournalEntry, Posting, Role
from clubdesk.ledger.selectors import ZERO, source_type
from clubdesk.money import Figure, as_amount, half_up, sum_of, total
from clubdesk.yearend.models import DepreciationLine, Disposal, Equipment

Posted = TypeVar("Posted", DepreciationLine, Disposal)


def stands(rows: QuerySet[Posted], as_at: date | None = None) -> QuerySet[Posted]:
    """Those of the rows with a `journal` whose entry was not reversed; with `as_at`, as it was at that day's end."""
    entry = JournalEntry.objects.filter(
        source_type=source_type(Journal), source_id=OuterRef("journal"), purpose="journal"
    )
    if as_at is None:
        return rows.filter(Exists(entry.filter(reversed_by=None)))
    later = Q(reversed_by=None) | Q(reversed_by__date__gt=as_at)
    return rows.filter(Exists(entry.filter(later, date__lte=as_at)))


class WithWorth(Protocol):
    """What a screen reads of equipment that `with_worth_and_gone` has added to."""

    withdrawn_on: date | None
    gone_on: date | None
    worth: Decimal


def with_worth_and_gone(rows: QuerySet[Equipment]) -> QuerySet[Equipment]:
    """Each with `gone_on`, the day it was disposed of (None while the club has it), and its `worth` in the book."""
    disposal = stands(Disposal.objects.filter(equipment=OuterRef("pk")))
    lines = stands(DepreciationLine.objects.filter(equipment=OuterRef("pk"))).order_by()
    lost = lines.values("equipment").annotate(figure=sum_of("amount")).values("figure")
    left = F("cost") - F("brought_in") - Coalesce(Subquery(lost), Value(0), output_field=Figure())
    return rows.annotate(gone_on=Subquery(disposal.values("gone_on")[:1]), worth=left)


def disposal_of(thing: Equipment) -> Disposal | None:
    """How the thing went, where it is gone and that was not reversed."""
    return stands(thing.disposals.all()).first()


def owned(on: date, known_at: datetime | None = None) -> QuerySet[Equipment]:
    """Equipment that the club had at the end of that day, of what was in the register at `known_at`."""
    gone = stands(Disposal.objects.filter(equipment=OuterRef("pk")), on)
    rows = Equipment.objects.filter(~Exists(gone), bought_on__lte=on, withdrawn_on=None).select_related("fund")
    return rows.filter(recorded_at__lte=known_at) if known_at else rows


def months_used(thing: Equipment, until: date) -> int:
    """Whole months of use, the month it was bought in counted whole."""
    return (until.year - thing.bought_on.year) * 12 + until.month - thing.bought_on.month + 1


def lost_by(thing: Equipment, until: date) -> Decimal:
    """What it has lost by the end of `until`'s month by its years.

    Equal parts a month from the month it was bought in (straight line), rounded to the cent in the running total, so
    that the last part makes it exact. Source of the method: IAS 16, paragraph 62, which names it (from memory).
    """
    whole = (thing.cost - thing.residual).amount
    used = min(max(months_used(thing, until), 0), 12 * thing.years)
    return half_up(whole * used / (12 * thing.years))


def depreciated(thing: Equipment) -> Money:
    """What it has lost by what stands posted, before this book too."""
    lost: Money = thing.brought_in + total(line.amount for line in stands(thing.depreciation.all()))
    return lost


@dataclass
class Register:
    """What the club has at the end of a day, with what was posted of each thing, read once."""

    on: date
    things: list[Equipment]
    posted: dict[int, list[DepreciationLine]]
    gone: set[int]

    @classmethod
    def at(cls, on: date, *, as_posted_on: date | None = None, known_at: datetime | None = None) -> "Register":
        """The register of the day `on`; with `as_posted_on`, by what was posted up to that day alone."""
        things = list(owned(on, known_at))
        posted: dict[int, list[DepreciationLine]] = {thing.pk: [] for thing in things}
        lines = stands(DepreciationLine.objects.filter(equipment__in=things), as_posted_on)
        for line in lines.order_by("until", "pk"):
            posted[line.equipment_id].append(line)
        gone = set(stands(Disposal.objects.filter(equipment__in=things)).values_list("equipment", flat=True))
        return cls(on, things, posted, gone)

    def posted_between(self, thing: Equipment, first: date, last: date) -> Decimal:
        lines = (line for line in self.posted[thing.pk] if first <= line.until <= last)
        return sum((line.amount.amount for line in lines), ZERO)

    def posted_until(self, thing: Equipment, until: date) -> Decimal:
        """What was posted of it up to that day, and what it had lost before this book."""
        lost: Decimal = thing.brought_in.amount + self.posted_between(thing, date.min, until)
        return lost

    def to_lose(self, thing: Equipment, until: date) -> Money:
        """What it loses by the end of `until`'s month and has not lost yet; never below nil."""
        return as_amount(max(lost_by(thing, until) - self.posted_until(thing, until), ZERO))

    def behind(self, until: date) -> list[tuple[Equipment, Money]]:
        """Each thing that has lost more by that day than was posted, with what is still to post.

        What is gone since is left out: its whole worth left the books with it.
        """
        found = [
            (thing, self.to_lose(thing, until))
            for thing in self.things
            if thing.bought_on <= until and thing.pk not in self.gone
        ]
        return [(thing, amount) for thing, amount in found if amount.amount > 0]

    def posted_later(self, thing: Equipment, until: date) -> DepreciationLine | None:
        """What was posted of it for a day after `until`."""
        return next((line for line in self.posted[thing.pk] if line.until > until), None)


def last_undone(things: Iterable[Equipment]) -> date:
    """The last day on which depreciation or a disposal of any of them was reversed; the first of days where none was.

    What is posted anew is dated no earlier, so that on no day the same loss stands twice.
    """
    journals = Q(depreciation__equipment__in=things) | Q(disposal__equipment__in=things)
    entries = JournalEntry.objects.filter(
        source_type=source_type(Journal), source_id__in=Journal.objects.filter(journals).values("pk"), purpose="journal"
    )
    return entries.aggregate(last=Max("reversed_by__date"))["last"] or date.min


def loss_of(disposal: Disposal) -> Money:
    """What was lost by a disposal as it was posted; below nil where it was a gain."""
    lines = Posting.objects.filter(
        entry__source_type=source_type(Journal), entry__source_id=disposal.journal_id, entry__purpose="journal",
        account__role=Role.DISPOSALS,
    )  # fmt: skip
    return as_amount(total(line.amount for line in lines))
