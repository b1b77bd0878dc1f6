"""The roll: ages, age classes and households that are parties of the ledger."""

from datetime import date

import pytest

from clubdesk.ledger.models import PartyKind
from clubdesk.roll import services
from clubdesk.roll.models import age_class_on, age_on


@pytest.mark.parametrize(
    ("turns_in_2026", "age_class"),
    [(8, "Under 14"), (13, "Under 14"), (14, "Under 16"), (15, "Under 16"), (16, "Under 18"), (17, "Under 18"),
     (18, "Under 21"), (20, "Under 21"), (21, "Open"), (60, "Open")],
)  # fmt: skip
@pytest.mark.parametrize("born", [(1, 1), (12, 31)])
@pytest.mark.parametrize("day", [date(2026, 1, 1), date(2026, 12, 31)])
def test_the_age_class_follows_the_calendar_year(turns_in_2026, age_class, born, day):
    # Source: Archery Australia age classes as a state association publishes them: Under 14 to 31 December of the
    # year of the 13th birthday, Under 16 of the 15th, Under 18 of the 17th, Under 21 of the 20th.
    assert age_class_on(date(2026 - turns_in_2026, *born), day) == age_class


def test_an_age_is_whole_years_lived():
    born = date(2014, 9, 12)
    assert age_on(born, date(2026, 9, 11)) == 11
    assert age_on(born, date(2026, 9, 12)) == 12
    assert age_on(date(2012, 2, 29), date(2026, 2, 28)) == 13


def test_a_household_is_a_party_and_keeps_its_name_there(db):
    household = services.add_household(name="Mirabar family", guardian="Ida Mirabar", email="ida@example.org")
    assert household.party.kind == PartyKind.HOUSEHOLD
    household.name = "Mirabar-Lund family"
    services.save_household(household=household)
    household.party.refresh_from_db()
    assert household.party.name == "Mirabar-Lund family"
