"""A generated year of a bank account with known truth: what each line is, and what the book expected."""

import random
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta

from faker import Faker
from stdnum import luhn

from clubdesk.bank.matching import BankLine, Expected

START = date(2026, 7, 1)
FEES = (22800, 12600, 700, 1500, 20520, 5000)


@dataclass
class Year:
    """`truth` is, by the line's key, the keys of the items that explain it; None where nothing does.

    Items of one payer and amount are as good as each other; `loose_of` names the family where any of its fees will do.
    """

    lines: list[BankLine] = field(default_factory=list)
    items: list[Expected] = field(default_factory=list)
    truth: dict[int, frozenset | None] = field(default_factory=dict)
    loose_of: dict[int, str] = field(default_factory=dict)


class Maker:
    def __init__(self, seed, size, families=400):
        self.chance, self.year, self.size = random.Random(seed), Year(), size
        fake = Faker("en_AU")
        fake.seed_instance(seed)
        self.families = [(str(n), fake.first_name(), fake.last_name()) for n in range(families)]
        self.batches = 0

    def make(self):
        kinds = (
            (self.by_reference, 34), (self.by_name, 22), (self.misspelt, 8), (self.twice, 3), (self.in_parts, 3),
            (self.several_fees, 4), (self.payment_run, 3), (self.banking, 7), (self.bankings_together, 2),
            (self.single_payment, 5), (self.depot, 2), (self.noise, 7),
        )  # fmt: skip
        while len(self.year.lines) < self.size:
            self.chance.choices([kind for kind, _ in kinds], [weight for _, weight in kinds])[0]()
        while len(self.year.items) < 2 * self.size:
            self.unpaid()
        return self.year

    # Pieces

    def day(self):
        return START + timedelta(days=self.chance.randrange(360))

    def line(self, day, cents, text, items, loose_of=""):
        key = len(self.year.lines)
        self.year.lines.append(BankLine(key, day, cents, text))
        self.year.truth[key] = None if items is None else frozenset(item.key for item in items)
        if loose_of:
            self.year.loose_of[key] = loose_of
        return key

    def item(self, day, cents, what, **more):
        item = Expected(key=len(self.year.items), day=day, cents=cents, what=what, **more)
        self.year.items.append(item)
        return item

    def fee(self, family, day, cents):
        pk, given, name = family
        digits = str(10000 + int(pk))
        return self.item(
            day, cents, f"fee of {name}", names=((given, name),), references=(digits + luhn.calc_check_digit(digits),),
            payer=pk, early=60, late=120, loose=True,
        )  # fmt: skip

    def family(self):
        return self.chance.choice(self.families)

    def written(self, family):
        _, given, name = family
        form = self.chance.choice(["{n} {g}", "{g} {n}", "{n} {i}", "TFR {i} {n} FEE", "INSTANT {g} {n} ARCHERY"])
        return form.format(n=name, g=given, i=given[0]).upper()

    # What happens

    def by_reference(self):
        family, day, cents = self.family(), self.day(), self.chance.choice(FEES)
        fee = self.fee(family, day, cents)
        text = self.chance.choice([f"PAYMENT {fee.references[0]}", f"{self.written(family)} {fee.references[0]}"])
        self.line(day + timedelta(days=self.chance.randrange(40)), cents, text, [fee])

    def by_name(self):
        family, day, cents = self.family(), self.day(), self.chance.choice(FEES)
        fee = self.fee(family, day, cents)
        self.line(day + timedelta(days=self.chance.randrange(30)), cents, self.written(family), [fee])

    def misspelt(self):
        family, day, cents = self.family(), self.day(), self.chance.choice(FEES)
        fee = self.fee(family, day, cents)
        pk, given, name = family
        place = self.chance.randrange(1, max(2, len(name) - 1))
        wrong = name[:place] + self.chance.choice("aeiourst") + name[place + 1 :]
        self.line(day + timedelta(days=self.chance.randrange(30)), cents, self.written((pk, given, wrong)), [fee])

    def twice(self):
        family, day, cents = self.family(), self.day(), self.chance.choice(FEES)
        fee = self.fee(family, day, cents)
        for later in (2, 5):
            text = f"{self.written(family)} {fee.references[0]}"
            self.line(day + timedelta(days=later), cents, text, [fee], loose_of=family[0])

    def in_parts(self):
        family, day = self.family(), self.day()
        fee = self.fee(family, day, 22800)
        for part, later in ((10000, 3), (12800, 20)):
            self.line(
                day + timedelta(days=later), part, f"{self.written(family)} {fee.references[0]}", [fee], family[0]
            )

    def several_fees(self):
        family, day = self.family(), self.day()
        fees = [self.fee(family, day, cents) for cents in self.chance.sample(FEES, 2)]
        text = self.chance.choice([f"FEES {fees[0].references[0]}", self.written(family)])
        self.line(day + timedelta(days=4), sum(fee.cents for fee in fees), text, fees, loose_of=family[0])

    def payment_run(self):
        self.batches += 1
        day, run = self.day(), f"run {self.batches}"
        items = [
            self.item(day, -self.chance.choice((4500, 5000, 6500, 8000)), f"refund of {run}", batch=run,
                      references=(run,), early=1, late=5)
            for _ in range(self.chance.randint(2, 9))
        ]  # fmt: skip
        text = self.chance.choice([f"DIRECT ENTRY RUN {self.batches}", "DIRECT ENTRY BATCH"])
        self.line(day + timedelta(days=1), sum(item.cents for item in items), text, items)

    def banking(self):
        day = self.day()
        item = self.item(day, 5 * self.chance.randint(200, 9000), "takings banked", early=0, late=4)
        self.line(day + timedelta(days=self.chance.randrange(3)), item.cents, "CASH DEPOSIT BRANCH", [item])

    def bankings_together(self):
        day = self.day()
        items = [
            self.item(day - timedelta(days=n), 5 * self.chance.randint(200, 9000), "takings banked", early=0, late=4)
            for n in range(self.chance.choice((2, 3)))
        ]
        self.line(day + timedelta(days=1), sum(item.cents for item in items), "CASH DEPOSIT BRANCH", items)

    def single_payment(self):
        family, day = self.family(), self.day()
        item = self.item(
            day, -self.chance.randint(1000, 30000), f"credit repaid to {family[2]}", names=((family[1], family[2]),),
            payer=family[0], early=1, late=5,
        )  # fmt: skip
        self.line(day + timedelta(days=1), item.cents, f"TRANSFER TO {self.written(family)}", [item])

    def depot(self):
        day = self.day()
        item = self.item(day, self.chance.randint(9000, 30000), "containers cashed in", early=2, late=7)
        self.line(day + timedelta(days=2), item.cents, "RECYCLING DEPOT CREDIT", [item])

    def noise(self):
        """What no item explains: bank fees, interest, strangers, other firms."""
        text = self.chance.choice(
            ["MONTHLY FEE", "INTEREST", "DIRECT DEBIT 0098213", f"REF {self.chance.randint(10**5, 10**7)}",
             "ZYGMUNTOWICZ HARDWARE", "QXV PTY LTD INV 77", "CARD FUEL"]
        )  # fmt: skip
        self.line(self.day(), self.chance.choice([-1, 1]) * self.chance.randint(50, 90000), text, None)

    def unpaid(self):
        """Fees that nobody pays this year, and entries that never reach the bank."""
        self.fee(self.family(), self.day(), self.chance.choice(FEES))


def year(seed=1, size=2000):
    return Maker(seed, size).make()


def judged(year, proposals):
    """How many lines of each grade are right and wrong, and how many that have an explanation got none."""
    by_key = {item.key: item for item in year.items}
    counts = defaultdict(int)
    told = {}
    for proposal in proposals:
        for line in proposal.lines:
            told[line.key] = proposal
    for line in year.lines:
        true, proposal = year.truth[line.key], told.get(line.key)
        if proposal is None:
            counts["nothing, rightly" if true is None else "nothing, wrongly"] += 1
            continue
        right = true is not None and _alike(year, line, true, proposal.items, by_key)
        counts[f"{proposal.grade.name.lower()}, {'right' if right else 'wrong'}"] += 1
    return dict(counts)


def _alike(year, line, true, items, by_key):
    """The same items, or others of the same payers and amounts; for a family's account any fee of that family."""
    if line.key in year.loose_of:
        return {item.payer for item in items} == {year.loose_of[line.key]}
    wanted = sorted((by_key[key].payer or str(key), by_key[key].cents) for key in true)
    return wanted == sorted((item.payer or str(item.key), item.cents) for item in items)
