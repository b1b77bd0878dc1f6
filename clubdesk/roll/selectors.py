"""Questions to the roll."""

from django.contrib.auth.models import User

from clubdesk.roll.models import Guardian, Household


def belongs_to(user: User, household: Household) -> bool:
    """Whether the signed-in person is one of the household."""
    return household.users.filter(pk=user.pk).exists()


def guardian_to_write_to(household: Household) -> Guardian | None:
    """The household's first guardian with an e-mail address, or its first."""
    guardians = list(household.guardians.all())
    return next((each for each in guardians if each.email), guardians[0] if guardians else None)
