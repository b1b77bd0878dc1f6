"""Seven sport vouchers with rules of their own, told plainly: for whom, for what, how many and until when."""

from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True)
class Scheme:
    """`only_open`: never what is paid already; `halves`: one in each half of a year; `tied`: never given back as money.

    Of a paid one whose child leaves so many days after the start the club `owes_back` nothing, the rest, or the whole.
    `named` is a month and a day of the scheme's year: the age on it counts, in whole years and months; `school` the
    same of a calendar year in which who is five by then begins school, and the school years since count, from 0.
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
    named: tuple | None = None
    months: int = 0
    begins: int = 1
    school: tuple | None = None

    def year(self, day):
        return day.year - (day.month < self.begins)

    def is_for(self, child, day, school_year=None):
        if self.school:
            first = next(year for year in range(child.born.year, 9999) if child.age(date(year, *self.school)) >= 5)
            year = day.year - first if school_year is None else school_year
            return self.youngest <= year <= self.oldest
        if self.named:
            month, on = self.named
            then = date(self.year(day) + (month < self.begins), month, on)
            enough = child.months(then) >= 12 * self.youngest + self.months
            return enough and child.age(then) <= self.oldest
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
SCHOOL = Scheme("School voucher", 4_505, youngest=2, oldest=6, school=(4, 30), per_year=2, one_a_fee=True)
NAMED = Scheme("Voucher of the financial year", 3_333, youngest=9, months=6, oldest=13, named=(11, 9), begins=7)
KEPT = Scheme("Voucher for good", 6_010, youngest=8, oldest=99, per_year=2, tied=True, owes_back="nothing")
SCHEMES = (CODES, NUMBERS, QUICK, TIED, KEPT, SCHOOL, NAMED)
