"""Which migrations have landed, each by its digest. `python -m tests.house.landed` adds what is new to the list."""

import hashlib
from pathlib import Path

HOUSE = Path(__file__).resolve().parent.parent.parent
LIST = Path(__file__).with_name("migrations.txt")


def digests() -> list[str]:
    """A line for each migration of ours: its digest and its path."""
    found = sorted((HOUSE / "clubdesk").glob("*/migrations/0*.py"))
    return [f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(HOUSE).as_posix()}" for path in found]


def landed() -> list[str]:
    return LIST.read_text().splitlines() if LIST.exists() else []


if __name__ == "__main__":
    LIST.write_text("\n".join([*landed(), *(line for line in digests() if line not in landed())]) + "\n")
