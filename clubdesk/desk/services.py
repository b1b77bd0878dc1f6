"""Verbs of the desk: beginning a club's books, signing people in, and what time alone changes."""

import secrets
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group, User
from django.db import transaction

from clubdesk.bank.models import BankAccount
from clubdesk.courses import services as courses
from clubdesk.courses.models import Course
from clubdesk.courses.selectors import cohorts_without_price
from clubdesk.desk.roles import make_roles
from clubdesk.entryfund import services as entryfund
from clubdesk.fees import services as fees
from clubdesk.ledger import services as ledger
from clubdesk.ledger.files import import_chart
from clubdesk.ledger.models import Book, Role
from clubdesk.ledger.selectors import account
from clubdesk.membership import services as membership
from clubdesk.membership.terms import months_later
from clubdesk.rangeday import services as rangeday

CHART = settings.BASE_DIR / "fixtures" / "chart.csv"


@transaction.atomic
def start_books(*, club_name: str, year_start: date, by: User, is_demo: bool = False) -> Book:
    """Everything an empty book needs: chart, funds, bank account, roles, and the first financial year."""
    book = ledger.start_book(club_name=club_name, currency=settings.CLUB_CURRENCY, by=by, is_demo=is_demo)
    import_chart(content=CHART.read_bytes(), by=by)
    BankAccount.objects.create(name="Club account", account=account(Role.BANK))
    ledger.open_year(first_day=year_start, by=by)
    make_roles()
    return book


@transaction.atomic
def add_user(*, username: str, role: str = "", password: str = "", full_name: str = "") -> tuple[User, str]:
    """Somebody who can sign in, with one role or (where `role` is blank) as the keeper of the site.

    Returns the user and the password, which is made up where none is given and is shown this once.
    """
    password = password or secrets.token_urlsafe(9)
    given, _, family = full_name.partition(" ")
    user = get_user_model().objects.create_user(
        username, password=password, is_staff=True, is_superuser=not role, first_name=given, last_name=family
    )
    if role:
        user.groups.set([Group.objects.get(name=role)])
    return user, password


@dataclass(frozen=True)
class Nightly:
    """What a night changed: offers and unpaid places that lapsed, families reminded, fees that became income."""

    lapsed: int
    reminded: int
    recognised: int
    refused: tuple[str, ...] = ()


def nightly(*, on: date, by: User) -> Nightly:
    """What time alone changes: offers and unpaid places lapse and are offered on, families are reminded, fees of
    what has started become income. Doing it twice changes nothing.

    Each part is a transaction of its own, so that a night holds no lock that the day waits for; a night that
    was interrupted is done by the next.
    """
    lapsed = [*courses.lapse_offers(on=on, by=by), *courses.lapse_unpaid(on=on, by=by)]
    reminded = courses.remind_unpaid(on=on, by=by)
    for course in Course.objects.order_by("pk"):
        courses.offer_free_seats(course=course, on=on, by=by)
    courses.forget_page_uses()
    reminded_to_renew = [*membership.remind_renewals(on=on), *entryfund.remind_entries(on=on)]
    rangeday.forget_visitors(before=months_later(on, -12 * settings.KEEP_RECORDS_YEARS))
    recognised = fees.recognise_due(on=on, by=by)
    not_reversed = ledger.reverse_due(on=on, by=by)
    missing = cohorts_without_price(on)
    return Nightly(
        len(lapsed),
        len(reminded) + len(reminded_to_renew),
        recognised.count,
        (*recognised.refused, *not_reversed, *missing),
    )
