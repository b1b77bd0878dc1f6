"""What finding costs in a large club: 5,000 people, and ten years of receipts and entries."""

import statistics
import time
from datetime import date, timedelta

import pytest
from django.db import connection
from django.urls import reverse
from faker import Faker

from clubdesk.fees.models import Charge, Method, Receipt
from clubdesk.ledger.models import FinancialYear, Party, PartyKind
from clubdesk.money import as_amount
from clubdesk.roll.models import Guardian, Household, Person
from tests import factories
from tests.benchmarks.test_ratios import fill

pytestmark = pytest.mark.django_db
FAMILIES, ON = 2_500, date(2026, 7, 6)
TYPED = {
    "a name": "smith",
    "a misspelt name": "Katherin Smiht",
    "one letter": "a",
    "an amount": "$126.00",
    "a very common amount": "$30.00",
    "a number": "412",
    "a phone": "08 7010 0412",
    "nobody": "Quillfeather",
}


@pytest.fixture
def club(book, by, without_guards):
    """So many families of two children with four receipts and six fees each, and 200,000 postings."""
    fake = Faker("en_AU")
    fake.seed_instance(5000)
    names = [fake.last_name() for _ in range(FAMILIES)]
    parties = Party.objects.bulk_create(Party(name=f"{name} family", kind=PartyKind.HOUSEHOLD) for name in names)
    homes = Household.objects.bulk_create(Household(name=party.name, party=party) for party in parties)
    Guardian.objects.bulk_create(
        Guardian(
            household=home, name=f"{fake.first_name()} {name}", phone=f"08 7010 {n:04d}", email=f"g{n}@example.org"
        )
        for n, (home, name) in enumerate(zip(homes, names, strict=True))
    )
    Person.objects.bulk_create(
        Person(household=home, given_name=fake.first_name(), family_name=name, birth_date=date(2014, 3, 9))
        for home, name in zip(homes, names, strict=True)
        for _ in range(2)
    )
    of_fees(homes, by)
    fill(1, FinancialYear.objects.get(), 50_000, by)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


def of_fees(homes, by):
    price = factories.price()
    Receipt.objects.bulk_create(
        Receipt(number=1 + n * len(homes) + at, household=home, method=Method.CARD, recorded_by=by,
                amount=as_amount(50 + n), received_on=ON + timedelta(days=at % 300), reference="fees")
        for at, home in enumerate(homes) for n in range(4)
    )  # fmt: skip
    Charge.objects.bulk_create(
        Charge(household=home, price=price, description="Beginner course", amount=as_amount(121 + n), recorded_by=by,
               charged_on=ON, starts_on=ON)
        for home in homes for n in range(6)
    )  # fmt: skip


def read_names():
    """The bare reading of all that names are compared with, once for families and once for people."""
    list(Household.objects.values_list("pk", "name"))
    list(Guardian.objects.values_list("household", "name", "email", "phone"))
    list(Person.objects.values_list("household", "given_name", "family_name", "erased_on"))
    list(Person.objects.values_list("pk", "given_name", "family_name"))


def test_a_misspelt_name_among_5000_people_beside_bare_reading_of_the_names(ratio, club, client, keeper):
    """The whole page, signed in, against the four queries that read the names. Each kind of search is timed as well."""
    client.force_login(keeper)
    url = reverse("admin:find")
    for what, typed in TYPED.items():
        client.get(url, {"q": typed})
        spent = []
        for _ in range(7):
            began = time.perf_counter(), time.thread_time()
            answer = client.get(url, {"q": typed})
            spent.append((time.perf_counter() - began[0], time.thread_time() - began[1]))
        waited, computed = (1000 * statistics.median(each) for each in zip(*spent, strict=True))
        rows = sum(len(group.rows) for group in answer.context["groups"])
        print(f"\n  {what}, {typed}: {waited:.0f} ms, {computed:.0f} of them computing; {rows} found", end="")
    ratio(lambda: client.get(url, {"q": TYPED["a misspelt name"]}), read_names, rounds=9, limit=5)
