from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.db import connection

from clubdesk import statics
from clubdesk.backup.restoring import restore
from clubdesk.desk.management.commands.backup import add_passphrase, passphrase_in
from clubdesk.shell import ShellCommand


class Command(ShellCommand):
    help = "Bring a backup into an empty database of either kind, check it, and bring it up to this version."
    why_no_verb = "It makes the tables that verbs write in."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        add_passphrase(parser, "a file with the passphrase of the key that came along")

    def run(self, *, file: str, passphrase_file: str, **options: Any) -> None:
        done = restore(Path(file), passphrase_in(passphrase_file))
        statics.gather()
        manifest = done.manifest
        self.stdout.write(
            f"The books of {manifest.club} are back in {connection.settings_dict['NAME']} as they stood at "
            f"{manifest.made_at}, up to entry {manifest.head[0]}; each table and the chain are the same, "
            "and every check holds."
        )
        self.stdout.write(done.of_the_key)
