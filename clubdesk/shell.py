"""What every command line of Fletchbook shares: one line a fault on standard error, exit status 1, nothing saved.

A command that changes something is made of a verb of the register (`VerbCommand`); one that only asks saves nothing
whatever it does (`QuestionCommand`).
"""

from collections.abc import Callable, Iterable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any, ClassVar, Generic, NoReturn, TypeVar, cast

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection, transaction

from clubdesk import clock, faults, handing, schema
from clubdesk.errors import Refused
from clubdesk.handing import Handed
from clubdesk.moment import one_moment
from clubdesk.verbs import Verb, shell_user, verb_of

Result = TypeVar("Result")
Typed = Mapping[str, Any]
"""What was typed, by the names of the arguments."""


def day(text: str) -> date:
    """`text` as a date, or Refused."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"“{text}” is not a date; write it like 2026-07-01.") from None


def day_or_today(text: str) -> date:
    return day(text) if text else clock.today()


def contents(path: str) -> bytes:
    return Path(path).read_bytes()


def file_name(path: str) -> str:
    return Path(path).name


def _nothing() -> None:
    pass


@dataclass(frozen=True)
class Argument:
    """A word of the command line, or an option such as “--as-at”, and what it gives the verb.

    `gives` says for each parameter of the verb how it is read from the text, raising Refused for a wrong one. An option
    that may be left out is read from a blank text.
    """

    flag: str
    gives: Mapping[str, Callable[[str], object]]
    metavar: str
    help: str = ""
    may_be_left_out: bool = False

    @property
    def name(self) -> str:
        return self.flag.lstrip("-").replace("-", "_")

    def add_to(self, parser: CommandParser) -> None:
        if self.flag.startswith("-"):
            must = not self.may_be_left_out
            parser.add_argument(self.flag, metavar=self.metavar, help=self.help, required=must, default="")
        else:
            parser.add_argument(self.flag, metavar=self.metavar, help=self.help)


FILE = Argument("file", {"content": contents}, "FILE")
CSV_FILE = Argument("file", {"content": contents}, "FILE.csv")


class ShellCommand(BaseCommand):
    """A command that does `run`; whatever is refused or fails in it is said a line a fault, with exit status 1."""

    why_no_verb: ClassVar[str] = ""
    """Why a command is neither a verb's nor a question."""
    hands_out: str = ""
    """What whoever typed it was given, after “they”: “wrote a backup”. It is written down once all is done."""

    def get_version(self) -> str:
        """Of Fletchbook, whose command it is."""
        return f"Fletchbook {version('fletchbook')}"

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """The options; words that are no option are a fault like any other."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.error = lambda message: self.fail([f"{message}; see {subcommand} --help."])  # type: ignore[method-assign]
        return parser

    def execute(self, *args: Any, **options: Any) -> str | None:
        """All of it, also what Django looks at before and what a command does after its `run`."""
        try:
            return super().execute(*args, **options)
        except Refused as refusal:
            self.fail(refusal.messages)
        except CommandError:
            raise
        except Exception as error:
            if faults.lacks_a_table_or_column(error) and (sentence := schema.look(connection)):
                self.fail([sentence])
            if isinstance(error, OSError) and faults.kind_of(error) is not faults.Kind.FULL:
                self.fail([f"{error.filename or 'The file'} cannot be used: {error.strerror or error}."])
            self.fail([faults.said_by_command(type(self).__module__.rpartition(".")[2], error)])

    def handle(self, *args: Any, **options: Any) -> None:
        self.run(**options)
        if self.hands_out:
            handing.note(shell_user(), Handed(self.hands_out))

    def fail(self, sentences: list[str]) -> NoReturn:
        for sentence in sentences:
            self.stderr.write(sentence)
        raise SystemExit(1)

    def run(self, *args: Any, **options: Any) -> None:
        raise NotImplementedError


class QuestionCommand(ShellCommand):
    """A command that only asks: `answer` says what it found at one moment, and nothing that it touched is saved."""

    def run(self, *args: Any, **options: Any) -> None:
        with one_moment(), transaction.atomic():
            self.answer(**options)
            transaction.set_rollback(True)

    def answer(self, *args: Any, **options: Any) -> None:
        raise NotImplementedError


class VerbCommand(ShellCommand, Generic[Result]):
    """A command that does one verb as the shell's user. Subclasses name the verb and what the command line gives it.

    `needs` is asked before anything is read, and raises Refused. All of it is one transaction where the verb is;
    with `has_dry_run` the command takes `--dry-run`, which does everything and saves nothing.
    """

    verb: ClassVar[Callable[..., object]]
    takes: ClassVar[tuple[Argument, ...]] = ()
    needs: ClassVar[Callable[[], object]] = _nothing
    has_dry_run: ClassVar[bool] = False

    @property
    def of_verb(self) -> Verb:
        return verb_of(type(self).verb)

    def add_arguments(self, parser: CommandParser) -> None:
        for argument in self.takes:
            argument.add_to(parser)
        if self.has_dry_run:
            parser.add_argument("--dry-run", action="store_true", help="check everything, save nothing")

    def run(self, *args: Any, **typed: Any) -> None:
        with transaction.atomic() if self.of_verb.whole else nullcontext():
            type(self).needs()
            result = cast(Result, type(self).verb(**self.arguments(typed)))
            sentences = list(self.told(result, typed))
            if typed.get("dry_run"):
                transaction.set_rollback(True)
        for sentence in sentences:
            self.stdout.write(sentence)

    def arguments(self, typed: Typed) -> dict[str, object]:
        """The verb's parameters; the shell's user is `by`."""
        given = {name: read(typed[each.name]) for each in self.takes for name, read in each.gives.items()}
        return given | ({"by": shell_user()} if "by" in self.of_verb.parameters else {})

    def told(self, result: Result, typed: Typed) -> Iterable[str]:
        """What came of it, a sentence a line; asked before a dry run is undone."""
        raise NotImplementedError


class ImportCommand(VerbCommand[Result]):
    """A verb that reads a file, all of it or nothing."""

    takes: ClassVar[tuple[Argument, ...]] = (FILE,)
    has_dry_run = True

    def told(self, result: Result, typed: Typed) -> Iterable[str]:
        return self.came_to(result, "would be " if typed.get("dry_run") else "", typed["file"])

    def came_to(self, result: Result, would_be: str, file: str) -> Iterable[str]:
        """What came of the file; `would_be` stands before what was done, and is blank where it is done."""
        raise NotImplementedError
