"""What is asked of the database, in order, and which rows it is asked to hold; told on SQLite too, which holds all."""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from unittest import mock

from django.db import connection
from django.db.models import Model, QuerySet
from django.db.models.signals import post_save
from django.db.models.sql.compiler import SQLCompiler, SQLInsertCompiler, SQLUpdateCompiler
from django.db.transaction import Atomic
from django.test.utils import CaptureQueriesContext

from clubdesk.ledger.models import Book
from clubdesk.ledger.services import posting


@contextmanager
def asked() -> Iterator[list[str]]:
    """A line for each question: "hold Household", "hold Charge by pk" for many in order, or else "read Charge"."""
    lines: list[str] = []
    plain = SQLCompiler.execute_sql

    def noting(self, *args, **options):
        held = self.query.select_for_update
        order = f" by {', '.join(map(str, self.query.order_by))}" if held and self.query.order_by else ""
        lines.append(f"{'hold' if held else 'read'} {self.query.model.__name__}{order}")
        return plain(self, *args, **options)

    with mock.patch.object(SQLCompiler, "execute_sql", noting), posts(lambda: lines.append("hold Book")):
        yield lines


@contextmanager
def posts(note: Callable[[], object]) -> Iterator[None]:
    """Notes each post as it takes the book, by a text of its own."""
    plain = posting._standing

    def noting(*asked):
        note()
        return plain(*asked)

    with mock.patch.object(posting, "_standing", noting):
        yield


def held(lines: list[str]) -> list[str]:
    """What was held, in order."""
    return [line.removeprefix("hold ") for line in lines if line.startswith("hold ")]


@contextmanager
def taking() -> Iterator[list[type[Model]]]:
    """Of which nouns rows were taken, in that order; asked of any database, also of one that locks as a whole."""
    found: list[type[Model]] = []
    plain = QuerySet.select_for_update

    def noted(rows: QuerySet[Model], *options: object, **named: object) -> QuerySet[Model]:
        found.append(rows.model)
        return plain(rows, *options, **named)  # type: ignore[arg-type]

    with mock.patch.object(QuerySet, "select_for_update", noted), posts(lambda: found.append(Book)):
        yield found


def read_first(act: Callable[[], object]) -> str:
    """The table that a piece of work asks first."""
    with CaptureQueriesContext(connection) as asked:
        act()
    first: str = next(query["sql"] for query in asked if query["sql"].startswith("SELECT"))
    return first.partition(' FROM "')[2].partition('"')[0]


ORDER = (
    "Course", "RangeDay", "StateEvent", "BankAccount", "AccountChange", "PaymentRun", "VoucherScheme", "Lodgement",
    "Household", "Person", "LeaveRequest", "Charge", "Voucher", "Receipt", "WriteOff", "Repayment", "EntryClaim",
    "Expense", "GiveBack", "ClaimFile", "VolunteerCheck", "Stay", "Incident", "Kit", "SignOn", "Banking",
    "ContainerReturn",
    "Book", "MonthUnlock", "FinancialYear", "Equipment",
)  # fmt: skip
"""The nouns in the order in which a transaction takes their rows; rows of one noun by their ids."""
GUARDS_HOLD: Mapping[str, Callable[[Model], tuple[str, int]]] = {
    "Allocation": lambda row: ("Book", 1),
    "BudgetMonth": lambda row: ("Book", 1),
    "Comparative": lambda row: ("Book", 1),
    "Voucher": lambda row: ("Household", row.person.household_id),
    "Opening": lambda row: ("RangeDay", row.range_day_id),
    "KitLoan": lambda row: ("SignOn", row.sign_on_id),
}
"""What the guards of the database hold by themselves when such a row is written (`Guard.holds`)."""


@dataclass
class Holds:
    """What each transaction holds while acts run, and where one takes a row out of turn."""

    faults: set[str] = field(default_factory=set)
    verbs: set[str] = field(default_factory=set)
    asked_without: set[str] = field(default_factory=set)
    held: list[tuple[str, int]] = field(default_factory=list)
    taken: list[tuple[str, int]] = field(default_factory=list)
    running: list[str] = field(default_factory=list)

    def own(self, instance: Model, created: bool, **_: object) -> None:
        """A row that the transaction wrote itself is its own."""
        if created:
            self.held.append((type(instance).__name__, instance.pk))

    def take(self, noun: str, pks: list[int]) -> None:
        """Rows are taken, in that order; those that are held already cost nothing."""
        for pk in pks:
            if (noun, pk) in self.held:
                continue
            for earlier, its in self.taken:
                here, there = ORDER.index(noun), ORDER.index(earlier)
                if (here, pk) < (there, its):
                    which = f"{noun} after {earlier}" if here != there else f"{noun} {pk} after {noun} {its}"
                    self.faults.add(f"{' > '.join(self.running) or 'no verb'} takes {which}")
            self.held.append((noun, pk))
            self.taken.append((noun, pk))


@contextmanager
def in_order() -> Iterator[Holds]:
    """Notes what each transaction takes, also what guards take on PostgreSQL, and whatever it takes out of turn."""
    holds, depth = Holds(), len(connection.atomic_blocks)
    enter, leave, fetch = Atomic.__enter__, Atomic.__exit__, QuerySet._fetch_all
    insert, update = SQLInsertCompiler.execute_sql, SQLUpdateCompiler.execute_sql

    def entering(self: Atomic) -> None:
        if len(connection.atomic_blocks) == depth:
            holds.held.clear()
            holds.taken.clear()
        caller = sys._getframe(1)
        function = caller.f_locals.get("function")
        name = f"{function.__module__}.{function.__name__}" if caller.f_code.co_name == "act" and function else ""
        holds.running += [name.replace("clubdesk.", "").replace("services.", "")] if name else []
        holds.verbs |= {name} if name else set()
        self.__dict__["of_a_verb"] = [*self.__dict__.get("of_a_verb", ()), bool(name)]
        enter(self)

    def leaving(self: Atomic, *why: object) -> None:
        if self.__dict__["of_a_verb"].pop():
            holds.running.pop()
        leave(self, *why)  # type: ignore[arg-type]

    def fetching(rows: QuerySet[Model]) -> None:
        unread = rows._result_cache is None
        fetch(rows)
        if unread and rows.query.select_for_update:
            holds.take(rows.model.__name__, [row.pk for row in rows._result_cache])

    def inserting(self: SQLInsertCompiler, *args: object, **named: object) -> object:
        if found := GUARDS_HOLD.get(self.query.model.__name__):
            for row in self.query.objs:
                noun, pk = found(row)
                holds.take(noun, [pk])
        return insert(self, *args, **named)

    def updating(self: SQLUpdateCompiler, *args: object) -> object:
        if self.query.model.__name__ in ("Allocation", "BudgetMonth", "Comparative"):
            holds.take("Book", [1])
        return update(self, *args)

    with ExitStack() as patches:
        for owner, name, noting in (
            (Atomic, "__enter__", entering), (Atomic, "__exit__", leaving), (QuerySet, "_fetch_all", fetching),
            (SQLInsertCompiler, "execute_sql", inserting), (SQLUpdateCompiler, "execute_sql", updating),
        ):  # fmt: skip
            patches.enter_context(mock.patch.object(owner, name, noting))
        patches.callback(post_save.disconnect, holds.own)
        post_save.connect(holds.own)
        patches.enter_context(posts(lambda: holds.take("Book", [1])))
        yield holds
