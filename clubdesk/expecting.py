"""What a room tells of money that goes over a bank account: what a statement may show, and what runs there."""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal


@dataclass(frozen=True)
class Expected:
    """Something that a line of the club's bank account may be: cents, money in positive, about the day.

    `names` are pairs of given and family name; `references` stand as a word of their own in the line; things of one
    `batch` may come in one sum; `payer` is who pays or is paid, so that two things of one payer are no rivals.
    The bank may show it from `early` days before to `late` days after its day. `what` tells it to a person.
    """

    key: Hashable
    day: date
    cents: int
    what: str
    names: tuple[tuple[str, str], ...] = ()
    references: tuple[str, ...] = ()
    batch: str = ""
    payer: str = ""
    early: int = 3
    late: int = 10
    loose: bool = False
    """Whether a part of it, or more than it, may come: what a family owes."""
    parts: "tuple[Expected, ...]" = ()
    """What it is made of, where some of that may come alone: the vouchers of a list."""
    says: tuple[str, ...] = ()
    """Words of which one stands in any line that is this: money that comes back."""


@dataclass(frozen=True)
class Coming:
    """Money that is due: cents, in positive, out negative; by a day, or None where no day was set for it.

    `what` tells what it is together with others of its kind, as “vouchers claimed”.
    """

    day: date | None
    cents: int
    what: str


@dataclass(frozen=True)
class PaysInto:
    """What the room's documents put, over all time, into an account of money that rooms share, less what they took out.

    `role` is the account's, as the till's or the card reader's. `uncounted` gives the days between two on which
    something of it was to be counted and was not.
    """

    role: str
    figure: Callable[[], Decimal]
    uncounted: Callable[[date, date], Iterable[date]] = lambda first, last: ()


@dataclass(frozen=True)
class StreamOf:
    """Money of the room that reaches the club's bank account, or leaves it (below nil), over all time.

    `documents` is what they say of it, `sources` the kinds of document whose entries it is, as the ledger names them;
    `still` says what has not got that far. `place` is where it stands among the streams, smaller numbers first.
    """

    name: str
    place: int
    documents: Callable[[], Decimal]
    sources: tuple[str, ...]
    still: Callable[[], str]
