"""What every command line of Fletchbook shares: one line a fault on standard error, exit status 1, nothing saved."""

from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError, transaction

from clubdesk.errors import Refused


class VerbCommand(BaseCommand):
    """A command whose `run` calls verbs in one transaction; `self.keep = False` rolls it back at the end."""

    keep = True

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with transaction.atomic():
                self.run(**options)
                if not self.keep:
                    transaction.set_rollback(True)
        except Refused as refusal:
            self.fail(refusal.messages)
        except DatabaseError as error:
            self.fail([f"The database refused this: {' '.join(str(error).split())}"])
        except OSError as error:
            self.fail([f"{error.filename or 'The file'} cannot be used: {error.strerror or error}."])

    def fail(self, sentences: list[str]) -> None:
        for sentence in sentences:
            self.stderr.write(sentence)
        raise SystemExit(1)

    def run(self, *args: Any, **options: Any) -> None:
        raise NotImplementedError


def day(text: str) -> date:
    """`text` as a date, or Refused."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"“{text}” is not a date; write it like 2026-07-01.") from None


def contents(path: str) -> bytes:
    return Path(path).read_bytes()
