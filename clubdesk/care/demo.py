"""The part of whom to ring and what to know in the demo: some families have named people, and said what matters."""

from datetime import date

from clubdesk import clock
from clubdesk.care import services
from clubdesk.care.models import Kind
from clubdesk.care.selectors import Contact
from clubdesk.care.services import Health, Said
from clubdesk.demoing import Demo
from clubdesk.roll.demo import Cast
from clubdesk.roll.models import Person
from clubdesk.rooms import Scene
from clubdesk.verbs import shell_user

NEIGHBOURS = ("Alma Rook", "Bram Tully", "Cleo Hart", "Dov Pike", "Etta Lowe", "Finn Marsh")
HEALTH = {
    2: Health(allergy="Bee stings: swells at once", medication="Adrenaline pen in the front pocket of her bag"),
    5: Health(medication="Asthma puffer before running about", needs="Sits out where it is dusty"),
    9: Health(needs="Hears little on the left: stand on the right side to speak"),
    14: Health(allergy="Peanuts"),
}


def begin(demo: Demo) -> None:
    """Two of three children in the club have somebody named besides the guardians; a few have a health note."""
    with clock.on(demo.last_year):
        for number, child in enumerate(demo.part(Cast).juniors):
            if number % 3 != 2 or number in HEALTH:
                _say(child, number, demo.last_year)


def _say(child: Person, number: int, on: date) -> None:
    guardian = child.household.guardians.get()
    neighbour = Contact(NEIGHBOURS[number % len(NEIGHBOURS)], f"08 7010 9{number:03d}", "neighbour")
    said = Said(
        ring=[Contact(guardian.name, guardian.phone, "parent"), neighbour],
        collect=[Contact(neighbour.name, neighbour.phone)] if number % 2 else [],
        health=HEALTH.get(number, Health()),
        agreed={Kind.PHOTOS: number % 4 != 3, Kind.FIRST_AID: True, Kind.DATA: True},
    )
    services.keep_by_family(guardian=guardian, person=child, said=said, on=on, by=shell_user())


SCENES = (Scene(begin=begin),)
