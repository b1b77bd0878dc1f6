"""Families of a suburb: many of few surnames, some of one name, children who are called otherwise than who pays."""

import random
from dataclasses import dataclass

# Invented families of frequent and of rare surnames.
FREQUENT = ("Smith", "Nguyen", "Jones", "Singh", "Brown", "Lee", "Wilson", "Kelly", "Tran", "Chen", "Martin", "White")
RARE = (
    "Abernethy", "Bellweather", "Castellano", "Dragovic", "Eikelboom", "Farquharson", "Gwatkin", "Hadjidemetriou",
    "Iskandar", "Jankovics", "Kowalczyk", "Lindqvist", "Marchetti", "Noordhoek", "O'Shaughnessy", "Papadakis",
    "Quarrington", "Rasmussen", "Szymanski", "Thistlewood", "Uyttenhove", "Van der Berg", "Wojcik", "Yilmaz", "Zammit",
    "De Silva", "McAllister", "Ng", "Wu", "Oyelaran",
)  # fmt: skip
GROWN = (
    "James", "Karen", "Peter", "Linh", "Raj", "Susan", "Mark", "Anh", "Priya", "David", "Julie", "Wei", "Andrew",
    "Fiona", "Sanjay", "Helen", "Tony", "Mei", "Craig", "Rosa",
)  # fmt: skip
YOUNG = (
    "Mia", "Noah", "Ava", "Leo", "Zoe", "Jack", "Ivy", "Max", "Ella", "Finn", "Ruby", "Sam", "Isla", "Tom", "Lily",
    "Kai", "Nina", "Hugo", "Tess", "Omar",
)  # fmt: skip


@dataclass(frozen=True)
class Family:
    number: int
    parent: tuple[str, str]
    child: tuple[str, str]

    @property
    def payer(self) -> str:
        return f"home {self.number}"

    @property
    def names(self) -> tuple[tuple[str, str], ...]:
        return (self.child, self.parent)

    @property
    def reference(self) -> str:
        """Five digits and a check digit by Luhn's rule, worked out by hand."""
        digits = [int(sign) for sign in str(20000 + self.number)]
        doubled = [d if place % 2 else (2 * d if 2 * d < 10 else 2 * d - 9) for place, d in enumerate(digits)]
        return "".join(map(str, digits)) + str(-sum(doubled) % 10)


def suburb(chance: random.Random, count: int) -> list[Family]:
    """Half of the families have a frequent surname; every twentieth has the very name of an earlier one's parent."""
    found: list[Family] = []
    for number in range(1, count + 1):
        surname = chance.choice(FREQUENT if chance.random() < 0.5 else RARE)
        parent = (chance.choice(GROWN), surname)
        if number % 20 == 0:
            parent = chance.choice(found).parent
        child = (chance.choice(YOUNG), parent[1] if chance.random() < 0.85 else chance.choice(RARE))
        found.append(Family(number, parent, child))
    return found
