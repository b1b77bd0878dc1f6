"""A real SMTP server on this machine, and what it took in."""

import time
from contextlib import contextmanager

from aiosmtpd.controller import Controller


class Letterbox:
    """What an SMTP server took in; `says` is what it answers to an address, `slowly` how long it thinks."""

    def __init__(self):
        self.mails, self.raw, self.says, self.slowly = [], [], {}, 0.0

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802 - aiosmtpd's own name
        if answer := self.says.get(address):
            return answer
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        time.sleep(self.slowly)
        self.raw.append(envelope.content)
        self.mails.append((envelope.rcpt_tos, envelope.content.decode()))
        return "250 taken"


@contextmanager
def running(letterbox, port):
    server = Controller(letterbox, hostname="127.0.0.1", port=port)
    server.start()
    try:
        yield
    finally:
        server.stop()
