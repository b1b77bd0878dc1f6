"""The roll's part of the demo: the families of the club and those who will come to it."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from clubdesk.demoing import Demo
from clubdesk.roll import services
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import Scene

FAMILIES = 178
IN_THE_CLUB = 42


@dataclass
class Cast:
    """Who is in the club, the approver's own child first, and the children of each family that may still come."""

    juniors: list[Person] = field(default_factory=list)
    newcomers: list[list[Person]] = field(default_factory=list)

    @property
    def keen(self) -> Person:
        """The approver's own child, who never misses a day."""
        return self.juniors[0]

    @property
    def helpful(self) -> Household:
        """The family that buys things for the club, and of which a guardian joins."""
        return self.juniors[3].household


def begin(demo: Demo) -> None:
    """Families with one to three children; about half of the children are in the club already."""
    cast = demo.part(Cast)
    for index in range(FAMILIES):
        children = _family(demo, index)
        if index < IN_THE_CLUB:
            cast.juniors.extend(children)
        else:
            cast.newcomers.append(children)
    services.add_to_family(household=cast.keen.household, user=demo.users["approver"], by=demo.users["coordinator"])
    demo.chance.shuffle(cast.newcomers)


def _family(demo: Demo, index: int) -> list[Person]:
    family = demo.fake.unique.last_name()
    household = services.add_household(
        name=f"{family} family",
        guardian=f"{demo.fake.first_name()} {family}",
        email=f"{family.lower().replace(' ', '').replace(chr(39), '')}{index}@example.org",
        phone=f"08 7010 {index:04d}",
    )
    return [
        services.add_person(
            household=household,
            given_name=demo.fake.first_name(),
            family_name=family,
            birth_date=demo.last_year
            - timedelta(days=365 * demo.chance.randint(10, 15) + demo.chance.randint(20, 340)),
        )
        for _ in range(demo.chance.choice((1, 1, 1, 2, 2, 3)))
    ]


def guardian_as_person(household: Household, born: date) -> Person:
    """The household's guardian, on the roll as one who shoots as well."""
    given, _, family = household.guardians.get().name.partition(" ")
    return household.people.filter(given_name=given).first() or services.add_person(
        household=household, given_name=given, family_name=family, birth_date=born
    )


SCENES = (Scene(begin=begin),)
