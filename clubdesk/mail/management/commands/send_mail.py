from typing import Any

from clubdesk.mail import services
from clubdesk.shell import VerbCommand


class Command(VerbCommand):
    help = "Send every letter that waits. The site does so by itself; this is for a server that was down."

    def handle(self, *args: Any, **options: Any) -> None:
        done = services.deliver()
        self.stdout.write(f"{done.sent} letters sent, {done.delayed} delayed, {done.failed} could not be sent.")
