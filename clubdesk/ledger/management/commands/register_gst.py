from collections.abc import Iterable

from clubdesk.clock import long_day
from clubdesk.errors import Refused
from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import Book, TaxBasis
from clubdesk.shell import Argument, Typed, VerbCommand, day


def basis(text: str) -> TaxBasis:
    """`text` as a basis, accruals where it is blank, or Refused."""
    try:
        return TaxBasis(text or TaxBasis.ACCRUALS)
    except ValueError:
        raise Refused(f"“{text}” is no basis; write accruals or cash.") from None


class Command(VerbCommand[Book]):
    help = "Register the club for GST from a day; its chart gets the accounts for it."
    verb, needs = services.register_for_gst, selectors.book
    takes = (
        Argument("since", {"since": day}, "DATE"),
        Argument("--basis", {"basis": basis}, "accruals,cash", "of its returns (default: accruals)", True),
    )

    def told(self, result: Book, typed: Typed) -> Iterable[str]:
        assert result.gst_from
        yield f"{result} is registered for GST from {long_day(result.gst_from)}, on the basis of {result.gst_basis}."
