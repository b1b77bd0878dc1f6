"""What a backup is: a ZIP with a manifest in front, a member of lines for each table, the evidence, and the keys.

A line is a row as a JSON array in the order of the manifest's columns: amounts in whole cents, days as ISO 8601 writes
them, moments in UTC to the microsecond, identifiers in hexadecimal. Of each member the manifest has the SHA-256.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

from clubdesk.errors import Refused

KIND, FORMAT = "Fletchbook backup", 1
MANIFEST, KEYS, TABLES, EVIDENCE = "manifest.json", "keys.json", "tables/", "evidence/"
NO_BACKUP = "This file is no backup that Fletchbook made, or it is cut off; choose another."


@dataclass(frozen=True)
class Table:
    """A table as it was written: its model's label, its columns in order, its rows, and the digest of its lines."""

    label: str
    columns: list[str]
    rows: int
    digest: str

    @property
    def member(self) -> str:
        return f"{TABLES}{self.label}.jsonl"


@dataclass(frozen=True)
class Manifest:
    """What the file holds. `head` is the number and digest of the last entry; `migrations` are those of its tables."""

    club: str
    currency: str
    made_at: str
    version: str
    database: str
    head: tuple[int, str]
    migrations: list[tuple[str, str]]
    tables: list[Table]
    evidence: dict[str, str] = field(default_factory=dict)
    keys: str = ""

    def written(self) -> bytes:
        told = {"kind": KIND, "format": FORMAT, **asdict(self)}
        return json.dumps(told | {"digest": _digest(told)}, ensure_ascii=False, indent=1).encode()


def read(content: bytes) -> Manifest:
    """A manifest that is whole. Raises Refused for one that is not ours, was altered, or is of a later form."""
    try:
        told: dict[str, Any] = json.loads(content)
        kind, version, digest = told.pop("kind"), told.pop("format"), told.pop("digest")
    except (ValueError, TypeError, KeyError, AttributeError):
        raise Refused(NO_BACKUP) from None
    if kind != KIND:
        raise Refused(NO_BACKUP)
    if version != FORMAT:
        raise Refused("A later Fletchbook made this backup; bring this installation up to date first.")
    if digest != _digest({"kind": kind, "format": version, **told}):
        raise Refused("This backup was altered: what it says of itself is not what was written.")
    try:
        told["tables"] = [Table(**each) for each in told["tables"]]
        told["migrations"] = [(app, name) for app, name in told["migrations"]]
        number, head = told.pop("head")
        return Manifest(**told, head=(number, head))
    except (TypeError, ValueError, KeyError):
        raise Refused(NO_BACKUP) from None


def _digest(told: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(told, ensure_ascii=False, sort_keys=True).encode()).hexdigest()


@dataclass
class Counted:
    """Lines that pass, counted and digested on their way."""

    rows: int = 0
    _digest: Any = field(default_factory=hashlib.sha256)

    def through(self, lines: Iterable[bytes]) -> Iterator[bytes]:
        for line in lines:
            self.rows += 1
            self._digest.update(line)
            yield line

    @property
    def digest(self) -> str:
        found: str = self._digest.hexdigest()
        return found
