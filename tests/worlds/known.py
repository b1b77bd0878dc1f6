"""Books that tests begin with, each built once, kept under `.worlds/` and copied.

A world grows from another by verbs, as a club does. A test gets a started book unless it says otherwise by
`@pytest.mark.world("season_50")`; `python -m tests.worlds season_50` builds one by hand.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.core.management import call_command
from django.db import connection

from clubdesk import guards
from tests.worlds import day_one, demo, full_range, one_of_each, season, ten_years

Grow = Callable[[Path], object]


@dataclass(frozen=True)
class World:
    """`grow` makes it of a copy of the world that it `begins` with; files, as evidence, it leaves in the folder."""

    grow: Grow
    begins: str | None = None


WORLDS = {
    "empty": World(lambda folder: call_command("migrate", verbosity=0)),
    "day_one": World(day_one.start, "empty"),
    "season": World(lambda folder: season.grow(12), "day_one"),
    "full_range": World(lambda folder: full_range.grow(), "day_one"),
    "season_50": World(lambda folder: season.grow_with_time(50), "season"),
    "season_500": World(lambda folder: season.grow_with_time(500), "season"),
    "one_of_each": World(lambda folder: one_of_each.grow(), "season"),
    "unguarded": World(lambda folder: guards.remove(connection), "one_of_each"),
    "demo": World(demo.build, "empty"),
    "ten_years": World(ten_years.grow, "demo"),
}
