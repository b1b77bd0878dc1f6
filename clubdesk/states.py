"""States of a document: one table of transitions, from which service, constraint and trigger are made."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import CheckConstraint, Q

from clubdesk.errors import Refused
from clubdesk.guards import Guard

ALL: "list[States]" = []
"""Every table of states that a room has."""
GUARDED: "dict[str, tuple[States, str]]" = {}
"""By table of the database the states that its guards hold it to, and the column they stand in."""


@dataclass(frozen=True)
class States:
    """For each state the states that may follow it, each with the verb that leads there.

    `noun` is what the document is called in a sentence, such as “expense”; `first` the states in which one may begin.
    """

    noun: str
    first: tuple[str, ...]
    table: Mapping[str, Mapping[str, str]]

    def __post_init__(self) -> None:
        ALL.append(self)
        for state, following in self.table.items():
            unknown = {*following, *self.first} - self.table.keys()
            if unknown:
                raise ValueError(f"After “{state}” of a {self.noun}: no such state as {', '.join(sorted(unknown))}.")

    @property
    def all(self) -> tuple[str, ...]:
        return tuple(self.table)

    def may_follow(self, before: str, after: str) -> bool:
        return after in self.table[before]

    def before(self, after: str) -> tuple[str, ...]:
        """The states that `after` may follow, in the order of the table."""
        return tuple(state for state in self.table if self.may_follow(state, after))

    def pairs(self) -> Iterable[tuple[str, str, str]]:
        """Each transition: from which state, to which, by which verb."""
        for before, following in self.table.items():
            for after, verb in following.items():
                yield before, after, verb

    def refuse_unless(self, before: str, after: str, sentence: str) -> None:
        """Raise Refused in the words of `sentence` where `after` cannot follow `before`."""
        if not self.may_follow(before, after):
            raise Refused(sentence)

    def constraint(self, name: str, column: str = "state") -> CheckConstraint:
        """That the column holds one of the states."""
        return CheckConstraint(condition=Q(**{f"{column}__in": self.all}), name=name)

    def guards(self, table: str, column: str = "state") -> list[Guard]:
        """That a document begins in a first state and only ever moves along the table."""
        GUARDED[table] = (self, column)
        first = ", ".join(f"'{state}'" for state in self.first)
        moves = " OR ".join(
            f"(OLD.{column} = '{before}' AND NEW.{column} = '{after}')" for before, after, _ in self.pairs()
        )
        return [
            Guard(
                f"{table}_begins",
                table,
                "INSERT",
                when=f"NEW.{column} NOT IN ({first})",
                message=f"No {self.noun} begins in that state.",
            ),
            Guard(
                f"{table}_states_follow",
                table,
                "UPDATE",
                when=f"NEW.{column} <> OLD.{column}" + (f" AND NOT ({moves})" if moves else ""),
                message=f"The states of a {self.noun} follow one another.",
            ),
        ]

    def picture(self) -> str:
        """The table as a Mermaid state diagram, as DEVELOPERS.md shows it."""
        lines = ["stateDiagram-v2", *(f"    [*] --> {state}" for state in self.first)]
        lines += [f"    {before} --> {after}: {verb}" for before, after, verb in self.pairs()]
        return "\n".join(lines)
