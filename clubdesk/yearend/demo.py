"""The year's end in the demo: the register of equipment, the budget, the adjustments and the close."""

from datetime import date, timedelta
from decimal import Decimal

from clubdesk import clock
from clubdesk.demoing import Demo, closed_on
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole
from clubdesk.money import as_amount
from clubdesk.rooms import Scene
from clubdesk.yearend import services
from clubdesk.yearend.selectors import budget_of, months_of, spread


def begin(demo: Demo) -> None:
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
    if start == demo.last_year:  # of the year before only the sums are known
        planned = budget_of(year.first_day, year.last_day)
        for account in Account.objects.filter(pk__in=planned):
            months = spread(as_amount(planned[account.pk]), months_of(year))
            services.set_budget(year=year, account=account, months=months, by=demo.users["treasurer"])


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
