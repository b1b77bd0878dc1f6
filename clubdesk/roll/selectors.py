"""Questions to the roll."""

from django.contrib.auth.models import User

from clubdesk.roll.models import Household


def belongs_to(user: User, household: Household) -> bool:
    """Whether the signed-in person is one of the household."""
    return household.users.filter(pk=user.pk).exists()
