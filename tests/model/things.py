"""Who and what there is in the plain model: whole cents, no database, and nothing of the rooms' own code or words."""

from dataclasses import dataclass, field, fields
from datetime import date

from tests.model.schemes import Scheme


class No(Exception):
    """The club says no to what was asked."""


@dataclass(eq=False, repr=False)
class Family:
    """`mails` are those of its guardians, the first first; blank where there is none."""

    name: str
    mails: list
    gone: bool = False

    @property
    def mail(self):
        return next((mail for _, mail in self.mails if mail), "")


@dataclass(eq=False, repr=False)
class Child:
    name: str
    family: Family
    born: date
    gone: bool = False

    def age(self, day):
        return day.year - self.born.year - ((day.month, day.day) < (self.born.month, self.born.day))

    def months(self, day):
        return 12 * (day.year - self.born.year) + day.month - self.born.month - (day.day < self.born.day)


@dataclass(eq=False, repr=False)
class Fee:
    """`keep` is the most that may stay of it once it was `given_back`; `waits_for_next` holds a department's money.

    What it is `called` is what it is for, and whom, as they were called then.
    """

    family: Family
    child: Child
    sort: str
    price: int
    full: int
    charged: date
    starts: date
    shares: dict = field(default_factory=dict)
    credits: list = field(default_factory=list)
    tax: int = 0
    income_on: date | None = None
    given_back: bool = False
    given_back_on: date | None = None
    keep: int = 0
    waits_for_next: bool = False
    called: tuple = ()

    @property
    def credited(self):
        return sum(amount for amount, _ in self.credits)

    @property
    def is_ahead(self):
        return self.starts > self.charged and self.income_on is None


@dataclass(eq=False, repr=False)
class Receipt:
    family: Family
    amount: int
    number: int
    day: date
    came: dict = field(default_factory=dict)
    cancelled: bool = False


@dataclass(eq=False, repr=False)
class Pays:
    """So much of a receipt pays a fee, or was paid back where there is no fee."""

    receipt: Receipt
    fee: Fee | None
    amount: int
    tie: "Tie | None" = None
    repaid: "PaidBack | None" = None


@dataclass(eq=False, repr=False)
class PaidBack:
    family: Family
    amount: int
    returned: bool = False


@dataclass(eq=False, repr=False)
class Tie:
    """So much of a receipt made way for a voucher that is never given back as money."""

    receipt: Receipt
    voucher: "Voucher"
    amount: int
    freed: bool = False


@dataclass(eq=False, repr=False)
class Voucher:
    scheme: Scheme
    child: Child
    fee: Fee
    amount: int
    taken_on: date
    code: str
    year: int
    window: int | None
    issued: date | None
    lapses: date | None
    claim_by: date | None
    stands: str = "taken"
    short: int = 0
    claim: int | None = None
    why: str = ""
    came: bool = False

    @property
    def pays(self):
        return self.stands in ("taken", "asked", "paid")


@dataclass(eq=False, repr=False)
class GivenBack:
    """What of a paid voucher is owed to its department, what was credited with it, and what it tied no longer.

    `fees` is how many there were by then, `credits` how many of its fee, `lines` those of what was credited.
    """

    voucher: Voucher
    amount: int
    fee: Fee
    fees: int
    freed: list
    credited: int = 0
    credits: int = 0
    lines: dict = field(default_factory=dict)
    was_ahead: bool = False
    paid: bool = False
    came_back: bool = False
    undone: bool = False


@dataclass(eq=False, repr=False)
class WrittenOff:
    fee: Fee
    amount: int
    tax: int = 0
    undone: bool = False


@dataclass(eq=False, repr=False)
class Parts:
    """What a family agreed to pay by which days; receipts with a later number count towards it."""

    family: Family
    agreed: date
    parts: list
    since: int
    ended: bool = False


@dataclass(frozen=True)
class Back:
    """What giving fees back comes to: what was due, what nobody owes any more, and what the club keeps of it.

    `asked` of that is vouchers' that the department was asked for; others pay `by_voucher` of it and are free of
    `freed`. `to_credit` is what the family had paid and has for something else.
    """

    due: int = 0
    credited: int = 0
    kept: int = 0
    asked: int = 0
    to_credit: int = 0
    by_voucher: int = 0
    freed: int = 0

    def __add__(self, other):
        return Back(*(getattr(self, each.name) + getattr(other, each.name) for each in fields(Back)))
