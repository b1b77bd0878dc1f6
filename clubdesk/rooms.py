"""Where a room tells the house of itself: plain frozen types that know no model and no page, and their register.

Each room has one file `room.py` with its `ROOM`; `RoomConfig` puts it into the register when the site starts. What a
room says here is walked by the rooms above (home, roles, the night, the close, the workbook, what is held of a family,
the demo); no list of rooms stands anywhere but in the settings, and the house's checks say what was forgotten.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import Enum
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from django.apps import AppConfig
from django.conf import settings

from clubdesk import guards
from clubdesk.expecting import Coming, Expected, PaysInto, StreamOf
from clubdesk.recorded import Recorded as Recorded

if TYPE_CHECKING:
    from django.contrib.auth.models import User
    from django.db.models import QuerySet

    from clubdesk.audiences import Audience, ToCome
    from clubdesk.dates import Dated
    from clubdesk.demoing import Demo
    from clubdesk.families import Part
    from clubdesk.finding import Sought
    from clubdesk.lettering import LetterKind
    from clubdesk.paying import PaidInto
    from clubdesk.sheets import Beside, Look, Proved, Sheet

COORDINATOR = "Coordinator"
RANGE_HELPER = "Range helper"
APPROVER = "Approver"
TREASURER = "Treasurer"
AUDITOR = "Auditor"
ROLES = (COORDINATOR, RANGE_HELPER, APPROVER, TREASURER, AUDITOR)
SEE_ALL = "view_*"
"""In a room's roles: everything of the room may be looked at."""

ERASED = "erased"
"""What stands where personal details stood."""


class Tab(Enum):
    """The rooms as people call them: a place in the bar and a page each, which several rooms of the house may share."""

    FAMILIES = "Families"
    COURSES = "Courses"
    RANGE = "Range"
    MONEY = "Money"
    ENTRY_FUND = "Entry fund"
    SITE = "Site"


class Menu(Enum):
    """Where a line of the menu stands."""

    SCENE = "scene"
    """One of the few things done most, a large button."""
    DAILY = "daily"
    SETTING = "setting"
    """Seldom changed: under “Set up”."""


@dataclass(frozen=True)
class Entry:
    """A line of the menu: its words, the name of its page, and the permission that it needs.

    `arguments` are those of the page's address; None from it leaves the line out, as where no year is open.
    """

    title: str
    page: str
    permission: str
    place: Menu = Menu.DAILY
    arguments: Callable[[], Sequence[object] | None] = tuple
    is_likely: Callable[[date], bool] = lambda on: False
    tried: str = ""
    """Whether it is the likeliest act of the day; how a visitor tries it in the demo, in a sentence or two."""


@dataclass(frozen=True)
class ListOf:
    """A line of the menu that leads to a list of rows, `model` as “Booking”; `app` where it is not the room's own.

    `unsearched` says why a list of every day has no search box.
    """

    model: str
    place: Menu = Menu.DAILY
    app: str = ""
    unsearched: str = ""


@dataclass(frozen=True)
class Waiting:
    """How many of something wait; since when the first does, or by when the most pressing is to be done; a sentence."""

    count: int
    since: date | None = None
    by: date | None = None
    line: str = ""


@dataclass(frozen=True)
class Rows:
    """What stands in the queries together and waits. `since` names the column of dates or moments that says from when
    each waits, `by` the one that says until when it may."""

    of: "tuple[QuerySet[Any, Any], ...]"
    since: str = ""
    by: str = ""
    line: str = ""


@dataclass(frozen=True)
class Waits:
    """Something that waits, for whoever has the permission: what one and several are called, how it stands, and where.

    `now` gives rows (`clubdesk/waiting.py`), which home counts in one question for all, or what it reckoned itself.
    `page` is the name of the page where it is done, `query` what follows in its address. It waits on others where
    nobody here can do it (`on_others`), or only who has the permission `does`.
    """

    one: str
    many: str
    permission: str
    page: str
    now: Callable[[date], Waiting | Rows]
    query: str = ""
    does: str = ""
    on_others: bool = False


@dataclass(frozen=True)
class Line:
    """A line of a card: its words, its figure, a second line, and the page that it leads to.

    `taken` is how much of all there is, as seats: taken, promised, all.
    """

    words: str
    figure: str = ""
    note: str = ""
    page: str = ""
    arguments: tuple[object, ...] = ()
    taken: tuple[int, int, int] | None = None
    is_total: bool = False


@dataclass(frozen=True)
class Card:
    """How something stands, looked at and not acted on, for whoever has the permission: a few lines on its room's page
    and, for whose `week` it is (a permission too), on home, before all others for whoever has the permission `leads`.
    `empty` stands for no lines, blank for no card at all."""

    title: str
    permission: str
    lines: Callable[[date], Sequence[Line]]
    empty: str = ""
    more: str = ""
    page: str = ""
    week: str = ""
    leads: str = ""


@dataclass(frozen=True)
class First:
    """Something that a club sets up before it begins: what, a sentence why, and the page where whoever has the
    permission does it, of the row in `of` where it is the page of one. `there` gives rows, of which one is there once
    it is done; smaller places come first."""

    place: int
    title: str
    line: str
    permission: str
    page: str
    there: "Callable[[], QuerySet[Any]]"
    of: "Callable[[], QuerySet[Any]] | None" = None


@dataclass(frozen=True)
class HomePart:
    """Something on home that the room draws by a template of its own, for whoever has the permission."""

    template: str
    permission: str


@dataclass(frozen=True)
class Done:
    """What a night changed, and a sentence for each thing that could not be done yet."""

    count: int = 0
    not_yet: tuple[str, ...] = ()


@dataclass(frozen=True)
class Night:
    """What time alone changes: `told` is said after the count (“families reminded”); unsaid where it is blank.

    `run` does one transaction or one a document, and doing it twice changes nothing.
    """

    told: str
    run: "Callable[[date, User], Done]"


@dataclass(frozen=True)
class Erase:
    """How one column of a row is erased: to `to`, a value or what a function makes of the row; a file is deleted."""

    column: str
    to: Any = ERASED
    is_file: bool = False


@dataclass(frozen=True)
class Personal:
    """What the rows of a model, “expenses.Expense”, hold about a person or a family.

    `person` and `family` are the lookups from a row to whom it is about; a row that names a person is erased with
    that person, any other with the last of its family, as `erased` says and `then` does (given the row). `told` names
    the columns that stand in the file which a family gets of itself, `retained_from` the dates from which the years of
    keeping count, `free` the other columns of text with the reason why they say nothing of anybody. Rows with a moment
    in `goes_by` go as a whole: the old ones with anybody of the family, all of them with its last.
    """

    model: str
    person: str = ""
    family: str = ""
    erased: tuple[Erase, ...] = ()
    then: Callable[[Any], object] | None = None
    told: tuple[str, ...] = ()
    retained_from: tuple[str, ...] = ()
    free: Mapping[str, str] = field(default_factory=dict)
    goes_by: str = ""


@dataclass(frozen=True)
class Merging:
    """What a room has to say where two people, or two families, turn out to be one; the one that stays comes first.

    `refuses` gives a sentence for each thing of the two that cannot both stand, and says what to do first. `holds`
    takes the rows that come before families in the order of locks. `then` is done, with the merge and the day, once
    the rows of both are one's; `before_undoing` before they are apart again.
    """

    refuses: Callable[[Any, Any, date], Iterable[str]] = lambda one, other, on: ()
    holds: Callable[[Any, Any], object] = lambda one, other: None
    then: Callable[[Any, date], object] = lambda merge, on: None
    before_undoing: Callable[[Any, date], object] = lambda merge, on: None


@dataclass(frozen=True)
class Told:
    """Rows of one sheet in the file of what is held about a family; rooms that name the same sheet share it.

    `columns` are titles with their widths; `amounts` the letters of those that hold amounts. With a `permission` the
    rows stand only in a file made by somebody who has it, which the verb `logs` writes down first.
    """

    sheet: str
    columns: tuple[tuple[str, int], ...]
    rows: Callable[..., Iterable[Sequence[object]]]
    amounts: str = ""
    permission: str = ""
    logs: Callable[..., object] | None = None


@dataclass(frozen=True)
class Hit:
    """Something found: what it is called, a line that tells it from others like it, and the name of its page."""

    name: str
    line: str
    page: str
    arguments: tuple[object, ...] = ()
    is_alike: bool = False
    """Whether its name is not spelt as it was typed."""


@dataclass(frozen=True)
class Finder:
    """What search finds of one kind, for whoever has the permission: `group` is its heading, “Families”.

    `by` says what it is found by, in the words of the page; `find` gives at most so many, the likeliest first, and
    costs the same however many there are. A number after one of the words `called` is looked for here alone. `page`
    is the name of the list whose own search box finds the rest. Of finders of one group the first answers that
    somebody may use, so that what says more stands first.
    """

    group: str
    by: str
    permission: str
    find: "Callable[[Sought, int], Iterable[Hit]]"
    called: tuple[str, ...] = ()
    page: str = ""


@dataclass(frozen=True)
class Item:
    """One thing to be done before a year is closed: whether it is, what is found, and where it is put right.

    `needs` is the permission of whoever may put it right there; `whose` says in words who that is.
    """

    title: str
    done: bool
    said: str
    url: str = ""
    needs: str = ""
    whose: str = "the treasurer"


@dataclass(frozen=True)
class Check:
    """What a year needs of a room before it is closed; `needs` is the permission of its item, blank for none."""

    name: str
    needs: str
    run: Callable[..., Item | None]
    """None where the club has no such thing to do."""


@dataclass(frozen=True)
class BeforeLock:
    """What a month should have in a room before it is locked: a sentence for each thing that it lacks, asked with the
    first day and the last of what is to be locked. `means` says what it means where it is locked all the same, and
    `unlocked`, asked the same way, what becomes of what was proven where the months are unlocked."""

    lacking: Callable[[date, date], Iterable[str]]
    means: str
    unlocked: Callable[[date, date], Iterable[str]] = lambda first, last: ()


@dataclass(frozen=True)
class SheetOf:
    """A sheet of the treasurer's workbook about the room: how it looks and who writes it, given the financial year and
    what stands beside it; that gives what the sheet Proof compares, or None.

    `tab` is its place among the rooms' tabs, `proof` that of its line on the sheet Proof, the same unless it is said;
    smaller numbers first. It `goes_on` where it tells of more than entries, of what may change after a year is closed.
    """

    look: "Look"
    write: "Callable[[Sheet, Any, Beside], Proved | None]"
    tab: int
    proof: int = 0
    goes_on: bool = False


@dataclass(frozen=True)
class PageOn:
    """A page, a section, a page of the list or its bulk action, that a room adds to a document, “roll.household”.
    Pages that are `is_main` stand before all, the rest under “More”. The `permission` of an `action` names who may.
    """

    document: str
    page: Any = None
    section: Callable[..., Any] | None = None
    list_page: Any = None
    is_main: bool = False
    action: Callable[..., Any] | None = None


@dataclass(frozen=True)
class SitePage:
    """An address behind the sign-in that is no document's: its view is called with the request and the site.

    `permission` is blank where everybody signed in may; a bare page asks by itself who is there, as a phone's does.
    """

    route: str
    name: str
    view: Callable[..., Any]
    permission: str = ""
    is_bare: bool = False
    asks_again: bool = False
    """Whether whoever opens it must have said in the last minutes who they are."""


@dataclass(frozen=True)
class Scene:
    """What a room does in the demo, given the demo: each part by the verbs, as the sign-in whose work it is.

    `begin` sets up what the club has before the first day; `plan` says, with the first day of each of its two years,
    what happens when; `daily` is what any day may bring; `leave` is what a visitor finds to do on the last day.
    """

    begin: "Callable[[Demo], None]" = lambda demo: None
    plan: "Callable[[Demo, date], None]" = lambda demo, day: None
    daily: "Callable[[Demo, date], None]" = lambda demo, day: None
    leave: "Callable[[Demo, date], None]" = lambda demo, day: None


@dataclass(frozen=True)
class Room:
    """All that a room tells of itself."""

    label: str
    purpose: str
    tab: Tab
    on_home: int = 50  # in the order of a season: smaller numbers first
    menu: tuple[Entry | ListOf, ...] = ()
    today: Callable[["User", date], str] = lambda who, on: ""  # a sentence for the top of the home page, or blank
    first_things: tuple[First, ...] = ()
    under_way: "tuple[Callable[[], QuerySet[Any]], ...]" = ()  # one row is there once past the first things
    waits: tuple[Waits, ...] = ()
    cards: tuple[Card, ...] = ()
    home_parts: tuple[HomePart, ...] = ()
    each_night: tuple[Night, ...] = ()
    begins: tuple[Callable[[], object], ...] = ()  # what an empty book needs, once the chart stands
    roles: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    second_step: tuple[str, ...] = ()  # the permissions that only somebody with a second step of signing in uses
    personal: tuple[Personal, ...] = ()
    told: tuple[Told, ...] = ()
    recorded: tuple[Recorded, ...] = ()
    merging: Merging = Merging()
    holds_back: tuple[Callable[..., str], ...] = ()
    """Why somebody's details cannot be erased yet, or blank: of whom, whether the last of a family, on which day."""
    stays: tuple[Callable[[Any], Iterable[str]], ...] = ()  # what of somebody stays once erased, why, until when
    finds: tuple[Finder, ...] = ()
    before_close: tuple[Check, ...] = ()
    before_lock: tuple[BeforeLock, ...] = ()
    lacking: tuple[Callable[[Any], str], ...] = ()
    before_signing_on: "tuple[Callable[[Any, Any, User], None], ...]" = ()
    """Why the sheet of a range day does not open yet, or blank; what must be before somebody signs on by somebody."""
    sheets: tuple[SheetOf, ...] = ()
    no_sheet: str = ""  # why the workbook has no sheet about its documents
    adds: tuple[PageOn, ...] = ()
    paid_into: "Callable[[], PaidInto | None] | None" = None
    of_family: "Callable[[Any, Sequence[Any], date], Part] | None" = None
    """Where families pay, as one room knows; what a family’s page shows of the room, of its people, on a day."""
    letters: "tuple[LetterKind, ...]" = ()  # the kinds that it writes, whose text the club may change
    dates: "Callable[[date, date], Iterable[Dated]]" = lambda first, last: ()
    dates_of: "Callable[[Any, Sequence[Any], date, date], Iterable[Dated]]" = lambda home, people, first, last: ()
    """What the club has from one day to another, for everybody to see; what a family has, of its people, for itself."""
    opens: "Callable[[date], date | None] | None" = None
    """The next day on which the range is open, from a day on, as one room knows; None for none."""
    audiences: "tuple[Audience, ...]" = ()
    to_come: "Callable[[Sequence[int], date], Iterable[ToCome]] | None" = None
    """What is to come for people, by their ids, from a day on: in one question for many."""
    pages: tuple[SitePage, ...] = ()
    demo: tuple[Scene, ...] = ()
    pays_into: tuple[PaysInto, ...] = ()
    streams: tuple[StreamOf, ...] = ()
    expects: tuple[Callable[[date], Iterable[Expected]], ...] = ()
    """What bank lines may be, from the first day that counts; the key says of which document, “charge 7”, and
    “posting 12” stands for that entry of the ledger in place of what the bank reads from it by itself."""
    comes_due: tuple[Callable[[date, date], Iterable[Coming]], ...] = ()
    """What of its money is due in and out between two days, and what is due with no day set."""


ROOMS: dict[str, Room] = {}


def in_order() -> Iterator[Room]:
    """The rooms, lowest floor first."""
    return (ROOMS[label] for label in settings.ROOMS if label in ROOMS)


def second_step() -> list[str]:
    """The permissions that need a second step of signing in, as “bank.release_paymentrun”."""
    return [f"{room.label}.{codename}" for room in in_order() for codename in room.second_step]


def as_a_season_goes() -> list[Room]:
    """The rooms as they stand on the pages of the bar."""
    return sorted(in_order(), key=lambda room: room.on_home)


def added_to(document: str) -> Iterator[PageOn]:
    """What the rooms above add to the pages of a document, in the order of the floors."""
    return (each for room in in_order() for each in room.adds if each.document == document)


class RoomConfig(AppConfig):
    """The app of a room: reads its guards, invariants and verbs, and what it tells of itself."""

    default = False

    def __init_subclass__(cls) -> None:
        """Django takes the one app of a room's `apps.py` that is a default, and this class stands there as well."""
        cls.default = True

    def ready(self) -> None:
        for name in ("services", "invariants"):
            if find_spec(f"{self.name}.{name}"):
                import_module(f"{self.name}.{name}")
        if find_spec(f"{self.name}.rules"):
            guards.register(*import_module(f"{self.name}.rules").GUARDS)
        if find_spec(f"{self.name}.room"):
            room: Room = import_module(f"{self.name}.room").ROOM
            ROOMS[room.label] = room
