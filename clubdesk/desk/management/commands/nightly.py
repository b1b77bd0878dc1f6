from collections.abc import Iterable
from typing import Any

from django.core.management import call_command

from clubdesk.desk import services
from clubdesk.desk.services import Nightly
from clubdesk.ledger import selectors
from clubdesk.shell import Argument, Typed, VerbCommand, day_or_today
from clubdesk.upkeep import learn_sizes


class Command(VerbCommand[Nightly]):
    help = "Do what time alone changes, then send the letters that wait. Safe to run twice."
    verb, needs = services.nightly, selectors.book
    takes = (Argument("--date", {"on": day_or_today}, "DATE", "default: today", may_be_left_out=True),)

    def handle(self, *args: Any, **options: Any) -> None:
        super().handle(*args, **options)
        learn_sizes()
        call_command("send_mail", stdout=self.stdout, stderr=self.stderr)

    def told(self, result: Nightly, typed: Typed) -> Iterable[str]:
        yield result.in_words
        yield from (f"Not yet: {sentence}" for sentence in result.not_yet)
