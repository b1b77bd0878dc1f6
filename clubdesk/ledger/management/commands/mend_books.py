from collections.abc import Iterable

from clubdesk.ledger import selectors, services
from clubdesk.shell import Typed, VerbCommand


class Command(VerbCommand[list[str]]):
    help = "Put what is stored beside the entries (the book's head, funds, locked months) right from them."
    verb, needs = services.mend_books, selectors.book
    has_dry_run = True

    def told(self, result: list[str], typed: Typed) -> Iterable[str]:
        yield from result or ["Everything stored is what the entries say; nothing was changed."]
        if result and typed.get("dry_run"):
            yield "Nothing was saved."
