"""The ledger's part of the demo: what the paper books bring forward, bills, the bank's interest, and locked months."""

from datetime import date, timedelta
from decimal import Decimal

from clubdesk import clock
from clubdesk.demoing import Demo
from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import Account, Book, FundRole, Role
from clubdesk.ledger.posting import Line, credit, debit
from clubdesk.money import as_amount, half_up, nil
from clubdesk.rooms import Scene
from clubdesk.verbs import shell_user

FLOAT = as_amount(100)
"""What the till begins with, and keeps when its takings are banked."""

BEGINS_WITH = (
    (Role.BANK, FundRole.GENERAL, "10710.18"),
    (Role.TILL, FundRole.GENERAL, "100.00"),
    (Role.EQUIPMENT, FundRole.GENERAL, "6400.00"),
    (Role.DEPRECIATED, FundRole.GENERAL, "-1920.00"),
    (Role.ACCUMULATED, FundRole.GENERAL, "-15290.18"),
    (Role.BANK, FundRole.ENTRY, "412.60"),
    (Role.ACCUMULATED, FundRole.ENTRY, "-412.60"),
)
"""What the paper books ended with, debit above zero; what families owed comes with the fees."""
BILLS = {
    8: (("5020", "Course bows' strings and finger tabs", "1412.35"), ("5070", "Insurance", "4960.00")),
    10: (("5040", "Target faces and butts", "2688.90"), ("5020", "Training bows", "1890.00")),
    12: (("5030", "Medals for the end of season shoot", "936.20"),),
    2: (("5020", "Beginner arrows", "1524.00"), ("5050", "Repair of the target shed roof", "2275.00")),
    4: (("5040", "Straw butts", "2742.60"),),
    6: (("5030", "Perpetual trophy engraved", "88.00"),),
}
"""What is paid in which month: account, words, amount."""


def begin(demo: Demo) -> None:
    """The book begins on the first day of the year before the present one, with what the paper books ended with."""
    Book.objects.update(
        contact_name="Ines Kallara", contact_email="coordinator@quandong.example", contact_phone="0491 570 156"
    )
    services.open_year(first_day=demo.this_year, by=shell_user())
    services.record_opening(
        narration="Brought forward from the paper books",
        lines=[Line(role, as_amount(text), None, fund) for role, fund, text in BEGINS_WITH],
        by=demo.users["treasurer"],
    )


def plan(demo: Demo, start: date) -> None:
    for month in range(12):
        first = clock.months_later(start, month)
        demo.at(first + timedelta(days=16), pay_bills)
        demo.at(first + timedelta(days=26), bank_interest)
    for month in range(11):
        ended = selectors.month_end(clock.months_later(start, month))
        demo.at(ended + timedelta(days=45), lock_month, ended)


def pay_bills(demo: Demo, day: date) -> None:
    for code, narration, text in BILLS.get(day.month, ()):
        lines = [debit(Account.objects.get(code=code), as_amount(text)), credit(Role.BANK, as_amount(text))]
        services.record_journal(on=day, narration=narration, lines=lines, by=demo.users["treasurer"])


def bank_interest(demo: Demo, day: date) -> None:
    interest = as_amount(half_up(selectors.balance(Role.BANK, day) * Decimal("0.0004")))
    if interest > nil():
        lines = [debit(Role.BANK, interest), credit(Role.INTEREST, interest)]
        services.record_journal(on=day, narration="Bank interest", lines=lines, by=demo.users["treasurer"])


def lock_month(demo: Demo, day: date, month_end: date) -> None:
    services.lock_month(month_end=month_end, by=demo.users["treasurer"])


SCENES = (Scene(begin=begin, plan=plan),)
