"""Ten voucher schemes as a club would enter them: five by published rules, named and dated, and five invented.

Of the published, what each source says stands beside it; what it does not say is the form's default.
"""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from clubdesk.fees.models import VoucherScheme, VoucherValue, VoucherWindow
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.money import as_amount

YEARS = range(2024, 2029)


@dataclass(frozen=True, eq=False)
class Scheme:
    name: str
    worth: int
    windows: tuple[tuple[int, int, int, int], ...] = ()
    rules: dict[str, Any] = field(default_factory=dict)

    def unsaved(self) -> VoucherScheme:
        return VoucherScheme(name=self.name, **self.rules)

    def entered(self) -> VoucherScheme:
        """As a club enters it, with a value in each year."""
        department, _ = Party.objects.get_or_create(name=f"Department of {self.name}", kind=PartyKind.DEPARTMENT)
        made = VoucherScheme.objects.create(name=self.name, department=department, **self.rules)
        for year in YEARS:
            VoucherValue.objects.create(scheme=made, calendar_year=year, amount=as_amount(self.worth))
        for first_month, first_day, last_month, last_day in self.windows:
            VoucherWindow.objects.create(
                scheme=made, from_month=first_month, from_day=first_day, until_month=last_month, until_day=last_day
            )
        return made


SA_2025 = Scheme(
    # Source: the sports vouchers of South Australia, 2025: two of 100 a calendar year, born 2010 to 2020, an 11-digit
    # number of the child. Its check (the first eight digits, weighted, give the ninth): common practice, no source.
    "Sports vouchers of South Australia, 2025", 100,
    rules={
        "aged_by": "born", "youngest": 5, "oldest": 15, "per_year": 2, "key_kind": "child", "code_form": "###########",
        "check_digit": "weighted", "check_weights": "1 3 7 9 1 3 7 9",
    },
)  # fmt: skip
NSW_2025 = Scheme(
    # Source: Active and Creative Kids, New South Wales, 2025: two of 50, from 15 January and 15 July, ages 4½ to 18.
    "Active and Creative Kids of New South Wales, 2025", 50, ((1, 15, 7, 14), (7, 15, 12, 31)),
    rules={"youngest": 4, "youngest_months": 6, "oldest": 18, "per_year": 2},
)  # fmt: skip
WA_V3 = Scheme(
    # Source: KidSport, Western Australia, policy version 3: 300 a financial year, a code of six letters or digits, 90
    # days, ages 5 to 18.
    "KidSport of Western Australia, version 3", 300,
    rules={"youngest": 5, "oldest": 18, "year_begins": 7, "code_form": "******", "valid_days": 90},
)  # fmt: skip
QLD_2025 = Scheme(
    # Source: Play On!, Queensland, 2025: up to 200, ages 5 to 17, paid in ten business days.
    "Play On of Queensland, 2025",
    200,
    rules={"youngest": 5, "oldest": 17, "promise_days": 10, "promise_working": True},
)
VIC_2025 = Scheme(
    # Source: Get Active Kids, Victoria, 2025: up to 200, ages 0 to 18, four sessions at least, paid within 30 days.
    "Get Active Kids of Victoria, 2025",
    200,
    rules={"youngest": 0, "oldest": 18, "least_sessions": 4, "promise_days": 30},
)
BY_NEW_YEAR = Scheme(
    "Riverland bows", 80,
    rules={"aged_by": "named", "youngest": 8, "oldest": 14, "one_a_fee": True, "per_year": 3, "only_unpaid": True},
)  # fmt: skip
BY_MID_YEAR = Scheme(
    "Saltbush sport", 120,
    rules={"aged_by": "named", "on_month": 1, "on_day": 31, "youngest": 5, "youngest_months": 6, "oldest": 12,
           "year_begins": 7, "no_money_back": True, "claim_days": 30},
)  # fmt: skip
BY_SCHOOL = Scheme(
    "Wattle school sport", 60,
    rules={"aged_by": "school", "youngest": 0, "oldest": 9, "on_month": 4, "on_day": 30, "registration_days": 7},
)  # fmt: skip
BY_SCHOOL_KINDLY = Scheme(
    "Mallee school sport", 75,
    rules={"aged_by": "school", "youngest": 3, "oldest": 6, "on_month": 2, "on_day": 28, "starts_at": 6,
           "favours_child": True},
)  # fmt: skip
KINDLY = Scheme(
    "Gumnut youth fund", 90,
    rules={"youngest": 6, "oldest": 16, "favours_child": True, "year_begins": 4, "valid_days": 30, "key_kind": "child",
           "check_digit": "luhn"},
)  # fmt: skip
PUBLISHED = (SA_2025, NSW_2025, WA_V3, QLD_2025, VIC_2025)
INVENTED = (BY_NEW_YEAR, BY_MID_YEAR, BY_SCHOOL, BY_SCHOOL_KINDLY, KINDLY)
TEN = (*PUBLISHED, *INVENTED)
TWO_YEARS = (date(2025, 7, 1), date(2027, 6, 30))
