"""The ledger's part of the demo: what the paper books bring forward, bills, the bank's interest, and locked months."""

from datetime import date, timedelta
from decimal import Decimal

from clubdesk import clock
from clubdesk.demoing import Demo
from clubdesk.ledger import selectors, services
from clubdesk.ledger.models import Account, FinancialYear, FundRole, JournalOrigin, Role
from clubdesk.ledger.posting import Line, credit, debit
from clubdesk.money import as_amount, half_up, nil
from clubdesk.rooms import Scene
from clubdesk.verbs import shell_user

FLOAT = as_amount(100)
"""What the till begins with, and keeps when its takings are banked."""

EARNED = {"4010": "7392.00", "4020": "6426.00", "4030": "4130.00", "4040": "1245.00", "4070": "31.20"}
SPENT = {
    "5020": "1684.35",
    "5030": "942.10",
    "5040": "2210.75",
    "5050": "618.40",
    "5060": "147.62",
    "5070": "2875.00",
    "5100": "640.00",
}
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
    """The year before, as one summary from the paper books, so that last year's figures stand beside."""
    for first_day in (demo.last_year, demo.this_year):
        services.open_year(first_day=first_day, by=shell_user())
    _bring_forward(demo, "Brought forward from the paper books", _general_fund())
    _bring_forward(
        demo,
        "Entry fund from the paper books",
        [
            debit(Role.BANK, as_amount("412.60"), fund=FundRole.ENTRY),
            debit(Role.ENTRY_REFUNDS, as_amount("1180.00"), fund=FundRole.ENTRY),
            credit(Role.CONTAINERS, as_amount("1592.60"), fund=FundRole.ENTRY),
        ],
    )
    year = FinancialYear.objects.get(first_day=demo.year_before)
    services.close_year(year=year, by=shell_user(), on=demo.last_year)


def _general_fund() -> list[Line]:
    accounts = {account.code: account for account in Account.objects.all()}
    lines = [credit(accounts[code], as_amount(text)) for code, text in EARNED.items()]
    lines += [debit(accounts[code], as_amount(text)) for code, text in SPENT.items()]
    lines += [debit(accounts["1500"], as_amount("6400.00")), credit(accounts["1510"], as_amount("1920.00"))]
    lines += [debit(Role.TILL, FLOAT), credit(Role.ACCUMULATED, as_amount("5184.20"))]
    return [*lines, debit(Role.BANK, -sum((line.amount for line in lines), nil()))]


def _bring_forward(demo: Demo, narration: str, lines: list[Line]) -> None:
    services.record_journal(
        on=demo.last_year - timedelta(days=1),
        narration=narration,
        lines=lines,
        by=demo.users["treasurer"],
        origin=JournalOrigin.OPENING,
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
