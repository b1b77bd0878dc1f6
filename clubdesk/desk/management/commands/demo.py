import os
import socket
import time
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandParser

from clubdesk import clock, statics
from clubdesk.clock import long_day
from clubdesk.desk import demo
from clubdesk.errors import Refused
from clubdesk.ledger.selectors import year_ending
from clubdesk.reports.workbook import write_workbook
from clubdesk.shell import ShellCommand, day


class Command(ShellCommand):
    why_no_verb = "It plays two years of everybody's verbs, in a book that it empties first."
    help = "Build a fresh demo book and its workbook, then serve the site on this machine alone."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--today", metavar="DATE", help="the demo's last day (default: today)")
        parser.add_argument("--no-serve", action="store_true", help="build the book and the workbook, then stop")
        parser.add_argument("--port", default="8000", help="default: 8000")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            today = self.prepare(options)
            self.build(today)
        except Refused as refusal:
            self.fail(refusal.messages)
        if not options["no_serve"]:
            self.serve(options["port"])

    def prepare(self, options: dict[str, Any]) -> date:
        """Read the options, so that a wrong one is said before the book is built."""
        today = day(options["today"]) if options["today"] else clock.today()
        if today.year < 2010 or today.year > 2090:
            raise Refused("Choose a day between 2010 and 2090.")
        if not options["no_serve"]:
            _refuse_taken_port(options["port"])
            if "SITE_URL" not in os.environ:  # so that links and codes lead to where the demo is served
                settings.SITE_URL = f"http://127.0.0.1:{options['port']}"
        if options["today"]:
            clock.set_today(today)
        call_command("migrate", verbosity=0)
        statics.gather()
        return today

    def build(self, today: date) -> None:
        began = time.monotonic()
        made = demo.build(today=today, say=self.progress)
        ending = made.this_year.year
        path = settings.BASE_DIR / f"treasurer-{ending}.xlsx"
        with path.open("wb") as file:
            write_workbook(year_ending(ending), file, made_on=today, made_by="the demo")
        self.progress(f"done in {time.monotonic() - began:.0f} seconds")
        self.stdout.write(f"\n\n{demo.CLUB} (all invented), {long_day(today)}")
        self.stdout.write(f"The treasurer's workbook of the finished year: {path}")

    def progress(self, text: str) -> None:
        self.stdout.write(f"\rBuilding the demo book: {text:<24}", ending="")
        self.stdout.flush()

    def serve(self, port: str) -> None:
        self.stdout.write(f"\nOpen http://127.0.0.1:{port}/ and sign in, always with the password {demo.PASSWORD}:\n")
        for username, (role, full_name) in demo.SIGN_INS.items():
            self.stdout.write(f"  {username:<12} {role} ({full_name})")
        self.stdout.write("\nNone of them asks for a second step, as a club's own books do. Stop it with Ctrl-C.\n")
        self.stdout.flush()
        call_command("runserver", f"127.0.0.1:{port}", use_reloader=False, skip_checks=True)


def _refuse_taken_port(port: str) -> None:
    if not (port.isascii() and port.isdigit() and 1 <= int(port) <= 65535):
        raise Refused(f"“{port}” is not a port; choose a number like 8000.")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", int(port)))
        except OSError:
            raise Refused(f"Port {port} is taken on this machine; choose another with --port.") from None
