"""Who is on the roll: families, and their people."""

from collections.abc import Sequence
from datetime import date

from django.contrib.auth.models import User

from clubdesk.guards import one_at_a_time
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.verbs import verb


@verb(permission="roll.change_household", title="Save this household")
def save_household(*, household: Household) -> Household:
    """Write a new or renamed household together with its party in the ledger."""
    if household.party_id is None:
        household.party = Party.objects.create(name=household.name, kind=PartyKind.HOUSEHOLD)
    elif household.party.name != household.name:
        household.party.name = household.name
        household.party.save(update_fields=["name"])
    household.save()
    return household


@verb(permission="roll.add_household", title="Add a household")
def add_household(
    *, name: str, guardian: str = "", email: str = "", phone: str = "", users: Sequence[User] = ()
) -> Household:
    """A new household with its first guardian."""
    household = save_household(household=Household(name=name))
    if guardian:
        Guardian.objects.create(household=household, name=guardian, email=email, phone=phone)
    household.users.set(users)
    return household


@verb(permission="roll.add_person", title="Add a person")
def add_person(*, household: Household, given_name: str, family_name: str, birth_date: date) -> Person:
    """Somebody of a household who comes to the club."""
    return Person.objects.create(
        household=household, given_name=given_name, family_name=family_name, birth_date=birth_date
    )


def one_new_family_at_a_time() -> None:
    """Until this transaction ends nobody else puts a family on the roll that they looked for first."""
    one_at_a_time("roll")


def forget_household(household: Household) -> None:
    """Take the name of a household and of its party away, and its sign-ins; for the erasing of its last person."""
    household.name = f"Erased household {household.pk}"
    save_household(household=household)
    household.users.clear()
