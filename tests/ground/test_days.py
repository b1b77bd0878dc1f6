"""Days in words: one function each for short and long, which every system's calendar can do."""

from datetime import date
from pathlib import Path

import clubdesk
from clubdesk.clock import day_text, long_day

SUNDAY = date(2026, 7, 5)


def test_a_day_in_short_and_in_full():
    assert day_text(SUNDAY) == "5 Jul 2026"
    assert day_text(SUNDAY, year=False) == "5 Jul"
    assert day_text(SUNDAY, weekday=True) == "Sun 5 Jul 2026"
    assert long_day(SUNDAY) == "5 July 2026"
    assert long_day(SUNDAY, year=False) == "5 July"
    assert long_day(SUNDAY, weekday=True) == "Sunday, 5 July 2026"


def test_no_line_asks_the_system_for_a_day_without_its_zero():
    """`%-d` is not known on Windows."""
    files = Path(clubdesk.__path__[0]).rglob("*.py")
    assert [str(file) for file in files if "%-" in file.read_text()] == []
