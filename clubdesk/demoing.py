"""What the rooms' parts of the demo stand on: the demo itself, day after day, with chance and names from a fixed seed.

It knows no room and no model. A room tells its part by a `Scene`; what it leaves for rooms above is a part of its own.
"""

import io
import random
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar, cast

from PIL import Image, ImageDraw

from clubdesk.clock import months_later

if TYPE_CHECKING:
    from django.contrib.auth.models import User
    from faker import Faker

SEED = 4010

Given = ParamSpec("Given")
Part = TypeVar("Part")


@dataclass
class Demo:
    """A book that is built day by day up to `today`, from the first day of the year before the present one.

    `users` are the sign-ins by their names, `fake` invents people. The same day gives the same book.
    """

    today: date
    fake: "Faker"
    users: "dict[str, User]" = field(default_factory=dict)
    chance: random.Random = field(default_factory=lambda: random.Random(SEED))
    plans: dict[date, list[Callable[[], object]]] = field(default_factory=lambda: defaultdict(list))
    parts: dict[type[object], object] = field(default_factory=dict)

    @property
    def this_year(self) -> date:
        return date(self.today.year - (self.today.month < 7), 7, 1)

    @property
    def last_year(self) -> date:
        return self.this_year.replace(year=self.this_year.year - 1)

    @property
    def year_before(self) -> date:
        return self.this_year.replace(year=self.this_year.year - 2)

    def days(self) -> Iterator[date]:
        day = self.last_year
        while day <= self.today:
            yield day
            day += timedelta(days=1)

    def at(
        self,
        day: date,
        act: "Callable[Concatenate[Demo, date, Given], object]",
        *args: Given.args,
        **given: Given.kwargs,
    ) -> None:
        """Do `act` on `day`, where the demo gets that far: it is called with the demo, the day, and what is given."""
        self.plans[day].append(partial(act, self, day, *args, **given))

    def act(self, day: date) -> None:
        """Do what was planned for the day, in the order in which it was planned."""
        for act in self.plans.pop(day, []):
            act()

    def part(self, kind: type[Part]) -> Part:
        """What one room leaves for others in this demo: its one `kind`, made empty when it is first asked for."""
        if kind not in self.parts:
            self.parts[kind] = kind()
        return cast(Part, self.parts[kind])


def closed_on(first_day: date) -> date:
    """The day on which the treasurer closes the year that begins with `first_day`."""
    return months_later(first_day, 12) + timedelta(days=50)


def next_saturday(day: date) -> date:
    return day + timedelta(days=(5 - day.weekday()) % 7)


def next_sunday(day: date) -> date:
    return day + timedelta(days=(6 - day.weekday()) % 7)


def receipt_photo(*lines: object) -> io.BytesIO:
    """A drawn receipt as PNG, for `evidence.examine`."""
    text = "\n".join(map(str, lines))
    image = Image.new("L", (420, 220), 250)
    ImageDraw.Draw(image).multiline_text((24, 40), f"RECEIPT\n\n{text}\n\nPaid with thanks", fill=20, spacing=8)
    file = io.BytesIO()
    image.save(file, "PNG")
    file.seek(0)
    return file
