"""Families that open their own pages by the link in a letter, and who of those that sign in belongs to them."""

from clubdesk.roll import links
from clubdesk.roll import services as roll
from clubdesk.roll.models import Guardian
from clubdesk.verbs import shell_user


def guardian_of(household):
    """One of the family's guardians, who has an e-mail address."""
    found = household.guardians.exclude(email="").first()
    return found or Guardian.objects.create(household=household, name="Ida", email=f"g{household.pk}@example.org")


def link(household, page="/account/"):
    """The address that stands in a letter to the family."""
    return links.path_for(guardian_of(household), page)


def page_of(client, household, page="/account/"):
    """The address of a page of the family, which the client may look at from now on, and no other family's."""
    answer = client.get(link(household, page))
    assert (answer.status_code, answer.url) == (302, page)
    return page


def claims_of(client, household):
    return page_of(client, household, "/claims/")


def booking_of(client, booking):
    return page_of(client, booking.household, f"/book/own/{booking.pk}/")


def belongs(user, household):
    """Somebody who signs in belongs to the family from now on."""
    return roll.add_to_family(household=household, user=user, by=shell_user())
