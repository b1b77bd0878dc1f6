from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandParser

from clubdesk.backup.writing import keep_last
from clubdesk.desk import services
from clubdesk.desk.management.commands.backup import add_passphrase, passphrase_in
from clubdesk.desk.services import Nightly
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.shell import Argument, Typed, VerbCommand, day_or_today
from clubdesk.upkeep import learn_sizes


class Command(VerbCommand[Nightly]):
    help = "Do what time alone changes, then send the letters that wait. Safe to run twice."
    verb, needs = services.nightly, selectors.book
    takes = (Argument("--date", {"on": day_or_today}, "DATE", "default: today", may_be_left_out=True),)

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--backup-to", metavar="FOLDER", default="", help="write a backup of the day there, too")
        parser.add_argument("--keep", metavar="N", default="14", help="of those backups the last so many (default: 14)")
        add_passphrase(parser, "a file with the passphrase under which the key goes along")

    def handle(self, *args: Any, backup_to: str, keep: str, passphrase_file: str, **options: Any) -> None:
        if not (keep.isascii() and keep.isdigit() and int(keep)):
            raise Refused(f"“{keep}” is no number of backups to keep; write it like 14.")
        super().handle(*args, **options)
        learn_sizes()
        call_command("send_mail", stdout=self.stdout, stderr=self.stderr)
        if backup_to:
            made = keep_last(Path(backup_to), int(keep), passphrase_in(passphrase_file))
            self.stdout.write(f"Backup: {made}.")

    def told(self, result: Nightly, typed: Typed) -> Iterable[str]:
        yield result.in_words
        yield from (f"Not yet: {sentence}" for sentence in result.not_yet)
