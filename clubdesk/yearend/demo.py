"""The year's end in the demo: the register of equipment, the budget, the adjustments and the close."""

from datetime import date, timedelta
from decimal import Decimal

from clubdesk import clock
from clubdesk.clock import day_before
from clubdesk.demoing import Demo, closed_on
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole
from clubdesk.money import as_amount
from clubdesk.rooms import Scene
from clubdesk.yearend import services

PRINTED = {
    FundRole.GENERAL: {
        "1010": "10710.18", "1020": "100.00", "1100": "306.00", "1500": "6400.00", "1510": "1920.00",
        "4010": "7392.00", "4020": "6426.00", "4030": "4130.00", "4040": "1245.00", "4070": "31.20",
        "5020": "1684.35", "5030": "942.10", "5040": "2210.75", "5050": "618.40", "5060": "147.62", "5070": "2875.00",
        "5100": "640.00",
    },
    FundRole.ENTRY: {"1010": "412.60", "4050": "1592.60", "5010": "1180.00"},
}  # fmt: skip
"""What the paper books' last statements printed, by fund and code."""


def begin(demo: Demo) -> None:
    for role, printed in PRINTED.items():
        services.set_comparatives(
            year_end=day_before(demo.last_year),
            fund=Fund.objects.get(pk=role),
            figures={Account.objects.get(code=code): as_amount(text) for code, text in printed.items()},
            by=demo.users["treasurer"],
        )
    services.add_equipment(
        name="Ten training bows and the range's butts",
        bought_on=clock.months_later(demo.year_before, -24),
        cost=as_amount(6400),
        years=10,
        brought_in=as_amount(1920),
        fund=Fund.objects.get(pk=FundRole.GENERAL),
        by=demo.users["treasurer"],
    )


def plan(demo: Demo, start: date) -> None:
    demo.at(start + timedelta(days=3), plan_the_money, start)
    demo.at(closed_on(start) - timedelta(days=30), adjust, start)
    demo.at(closed_on(start), close, start)


def plan_the_money(demo: Demo, day: date, start: date) -> None:
    """The committee's budget of the year that begins: a little above what the last one was."""
    year = FinancialYear.objects.get(first_day=start)
    services.copy_budget(year=year, percent=Decimal(104), by=demo.users["treasurer"])


def adjust(demo: Demo, day: date, start: date) -> None:
    """What belongs to the year that ends though its bills say otherwise."""
    last_day = FinancialYear.objects.get(first_day=start).last_day
    accounts = {account.code: account for account in Account.objects.all()}
    general, treasurer = Fund.objects.get(pk=FundRole.GENERAL), demo.users["treasurer"]
    services.accrue(
        expense=accounts["5050"],
        amount=as_amount("185.00"),
        narration="Mower serviced in June, bill to come",
        fund=general,
        on=last_day,
        reverse_on=last_day + timedelta(days=1),
        by=treasurer,
    )
    services.prepay(
        expense=accounts["5070"],
        amount=as_amount("620.00"),
        narration="Insurance of July and August",
        fund=general,
        on=last_day,
        reverse_on=last_day + timedelta(days=1),
        by=treasurer,
    )
    services.count_stock(
        counted=as_amount("240.00"),
        materials=accounts["5020"],
        fund=general,
        on=last_day,
        narration="Finger tabs and strings in the store",
        by=treasurer,
    )
    services.depreciate(until=last_day, by=treasurer)


def close(demo: Demo, day: date, start: date) -> None:
    """The checklist is done by then: the rooms below had their last things to do on this day."""
    year = FinancialYear.objects.get(first_day=start)
    services.close_books(year=year, by=demo.users["treasurer"], on=day)


SCENES = (Scene(begin=begin, plan=plan),)
