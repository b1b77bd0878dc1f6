from collections.abc import Iterable

from clubdesk.desk import services
from clubdesk.shell import Argument, Typed, VerbCommand


class Command(VerbCommand[services.LetIn]):
    help = "Print a link by which somebody who has lost everything chooses anew how to sign in; for the administrator."
    verb = services.let_in_again
    takes = (Argument("username", {"username": str}, "NAME"),)

    def told(self, result: services.LetIn, typed: Typed) -> Iterable[str]:
        yield f"{result.user} has no password and no second step any more. Within a week, open:"
        yield f"  {result.link}"
