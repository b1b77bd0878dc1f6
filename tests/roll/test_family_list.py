"""The list of families: who is in each, and who owes."""

import pytest

from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.money import as_amount
from tests import factories


@pytest.fixture
def families(book, by, today):
    """One that owes, one in credit, one with nothing."""
    price = factories.price(amount="60.00")
    owes, credit, even = (factories.HouseholdFactory(name=name) for name in ("Owes", "Credit", "Even"))
    fees.charge(household=owes, price=price, on=today, starts_on=today, by=by)
    fees.record_receipt(household=credit, amount=as_amount(5), method=Method.CASH, on=today, by=by)
    return owes, credit, even


def names(client, asked):
    found = client.get(f"/roll/household/?{asked}").context["cl"].result_list
    return {each.name for each in found}


@pytest.mark.parametrize(
    ("asked", "found"),
    [("", {"Owes", "Credit", "Even"}), ("account=owes", {"Owes"}), ("account=credit", {"Credit"})],
)
def test_it_is_narrowed_to_who_owes_or_is_in_credit(client, coordinator, families, asked, found):
    client.force_login(coordinator)
    assert names(client, asked) == found


def test_the_people_of_each_stand_beside_its_name_the_eldest_first(client, coordinator, families, today):
    home = families[0]
    for given, years in (("Young", 8), ("Old", 14), ("Gone", 12)):
        factories.PersonFactory(household=home, given_name=given, birth_date=today.replace(year=today.year - years))
    home.people.filter(given_name="Gone").update(erased_on=today)
    client.force_login(coordinator)
    assert "Old, Young" in client.get("/roll/household/").content.decode()
