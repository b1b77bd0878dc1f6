"""A year of a club's bank account, day by day, with whatever real banks and payers do to it."""

import csv
import io
import random
from collections.abc import Callable
from datetime import date, timedelta

from tests.bank.oddbank.facts import Fact, Said, Truth, Year
from tests.bank.oddbank.people import FREQUENT, GROWN, Family, suburb

FIRST = date(2027, 7, 1)
FEES = (22800, 12600, 4200, 1500, 9500)
TRADES = ("BUNYIP TIMBER", "COOLABAH PRINT", "WATTLE TROPHIES", "PELICAN HALLS", "STRINGYBARK SUPPLY")
ODD_JOBS = ("RAFFLE TICKETS", "GUTTER CLEANING", "SAUSAGE SIZZLE", "SPONSOR BANNER", "LOST JACKET", "OLD BOW SALE")
WRAPS = (
    "{} ",
    "OSKO PAYMENT {} ",
    "INTERNET TRANSFER {} ",
    "FROM {} ",
    "{} MEMBERSHIP ",
    "PAYID PAYMENT FROM {} ",
    "TFR {} ARCHERY ",
)


class Club:
    """Makes the year; each kind of happening is a method that says what the bank shows, and what it truly is."""

    def __init__(self, seed: int, months: int = 12, a_month: int = 70):
        self.chance, self.year = random.Random(seed), Year()
        self.months, self.a_month = months, a_month
        self.families = suburb(self.chance, 160)
        self.year.everybody = {family.payer: family.names for family in self.families}
        self.numbers = iter(range(1, 100_000))
        self.begins = FIRST

    def make(self) -> Year:
        for month in range(self.months):
            self.begins = months_on(FIRST, month)
            self.every_month()
            wanted = self.a_month * (month + 1)
            while len(self.year.lines) < wanted:
                kinds = list(KINDS)
                self.chance.choices(kinds, [KINDS[kind] for kind in kinds])[0](self)
        return self.year

    # Pieces

    def day(self, last: int = 24) -> date:
        return self.begins + timedelta(days=self.chance.randrange(last))

    def after(self, day: date, least: int, most: int) -> date:
        return day + timedelta(days=self.chance.randint(least, most))

    def says(self, day: date, cents: int, words: str, truth: Truth, announced: bool = False) -> int:
        number = next(self.numbers)
        told = day - timedelta(days=3) if announced else None
        self.year.lines.append(Said(number, day, cents, " ".join(words.split()).upper(), told))
        self.year.truth[number] = truth
        return number

    def knows(self, kind: str, day: date, cents: int, what: str, **more: object) -> Fact:
        fact = Fact(f"{kind} {next(self.numbers)}", kind, day, cents, what, **more)  # type: ignore[arg-type]
        self.year.facts.append(fact)
        return fact

    def fee(self, family: Family, day: date, cents: int) -> Fact:
        return self.knows(
            "fee", day, cents, f"family {family.number} pays a fee", names=family.names,
            references=(family.reference,), payer=family.payer,
        )  # fmt: skip

    def receipt(self, family: Family, day: date, cents: int) -> Fact:
        """What the treasurer wrote down when the money was announced by letter."""
        return self.knows(
            "entry", day, cents, f"Bank transfer of family {family.number}", names=family.names, payer=family.payer
        )

    def family(self) -> Family:
        return self.chance.choice(self.families)

    def of_frequent_name(self) -> Family:
        return self.chance.choice([each for each in self.families if each.parent[1] in FREQUENT])

    def wrapped(self, name: str) -> str:
        number = f" {self.chance.randint(10**6, 10**8)}" if self.chance.random() < 0.3 else ""
        return self.chance.choice(WRAPS).format(name) + number

    def owing(self, family: Family) -> tuple[Fact, date]:
        day, cents = self.day(), self.chance.choice(FEES)
        return self.fee(family, day, cents), self.after(day, 0, 20)

    def pays(self, kind: str, family: Family, words: str) -> None:
        fact, day = self.owing(family)
        self.says(day, fact.cents, words, Truth(kind, frozenset({fact.key}), family.payer))

    # Families that pay

    def by_reference(self) -> None:
        family = self.family()
        who = self.chance.choice((family.parent[1], "", f"{self.chance.choice(GROWN)} {self.chance.choice(FREQUENT)}"))
        self.pays("a reference", family, f"{who} {family.reference}")

    def in_full(self) -> None:
        family = self.family()
        given, surname = family.parent
        name = self.chance.choice((f"{given} {surname}", f"{surname} {given}", f"{given} {surname} {family.child[0]}"))
        self.pays("a full name", family, self.wrapped(name))

    def by_initial(self) -> None:
        family = self.of_frequent_name()
        given, surname = family.parent
        self.pays(
            "an initial", family, self.wrapped(self.chance.choice((f"{given[0]} {surname}", f"{surname} {given[0]}")))
        )

    def jointly(self) -> None:
        family = self.family()
        given, surname = family.parent
        self.pays("a joint account", family, f"MR {given[0]} & MRS {self.chance.choice(GROWN)[0]} {surname}")

    def misspelt(self) -> None:
        family = self.family()
        given, surname = family.parent
        place = self.chance.randrange(len(surname) - 1)
        wrong = surname[:place] + surname[place + 1] + surname[place] + surname[place + 2 :]
        self.pays("a name misspelt", family, self.wrapped(f"{wrong} {given}"))

    def of_another_surname(self) -> None:
        family = self.family()
        who = f"{self.chance.choice(GROWN)} {self.chance.choice(FREQUENT)}"
        self.pays(
            "a payer of another surname", family, self.chance.choice((f"{who} FOR {family.child[0]}", who, "GRANDMA"))
        )

    def of_two_families(self) -> None:
        twins = [each for each in self.families if sum(each.parent == other.parent for other in self.families) > 1]
        if twins:
            family = self.chance.choice(twins)
            self.pays("two families of one name", family, self.wrapped(" ".join(family.parent)))

    def written_down(self) -> None:
        family, cents = self.family(), self.chance.choice(FEES)
        day = self.day()
        fact = self.receipt(family, day, cents)
        given, surname = family.parent
        words = self.wrapped(self.chance.choice((f"{given} {surname}", f"{given[0]} {surname}")))
        self.says(self.after(day, 0, 3), cents, words, Truth("a receipt written down", frozenset({fact.key})))

    def written_down_for_another(self) -> None:
        family, cents = self.family(), self.chance.choice(FEES)
        fact = self.receipt(family, self.day(), cents)
        words = f"{self.chance.choice(GROWN)[0]} {self.chance.choice(FREQUENT)}"
        truth = Truth("written down, paid by another", frozenset({fact.key}))
        self.says(fact.day, cents, self.chance.choice((words, "DEPOSIT", f"{words} SUBS")), truth)

    def in_part(self) -> None:
        family, day = self.family(), self.day(18)
        self.fee(family, day, 22800)
        for cents, later in ((10000, 2), (12800, 6)):
            words = f"{' '.join(family.parent)} {family.reference if self.chance.random() < 0.5 else ''}"
            self.says(day + timedelta(days=later), cents, words, Truth("a part", of_family=family.payer))

    def two_in_one(self) -> None:
        family, day = self.family(), self.day()
        both = [self.fee(family, day, cents) for cents in self.chance.sample(FEES, 2)]
        self.says(
            self.after(day, 0, 5), sum(each.cents for each in both), " ".join(family.parent),
            Truth("two fees in one", frozenset(each.key for each in both), family.payer),
        )  # fmt: skip

    # Strangers

    def stranger(self) -> None:
        """An equal amount, an initial and a frequent surname, or the very name of a family; for something else."""
        owed = [each for each in self.year.facts if each.kind == "fee" and each.day >= self.begins]
        cents = self.chance.choice(owed).cents if owed else self.chance.choice(FEES)
        family = self.of_frequent_name()
        given, surname = family.parent
        who = self.chance.choice((f"{self.chance.choice(GROWN)[0]} {surname}", f"{given} {surname}"))
        self.says(self.day(), cents, f"{who} {self.chance.choice(ODD_JOBS)}", Truth("a stranger"))

    def stranger_with_a_number(self) -> None:
        words = f"{self.chance.choice(ODD_JOBS)} INV {self.chance.randint(100, 999)}"
        self.says(self.day(), self.chance.choice(FEES), words, Truth("a stranger"))

    def unpaid(self) -> None:
        self.fee(self.family(), self.day(), self.chance.choice(FEES))

    # Cash and cards

    def deposit(self) -> None:
        day = self.day()
        fact = self.knows("banking", day, 5 * self.chance.randint(300, 9000), "Takings banked")
        truth = Truth("a deposit", frozenset({fact.key}))
        self.says(self.after(day, 0, 2), fact.cents, "CASH DEPOSIT QUICKDEP", truth)

    def deposit_of_two_days(self) -> None:
        day = self.day()
        days = [
            self.knows("banking", day - timedelta(days=later), 5 * self.chance.randint(300, 9000), "Takings banked")
            for later in range(self.chance.choice((2, 3)))
        ]
        truth = Truth("a deposit of several days", frozenset(each.key for each in days))
        self.says(self.after(day, 0, 2), sum(each.cents for each in days), "BRANCH DEPOSIT", truth)

    def settlement(self) -> None:
        day, cents = self.day(), self.chance.randint(8000, 90000)
        fact = self.knows("entry", day, cents, "Card takings settled")
        self.says(self.after(day, 0, 1), cents, "TYRO EFTPOS 4455", Truth("a settlement", frozenset({fact.key})))

    def settlement_split(self) -> None:
        day, cents = self.day(), self.chance.randint(20000, 90000)
        fact = self.knows("entry", day, cents, "Card takings settled")
        first = self.chance.randint(4000, cents - 4000)
        for part, later in ((first, 1), (cents - first, 2)):
            number = self.chance.randint(1000, 9999)
            truth = Truth("a settlement in two lines", frozenset({fact.key}))
            self.says(day + timedelta(days=later), part, f"SQUARE SETTLE {number}", truth)

    # What the club pays

    def run_in_one_sum(self) -> None:
        day, number = self.day(), next(self.numbers)
        items = [
            self.knows(
                "item", day, -self.chance.choice((4500, 5000, 6500)), "a refund", names=family.names,
                payer=family.payer, batch=f"run {number}", references=(f"run {number}",),
            )
            for family in self.chance.sample(self.families, self.chance.randint(2, 5))
        ]  # fmt: skip
        words = self.chance.choice((f"DIRECT ENTRY RUN {number}", "DE BATCH DEBIT"))
        truth = Truth("a payment run", frozenset(each.key for each in items))
        self.says(self.after(day, 0, 2), sum(each.cents for each in items), words, truth)

    def supplier(self) -> None:
        """Paid after a journal was written; the bank shows it some days later."""
        day, trade = self.day(), self.chance.choice(TRADES)
        fact = self.knows("entry", day, -self.chance.randint(1500, 60000), f"{trade.title()} invoice")
        words = f"{trade} {self.chance.randint(100, 9999)}"
        number = self.says(self.after(day, 0, 4), fact.cents, words, Truth("a supplier", frozenset({fact.key})))
        self.year.booked[number] = trade

    def announced(self) -> None:
        """A card payment of the month's last days, which the bank announces and settles in the next month."""
        trade = self.chance.choice(TRADES)
        settles = months_on(self.begins, 1) + timedelta(days=self.chance.randrange(2))
        fact = self.knows(
            "entry", settles - timedelta(days=3), -self.chance.randint(1500, 60000), f"{trade.title()} card"
        )
        truth = Truth("announced first", frozenset({fact.key}))
        self.says(settles, fact.cents, f"VISA PURCHASE {trade}", truth, announced=True)

    def supplier_not_written_down(self) -> None:
        trade = self.chance.choice(TRADES)
        truth = Truth("a supplier known before" if self.known(trade) else "new to the book", self.as_before(trade))
        words = f"{trade} {self.chance.choice(('VISA', ''))} {self.chance.randint(100, 9999)}"
        number = self.says(self.day(), -self.chance.randint(1500, 60000), words, truth)
        self.year.booked[number] = trade

    def refund_of_a_supplier(self) -> None:
        trade = self.chance.choice(TRADES)
        truth = Truth("a refund by a supplier" if self.known(trade) else "new to the book", self.as_before(trade))
        number = self.says(self.day(), self.chance.randint(500, 9000), f"{trade} REFUND", truth)
        self.year.booked[number] = trade

    def known(self, what: str) -> bool:
        """Whether a line of an earlier month was booked so."""
        days = {line.number: line.day for line in self.year.lines}
        return any(booked == what and days[number] < self.begins for number, booked in self.year.booked.items())

    def as_before(self, what: str) -> frozenset[str]:
        return frozenset({f"like {what}"}) if self.known(what) else frozenset()

    def every_month(self) -> None:
        """The bank's own lines at the month's end, a transfer to savings, and the department now and then."""
        last = months_on(self.begins, 1) - timedelta(days=1)
        for what, cents, words in (
            ("account fee", -1000, f"SOCIETY CHQ ACCT FEE {last:%b %y}"),
            ("interest", self.chance.randint(20, 400), f"CREDIT INTEREST {last:%d%b}"),
        ):
            kind = "fees and interest" if self.known(what) else "new to the book"
            number = self.says(last, cents, words, Truth(kind, self.as_before(what)))
            self.year.booked[number] = what
        day, cents = self.day(), -100 * self.chance.randint(100, 900)
        fact = self.knows("transfer", day, cents, "to savings")
        truth = Truth("a transfer between accounts", frozenset({fact.key}))
        self.says(self.after(day, 0, 1), cents, "INTERNAL TRANSFER TO 0088 12345", truth)

    # The department

    def voucher_list(self, pays: Callable[[list[Fact]], list[Fact]], kind: str) -> None:
        day = self.day(15)
        parts = tuple(
            Fact(
                f"voucher {next(self.numbers)}", "voucher", day, self.chance.choice((10000, 12600, 15000)), "a voucher"
            )
            for _ in range(self.chance.randint(4, 9))
        )
        whole = self.knows(
            "list", day, sum(each.cents for each in parts), "the department pays a list", parts=parts,
            references=(f"list {parts[0].key.split()[1]}",),
        )  # fmt: skip
        paid = pays(list(parts))
        keys = frozenset({whole.key}) if len(paid) == len(parts) else frozenset(each.key for each in paid)
        self.says(self.after(day, 3, 9), sum(each.cents for each in paid), "DEPT SPORT REC VCHR", Truth(kind, keys))

    def list_paid(self) -> None:
        self.voucher_list(lambda parts: parts, "a list of vouchers")

    def list_paid_in_part(self) -> None:
        self.voucher_list(
            lambda parts: self.chance.sample(parts, len(parts) - self.chance.choice((1, 2))), "part of a list"
        )

    # What goes back

    def bounced(self) -> None:
        """A receipt of the first days of the month, which the bank takes back a week or two later."""
        family, day, cents = (
            self.family(),
            self.begins + timedelta(days=self.chance.randrange(8)),
            self.chance.choice(FEES),
        )
        fact = self.receipt(family, day, cents)
        self.says(day, cents, " ".join(family.parent), Truth("a receipt written down", frozenset({fact.key})))
        back = self.knows(
            "bounce", day, -cents, "a receipt comes back", names=family.names, references=(family.reference,),
            payer=family.payer,
        )  # fmt: skip
        words = self.chance.choice(
            (f"DISHONOURED {' '.join(family.parent)}", "RETURNED PAYMENT", f"REJECT {family.parent[1]}")
        )
        self.says(self.after(day, 4, 14), -cents, words, Truth("a payment that bounces", frozenset({back.key})))

    def bounced_before_it_was_written_down(self) -> None:
        family, day, cents = self.family(), self.day(15), self.chance.choice(FEES)
        self.fee(family, day, cents)
        name = " ".join(family.parent)
        self.both("bounced, not written down", day, cents, name, f"DISHONOURED {name}")

    def shown_twice(self) -> None:
        """The bank shows a deposit twice and takes the second back."""
        day, cents, digits = self.day(15), 5 * self.chance.randint(300, 9000), self.chance.randint(10**5, 10**6)
        fact = self.knows("banking", day, cents, "Takings banked")
        self.says(day, cents, f"QUICKDEP {digits}", Truth("a deposit", frozenset({fact.key})))
        self.both("a correction by the bank", day, cents, f"QUICKDEP {digits}", f"DUPLICATE REVERSED QUICKDEP {digits}")

    def corrected(self) -> None:
        digits = self.chance.randint(10**5, 10**6)
        words = (f"DEPOSIT {digits}", f"REVERSAL OF DEPOSIT {digits}")
        self.both("a correction by the bank", self.day(18), self.chance.randint(1000, 90000), *words)

    def both(self, kind: str, day: date, cents: int, words: str, back: str) -> None:
        """A line and the one that takes it back."""
        first, second = next(self.numbers), next(self.numbers)
        for number, on, amount, said in (
            (first, day, cents, words), (second, self.after(day, 1, 5), -cents, back),
        ):  # fmt: skip
            self.year.lines.append(Said(number, on, amount, said.upper()))
            self.year.truth[number] = Truth(kind, with_lines=frozenset({first, second}))

    # Files

    def files(self) -> list[bytes]:
        return files_of(self.year, self.months)


KINDS: dict[Callable[[Club], None], int] = {
    Club.by_reference: 16, Club.in_full: 12, Club.by_initial: 9, Club.jointly: 2, Club.misspelt: 3,
    Club.of_another_surname: 4, Club.of_two_families: 3, Club.written_down: 7, Club.written_down_for_another: 4,
    Club.in_part: 2, Club.two_in_one: 3, Club.stranger: 5, Club.stranger_with_a_number: 2, Club.unpaid: 12,
    Club.deposit: 4, Club.deposit_of_two_days: 3, Club.settlement: 4, Club.settlement_split: 2, Club.run_in_one_sum: 2,
    Club.supplier: 4, Club.supplier_not_written_down: 2, Club.refund_of_a_supplier: 1, Club.list_paid: 1,
    Club.list_paid_in_part: 1, Club.bounced: 2, Club.corrected: 1,
    Club.bounced_before_it_was_written_down: 1, Club.shown_twice: 1, Club.announced: 1,
}  # fmt: skip
"""How often each happens beside the others."""


def months_on(day: date, count: int) -> date:
    months = day.year * 12 + day.month - 1 + count
    return date(months // 12, months % 12 + 1, 1)


def files_of(year: Year, months: int) -> list[bytes]:
    """A file a month as the bank exports it at the month's end: newest first, a balance beside each settled line, and
    on top what is announced and settles in the next days. Each begins three days before its month.
    """
    balance, balances = 500_000, {}
    settled = sorted(year.lines, key=lambda line: (line.day, line.number))
    for line in settled:
        balance += line.cents
        balances[line.number] = balance
    return [
        _file(settled, balances, months_on(FIRST, month) - timedelta(days=3), months_on(FIRST, month + 1))
        for month in range(months + 1)
    ]


def _file(settled: list[Said], balances: dict[int, int], begins: date, ends: date) -> bytes:
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(["Posted", "Narrative", "Debit", "Credit", "Running Balance"])
    for line in reversed(settled):
        if line.announced and line.announced < ends <= line.day:
            rows.writerow(_row(line, line.announced, None))
    for line in reversed(settled):
        if begins <= line.day < ends:
            rows.writerow(_row(line, line.day, balances[line.number]))
    return out.getvalue().encode()


def _row(line: Said, day: date, balance: int | None) -> list[str]:
    amount = f"{abs(line.cents) / 100:,.2f}"
    sides = ["", amount] if line.cents > 0 else [amount, ""]
    return [f"{day:%d %b %Y}", line.words, *sides, "" if balance is None else f"{balance / 100:,.2f}"]
