"""What a sheet leaves to be proved, and what a room's sheet is given to prove it by."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce
from operator import add

from clubdesk.money import CENT
from clubdesk.sheets.cells import NIL, Formula, Term


@dataclass(frozen=True)
class Proved:
    """Two terms that must come to the same, and what that proves; `of` says what they are, amounts or counts."""

    what: str
    one: Term
    other: Term
    of: type[Formula] = Formula

    @property
    def result(self) -> Decimal | bool:
        """True, or by how many cents the two differ."""
        gap = (self.one.value - self.other.value).quantize(CENT).scaleb(2)
        return gap if gap else True


def together(terms: Iterable[Term]) -> Term:
    """What the terms come to; zero where there is none."""
    found = list(terms)
    return reduce(add, found) if found else Term.of(NIL)


@dataclass(frozen=True)
class Beside:
    """What a room's sheet is given beside its year: the line below its title, and what the reports' own sheets say.

    `balances` are of the trial balance, by the account's role, debit positive; `funds` what each fund has at the year's
    end, by its code; `income` what each account of income and expenditure came to, by its id, the usual positive; the
    `surplus` is of all of them.
    """

    note: Callable[[str], str]
    balances: Mapping[str, Term]
    funds: Mapping[str, Term]
    income: Mapping[int, Term]
    surplus: Term

    def balance(self, *roles: str) -> Term:
        """What the accounts with these roles come to together; zero for one that the year did not touch."""
        return together(self.balances[role] for role in roles if role in self.balances)
