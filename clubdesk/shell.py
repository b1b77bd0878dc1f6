"""What every command line of Fletchbook shares: one line a fault on standard error, exit status 1, nothing saved."""

from datetime import date
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser
from django.db import DatabaseError, transaction

from clubdesk.errors import Refused


class VerbCommand(BaseCommand):
    """A command whose `run` calls verbs in one transaction; `self.keep = False` rolls it back at the end."""

    keep = True
    whole = True
    """Whether all of `run` is one transaction; a run of several verbs may be one each."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """The options; words that are no option are a fault like any other."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.error = lambda message: self.fail([f"{message}; see {subcommand} --help."])  # type: ignore[method-assign]
        return parser

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if not self.whole:
                self.run(**options)
                return
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

    def fail(self, sentences: list[str]) -> NoReturn:
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
