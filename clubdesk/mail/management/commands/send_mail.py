from collections.abc import Iterable

from clubdesk.mail import services
from clubdesk.mail.services import Delivered
from clubdesk.shell import Typed, VerbCommand


class Command(VerbCommand[Delivered]):
    help = "Send every letter that waits. The site does so by itself; this is for a server that was down."
    verb = services.deliver

    def told(self, result: Delivered, typed: Typed) -> Iterable[str]:
        yield f"{result.sent} letters sent, {result.delayed} delayed, {result.failed} could not be sent."
