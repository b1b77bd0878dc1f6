"""Questions to the roll."""

import re

from django.contrib.auth.models import User
from stdnum import luhn

from clubdesk.errors import Refused
from clubdesk.roll.models import Guardian, Household, Person

FIRST_REFERENCE = 10000


def payment_reference(household: Household) -> str:
    """What a family writes on a bank transfer: its number and a check digit, so that a slip of the pen shows.

    Source of the check digit: Luhn, ISO/IEC 7812-1 Annex B.
    """
    digits = str(FIRST_REFERENCE + household.pk)
    return digits + luhn.calc_check_digit(digits)


def pk_of_reference(text: str) -> int | None:
    """Whose reference stands in a text, whether the roll has such a household or not; None where a digit is wrong."""
    digits = re.sub(r"[^0-9]", "", text)
    if not 2 <= len(digits) <= 18 or not luhn.is_valid(digits):
        return None
    pk = int(digits[:-1]) - FIRST_REFERENCE
    return pk if pk > 0 else None


def belongs_to(user: User, household: Household) -> bool:
    """Whether the signed-in person is one of the household."""
    return household.users.filter(pk=user.pk).exists()


def refuse_erased(person: Person) -> None:
    """Raise Refused where the person's details were erased: nothing new is written about whoever that was."""
    if person.erased_on:
        raise Refused(f"The details of {person} were erased; add them to the roll anew.")


def guardian_to_write_to(household: Household) -> Guardian | None:
    """The household's first guardian with an e-mail address, or its first."""
    guardians = list(household.guardians.all())
    return next((each for each in guardians if each.email), guardians[0] if guardians else None)
