"""What the reports' own sheets of the workbook are made from."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Max

from clubdesk.clock import day_text
from clubdesk.ledger import selectors as ledger
from clubdesk.ledger.models import YEARLY_KINDS, Account, FinancialYear, Fund, FundRole, JournalEntry, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.seal import Stamp
from clubdesk.reports.selectors import BeforeTheBook, Figures
from clubdesk.sheets import Named


@dataclass(frozen=True)
class Context:
    """A financial year as the sheets of its workbook see it.

    `accounts` are those with a figure this year or last, and those whose lines of the year come to zero. `turnover` is
    what was debited and credited, by the account's id; closing entries left out.
    """

    year: FinancialYear
    stamp: Stamp
    club: str
    figures: Figures
    last_year: Figures | None
    turnover: Mapping[int, tuple[Decimal, Decimal]]
    accounts: tuple[Account, ...]

    @classmethod
    def of(cls, year: FinancialYear, stamp: Stamp) -> "Context":
        figures = Figures.of_year(year)
        last_year = selectors.a_year_earlier(figures)
        turnover = {pk: (debits, -credits + ZERO) for pk, debits, credits in selectors.turnover(year)}
        used = {account.pk for account in figures.used(figures.accounts, last_year)} | turnover.keys()
        accounts = tuple(account for account in figures.accounts if account.pk in used)
        return cls(year, stamp, ledger.club_name(), figures, last_year, turnover, accounts)

    def note(self, text: str) -> str:
        """What stands below a sheet's title."""
        state = "closed" if self.stamp.seal.is_final else "not closed yet"
        return Named(f"{self.club}, {self.year} ({state}). {text}", self.club)

    @property
    def told_until(self) -> date:
        """The last day, or where that was to come when it was made, the later of that day and its latest entry."""
        known = JournalEntry.objects.filter(number__lte=self.stamp.seal.number, date__lte=self.figures.last)
        latest: date = known.aggregate(last=Max("date"))["last"] or self.figures.first
        return min(self.figures.last, max(self.stamp.made_on, latest))

    @property
    def at_the_end(self) -> str:
        """Behind what it is of: on the last day, or so far, where the year ran on when the file was made."""
        runs = self.stamp.made_on < self.figures.last and not self.stamp.seal.is_final
        return "so far" if runs else f"on {day_text(self.figures.last)}"

    @property
    def entry_fund(self) -> Fund:
        return next(fund for fund in self.figures.funds if fund.pk == FundRole.ENTRY)

    @property
    def fund_names(self) -> list[str]:
        return [Named(fund.name) for fund in self.figures.funds]

    @property
    def cash_of_last_year(self) -> Figures | None:
        """Last year's figures where the ledger has them; typed ones say nothing of money received for what."""
        return None if isinstance(self.last_year, BeforeTheBook) else self.last_year

    def of_roles(self, *roles: Role) -> list[Account]:
        """The accounts of those roles, those that the book has."""
        return [self.figures.by_role[role] for role in roles if role in self.figures.by_role]

    @property
    def tells_last_year(self) -> bool:
        """Whether last year's income and expense are known."""
        return self.last_year is not None and self.last_year.tells_the_year

    def last_years(self, account: Account) -> Decimal | None:
        """What the account stood at a year earlier, debit positive; None where that is not known."""
        if self.last_year is None or (account.kind in YEARLY_KINDS and not self.tells_last_year):
            return None
        return self.last_year.closing(account)
