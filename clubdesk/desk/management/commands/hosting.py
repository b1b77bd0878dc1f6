from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clubdesk.desk import hosting
from clubdesk.shell import ShellCommand


class Command(ShellCommand):
    help = "Write what a machine needs to serve this installation: services, proxy, environment, database users, steps."
    why_no_verb = "It writes texts into a folder and changes neither the book nor the machine."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--domain", metavar="NAME", required=True, help="the site's name, like books.club.example")
        parser.add_argument("--out", metavar="FOLDER", required=True, help="a new or empty folder for the texts")
        parser.add_argument("--user", metavar="NAME", default="fletchbook", help="who the site runs as")
        parser.add_argument("--database", metavar="NAME", default="fletchbook", help="what PostgreSQL calls the book")

    def run(self, *, domain: str, out: str, user: str, database: str, **options: Any) -> None:
        for path in hosting.write(domain, Path(out), user, database):
            self.stdout.write(str(path))
        self.stdout.write(f"Begin with {Path(out) / 'INSTALL.md'}. The files with passwords are for you alone.")
