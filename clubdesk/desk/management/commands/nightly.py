from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandParser

from clubdesk import clock, handing
from clubdesk.backup.writing import keep_last
from clubdesk.desk import services
from clubdesk.desk.management.commands.backup import add_passphrase, note_backup, passphrase_in
from clubdesk.desk.models import Regular
from clubdesk.desk.services import Nightly
from clubdesk.errors import Refused
from clubdesk.handing import Handed
from clubdesk.ledger import selectors
from clubdesk.ledger.invariants import check_all
from clubdesk.shell import Argument, Typed, VerbCommand, day_or_today
from clubdesk.upkeep import learn_sizes
from clubdesk.verbs import shell_user


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
            note_backup(self)
            self.stdout.write(f"Backup: {made}.")
            handing.note(shell_user(), Handed("wrote a backup of the whole book"))
        self._check_the_books()

    def _check_the_books(self) -> None:
        """Last of all, so that a fault keeps nobody's letter; a night with one ends with 1, and is looked into."""
        if faults := [fault for result in check_all() for fault in result.faults]:
            self.fail(["The books do not hold; look into this today, before more is recorded:", *faults])
        services.note_upkeep(what=Regular.CHECK, on=clock.today())

    def told(self, result: Nightly, typed: Typed) -> Iterable[str]:
        yield result.in_words
        yield from (f"Not yet: {sentence}" for sentence in result.not_yet)
