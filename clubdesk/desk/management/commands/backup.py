from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clubdesk import clock, faults
from clubdesk.backup.writing import write
from clubdesk.desk.models import Regular
from clubdesk.desk.services import note_upkeep
from clubdesk.shell import ShellCommand


def add_passphrase(parser: CommandParser, help: str) -> None:
    """A file, since whatever is typed after a command can be seen by everybody on the machine."""
    parser.add_argument("--passphrase-file", metavar="FILE", default="", help=help)


def passphrase_in(path: str) -> str:
    return Path(path).read_text().strip() if path else ""


def note_backup(command: ShellCommand) -> None:
    """That there is one now; it is good also where that cannot be written down."""
    try:
        note_upkeep(what=Regular.BACKUP, on=clock.today())
    except faults.OF_DATABASE as error:
        command.stderr.write(f"The backup is whole, but the book could not note that it was made: {error}")


class Command(ShellCommand):
    help = (
        "Write the whole book, its evidence and (with a passphrase) its keys to a new file, while others go on working."
    )
    hands_out = "wrote a backup of the whole book"
    why_no_verb = "It changes no document, and reads one moment for itself."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        add_passphrase(parser, "a file with the passphrase under which the keys go along")

    def run(self, *, file: str, passphrase_file: str, **options: Any) -> None:
        manifest = write(Path(file), passphrase_in(passphrase_file))
        note_backup(self)
        rows = sum(table.rows for table in manifest.tables)
        self.stdout.write(
            f"{file}: {rows:,} rows of {len(manifest.tables)} tables and {len(manifest.evidence)} files of evidence, "
            f"up to entry {manifest.head[0]}."
        )
        if not manifest.keys:
            self.stdout.write("The keys that sign links and files are not in it, since no passphrase was given.")
        self.stdout.write("It holds families’ details: keep it where only those who may see them can.")
