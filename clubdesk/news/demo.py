"""The news room's part of the demo: what the club wrote to its families in either year."""

from datetime import date

from clubdesk import clock
from clubdesk.demoing import Demo
from clubdesk.news import selectors, services
from clubdesk.news.models import Concern
from clubdesk.rooms import Scene

LETTERS = (
    (3, "members:0", "Open day at the range", Concern.NEWS,
     "Our open day is on the last Sunday of the month.\n\nCan {children} show visitors how to shoot? Please tell us."),
    (5, "families:0", "Hats, water and heat", Concern.OWN,
     "From now on we stop shooting at 36 degrees. Please give {children} a hat and a full bottle."),
)  # fmt: skip
"""After how many months of the year, to whom, subject, what it concerns, and the text."""


def plan(demo: Demo, start: date) -> None:
    for months, to, subject, concern, text in LETTERS:
        demo.at(clock.months_later(start, months), write, to, subject, concern, text)


def write(demo: Demo, day: date, to: str, subject: str, concern: Concern, text: str) -> None:
    whom = selectors.named(to, day)
    if whom.families:
        services.write_to_many(
            to=whom, subject=subject, text=text, concern=concern, on=day, by=demo.users["coordinator"]
        )


SCENES = (Scene(plan=plan),)
