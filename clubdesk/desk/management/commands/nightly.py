from typing import Any

from django.core.management.base import CommandParser

from clubdesk import clock
from clubdesk.desk import services
from clubdesk.ledger import selectors
from clubdesk.mail import services as mail
from clubdesk.shell import VerbCommand, day
from clubdesk.verbs import shell_user


class Command(VerbCommand):
    help = "Do what time alone changes, then send the letters that wait. Safe to run twice."
    whole = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--date", metavar="DATE", help="default: today")

    def handle(self, *args: Any, **options: Any) -> None:
        super().handle(*args, **options)
        done = mail.deliver()
        self.stdout.write(f"{done.sent} letters sent, {done.delayed} delayed, {done.failed} could not be sent.")

    def run(self, *, date: str | None, **options: Any) -> None:
        selectors.book()
        night = services.nightly(on=day(date) if date else clock.today(), by=shell_user())
        self.stdout.write(night.in_words)
        for sentence in night.not_yet:
            self.stdout.write(f"Not yet: {sentence}")
