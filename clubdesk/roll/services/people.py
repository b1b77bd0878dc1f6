"""Who is on the roll: families, and their people."""

from datetime import date, datetime

from django.contrib.auth.models import User
from django.utils import timezone

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.guards import one_at_a_time
from clubdesk.ledger.models import Party, PartyKind
from clubdesk.roll.models import Belonging, Guardian, Household, NewsChoice, Person
from clubdesk.verbs import shell_user, verb


@verb(permission="roll.change_household", title="Save this family")
def save_household(*, household: Household) -> Household:
    """Write a new or renamed household together with its party in the ledger."""
    if household.party_id is None:
        household.party = Party.objects.create(name=household.name, kind=PartyKind.HOUSEHOLD)
    elif household.party.name != household.name:
        household.party.name = household.name
        household.party.save(update_fields=["name"])
    household.save()
    return household


@verb(permission="roll.add_household", title="Add a family")
def add_household(*, name: str, guardian: str = "", email: str = "", phone: str = "") -> Household:
    """A new household with its first guardian."""
    household = save_household(household=Household(name=name))
    if guardian:
        Guardian.objects.create(household=household, name=guardian, email=email, phone=phone)
    return household


@verb(permission="roll.add_person", title="Add a person")
def add_person(*, household: Household, given_name: str, family_name: str, birth_date: date) -> Person:
    """Somebody of a household who comes to the club."""
    return Person.objects.create(
        household=household, given_name=given_name, family_name=family_name, birth_date=birth_date
    )


@verb(permission="roll.change_household", title="Add a sign-in of this family")
def add_to_family(*, household: Household, user: User, by: User) -> Belonging:
    """From now on they never decide about the family's money. Done again it changes nothing."""
    Household.objects.select_for_update(of=("self",), no_key=True).get(pk=household.pk)
    standing = Belonging.objects.filter(household=household, user=user, ended_at=None).first()
    return standing or Belonging.objects.create(household=household, user=user, added_by=by)


@verb(permission="roll.change_household", title="Take a sign-in off this family")
def take_off_family(*, household: Household, user: User, by: User) -> Belonging:
    """They decide about what the family asks for from now on, never about what it asked for before.

    Raises Refused for oneself, and for who does not belong to it.
    """
    Household.objects.select_for_update(of=("self",), no_key=True).get(pk=household.pk)
    if user.pk == by.pk:
        raise Refused("Somebody else must take you off this family; nobody does so themselves.")
    belonging = Belonging.objects.filter(household=household, user=user).order_by("pk").last()
    if belonging is None:
        raise Refused(f"{user} never belonged to {household}.")
    if belonging.ended_at is None:
        _end(belonging, by)
    return belonging


def _end(belonging: Belonging, by: User) -> None:
    belonging.ended_at, belonging.ended_by = timezone.now(), by
    belonging.save(update_fields=["ended_at", "ended_by"])


@verb(permission="roll.change_household", title="End the links of this family")
def end_links(*, household: Household, by: User) -> Household:
    """No link that the family's guardians have works any more; their next letter brings a new one."""
    _end_links(household)
    return household


def _end_links(household: Household) -> None:
    """One by one, since only what is saved as a row is recorded."""
    for guardian in household.guardians.select_for_update(no_key=True).order_by("pk"):
        guardian.link_version += 1
        guardian.save(update_fields=["link_version"])


@verb(permission="roll.change_guardian", title="End news")
def end_news(*, guardian: Guardian, by: User) -> Guardian:
    """They want no more of the club's news; done again it changes nothing. Their own matters still reach them."""
    held = Guardian.objects.select_for_update(no_key=True).get(pk=guardian.pk)
    if held.news_ended_at is None:
        _choose_news(held, clock.now(), NewsChoice(wanted=False), by)
    return held


def agree_to_news(*, guardian: Guardian, wording: str, version: int, by: User) -> Guardian:
    """A part of the verb that takes the news up: they want it, in these words. Said again it changes nothing."""
    held = Guardian.objects.select_for_update(no_key=True).get(pk=guardian.pk)
    said = held.household.news_choices.filter(said_by=held.name).first()
    if held.news_ended_at or not (said and said.wanted and said.wording == wording):
        _choose_news(held, None, NewsChoice(wanted=True, wording=wording, version=version), by)
    return held


def _choose_news(guardian: Guardian, ended_at: datetime | None, choice: NewsChoice, by: User) -> None:
    guardian.news_ended_at = ended_at
    guardian.save(update_fields=["news_ended_at"])
    choice.household, choice.said_by, choice.recorded_by = guardian.household, guardian.name, by
    choice.save()


def one_new_family_at_a_time() -> None:
    """Until this transaction ends nobody else puts a family on the roll that they looked for first."""
    one_at_a_time("roll")


def forget_household(household: Household) -> None:
    """Take a household's name away, end its links and who belongs to it; for the erasing of its last person."""
    household.name = f"Erased family {household.pk}"
    save_household(household=household)
    _end_links(household)
    for belonging in household.belongings.filter(ended_at=None):
        _end(belonging, shell_user())
