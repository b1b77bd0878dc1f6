"""What the workbook shows of lockers: who rented one, and what it earned in the year."""

from clubdesk.fees.selectors import earned_by_charge
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.selectors import ZERO
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Heading, Look, Named, Proved, Sheet, together
from tests.house.locker.models import Rent

LOCKERS = Look(
    "Lockers",
    (
        Heading("Locker", 14, "name"), Heading("Household", 40, "name"), Heading("From", 13, "date"),
        Heading("To", 13, "date"), Heading("Earned in the year", 16, "amount"),
    ),
)  # fmt: skip


def write_lockers(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    first = sheet.top(beside.note("What each locker that was rented earned.")) + 1
    accounts = set(Rent.objects.values_list("charge__price__item__income_account", flat=True))
    earned = earned_by_charge(year, account__in=accounts)
    rents = Rent.objects.filter(charge__in=[charge for charge in earned if charge]).order_by("starts_on", "pk")
    for rent in rents.select_related("locker", "household"):
        names = Named(str(rent.locker)), Named(rent.household.name)
        sheet.line([*names, rent.starts_on, rent.ends_on, earned.pop(rent.charge_id)])
    if rest := sum(earned.values(), ZERO):
        sheet.line(["Not of a locker", None, None, None, rest])
    sheet.total(["Total", None, None, None, *sheet.sums(first, "E")])
    income = together(beside.income[account] for account in accounts & beside.income.keys())
    return Proved("Lockers one by one equal their income", sheet.term("E"), income)


SHEETS = (SheetOf(LOCKERS, write_lockers, tab=45),)
