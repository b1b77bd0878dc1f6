"""The part of the expenses in the demo: a family that buys things for the club."""

from datetime import date, timedelta

from clubdesk.clock import day_text
from clubdesk.demoing import Demo, receipt_photo
from clubdesk.evidence import examine
from clubdesk.expenses import services
from clubdesk.expenses.models import Expense
from clubdesk.ledger.models import Account, Fund, FundRole
from clubdesk.money import as_amount
from clubdesk.roll.demo import Cast
from clubdesk.rooms import Scene

BOUGHT = (
    ("Batteries for the timer", "5040", "38.90"),
    ("Sausages for the come-and-try day", "5040", "112.40"),
    ("Printing of the course leaflets", "5020", "64.00"),
    ("Hinges for the target shed", "5050", "27.35"),
)


def plan(demo: Demo, start: date) -> None:
    for days in (24, 96, 171, 250):
        demo.at(start + timedelta(days=days), volunteer_spends)


def volunteer_spends(demo: Demo, day: date) -> None:
    """A family buys something for the club; the approver decides a few days later."""
    what, code, amount = demo.chance.choice(BOUGHT)
    expense = services.record_expense(
        household=demo.part(Cast).helpful,
        what=what,
        amount=as_amount(amount),
        spent_on=day - timedelta(days=2),
        account=Account.objects.get(code=code),
        fund=Fund.objects.get(pk=FundRole.GENERAL),
        evidence=examine(receipt_photo(what, day_text(day), amount)),
        by=demo.users["coordinator"],
    )
    demo.at(day + timedelta(days=5), approve, expense)


def approve(demo: Demo, day: date, expense: Expense) -> None:
    services.approve_expense(expense=expense, on=day, by=demo.users["approver"])


SCENES = (Scene(plan=plan, leave=volunteer_spends),)
