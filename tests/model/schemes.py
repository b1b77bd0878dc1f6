"""Five sport vouchers with rules of their own, told plainly: for whom, for what, how many and until when."""

from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True)
class Scheme:
    """`only_open`: never what is paid already; `halves`: one in each half of a year; `tied`: never given back as money.

    Of a paid one whose child leaves so many days after the start the club `owes_back` nothing, the rest, or the whole.
    """

    name: str
    worth: int
    youngest: int = 0
    oldest: int = 99
    by_year_of_birth: bool = False
    per_year: int = 1
    halves: bool = False
    of_child: bool = False
    only_open: bool = False
    one_a_fee: bool = False
    courses_only: bool = False
    valid_days: int | None = None
    claim_days: int | None = None
    last_claim: date | None = None
    tied: bool = False
    owes_back: str = "rest"
    owes_back_days: int | None = None

    def is_for(self, child, day):
        age = day.year - child.born.year if self.by_year_of_birth else child.age(day)
        return self.youngest <= age <= self.oldest

    def window(self, day):
        return (1 if day.month <= 6 else 2) if self.halves else None

    def lapses(self, issued):
        return issued + timedelta(days=self.valid_days) if self.valid_days is not None else None

    def claim_by(self, taken, issued):
        last = self.last_claim if self.last_claim and self.last_claim.year == taken.year else None
        within = taken + timedelta(days=self.claim_days) if self.claim_days is not None else None
        return min((day for day in (self.lapses(issued), last, within) if day), default=None)


CODES = Scheme("State sport voucher", 10_000, youngest=5, oldest=15)
NUMBERS = Scheme(
    "Young people’s voucher", 5_550, oldest=15, by_year_of_birth=True, per_year=2, halves=True, of_child=True,
    only_open=True,
)  # fmt: skip
QUICK = Scheme(
    "Summer voucher", 7_000, courses_only=True, one_a_fee=True, per_year=2, valid_days=40, claim_days=15,
    last_claim=date(2026, 12, 10),
)  # fmt: skip
TIED = Scheme("Voucher for fees alone", 8_025, per_year=3, tied=True, owes_back="whole", owes_back_days=45)
KEPT = Scheme("Voucher for good", 6_010, youngest=8, oldest=99, per_year=2, tied=True, owes_back="nothing")
SCHEMES = (CODES, NUMBERS, QUICK, TIED, KEPT)
