"""A range day, and 65 members on the roll who may come to it, each with a name of its own."""

from datetime import date

from clubdesk.membership import services as membership
from clubdesk.verbs import shell_user
from tests import factories
from tests.worlds.day_one import TODAY

CHILDREN = 65


def grow():
    factories.hire()
    plan = factories.plan()
    for number in range(CHILDREN):
        joined(plan, f"Nara{number:02d}")
    return factories.range_day()


def joined(plan, name, **more):
    """A member of that name, alone in a family unless another is given."""
    child = factories.PersonFactory(given_name=name, family_name="Mirabar", birth_date=date(2014, 1, 9), **more)
    membership.take_out_membership(person=child, plan=plan, starts_on=TODAY, on=TODAY, by=shell_user())
    return child
