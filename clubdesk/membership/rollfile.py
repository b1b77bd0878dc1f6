"""A roll in a file: read, and held against the roll that stands, row by row, before anything is written."""

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from rapidfuzz import fuzz

from clubdesk import clock
from clubdesk.clock import day_text, months_later
from clubdesk.errors import Refused
from clubdesk.fees.models import FeeItem
from clubdesk.ledger.files import Row, read_cells, rows_below
from clubdesk.ledger.models import Account, Kind
from clubdesk.ledger.spreadsheets import HEAD_WITHIN, MOST_BYTES, MOST_ROWS, sheets_of_workbook
from clubdesk.membership.models import Membership, Plan
from clubdesk.membership.selectors import STANDING
from clubdesk.money import CENT, read_amount, shown
from clubdesk.roll.models import Household, Person, age_on, fault_of_birth_date

COLUMNS = ("household", "given_name", "family_name", "birth_date")
OPTIONAL = ("guardian", "email", "phone", "plan", "expiry", "opening_balance", "balance_for", "same_as")
NUMBERED, WRONG = "Row in your file", "What is wrong"
"""The columns that stand beside the rows to be put right; they are read over when these come back."""
ALIKE = 80
"""From this likeness (rapidfuzz, of 100) two names with the same date of birth may be one person; by trial."""

WORDS = {
    "household": "family’s name",
    "given_name": "given name",
    "family_name": "family name",
    "birth_date": "date of birth",
    "expiry": "last day of the membership",
}
SHORT = {"jnr": "junior", "jr": "junior", "jun": "junior", "snr": "senior", "sr": "senior", "sen": "senior"}
"""What people write for the names of plans; common practice, no source."""

FARTHEST_EXPIRY = timedelta(days=800)
DAY_FIRST = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")


def read_roll(content: bytes) -> list[Row]:
    """The rows of a CSV or XLSX file. Raises Refused for one that cannot be read, by its row where there is one."""
    if len(content) > MOST_BYTES:
        raise Refused("The file is too large; leave other sheets and pictures out.")
    cells = as_it_came(_cells_of_workbook(content) if content[:2] == b"PK" else read_cells(content))
    if len(cells) > MOST_ROWS + 1:
        raise Refused(f"The file has more than {MOST_ROWS} rows; import it by parts.")
    return rows_below(cells, COLUMNS, OPTIONAL)


def as_it_came(rows: Sequence[tuple[int, list[str]]]) -> list[tuple[int, list[str]]]:
    """The rows of a sheet without the columns that were put beside what is to be put right."""
    head = next((cells for _, cells in rows[:HEAD_WITHIN] if WRONG in cells), [])
    added = {place for place, cell in enumerate(head) if cell in (NUMBERED, WRONG)}
    own = [(number, [cell for place, cell in enumerate(cells) if place not in added]) for number, cells in rows]
    return [(number, cells) for number, cells in own if any(cells)]


def _cells_of_workbook(content: bytes) -> list[tuple[int, list[str]]]:
    ((_, filled),) = sheets_of_workbook(content, most=1)
    width = max((len([cell for cell in cells if cell]) for _, cells in filled[:1]), default=0)
    return [(number, [*cells, *[""] * (width - len(cells))]) for number, cells in filled]


@dataclass
class RowPlan:
    """What a row would do. `likely` are people of the roll that may be the same; `decided` says who it is."""

    number: int
    household: str
    email: str = ""
    guardian: str = ""
    phone: str = ""
    given_name: str = ""
    family_name: str = ""
    birth_date: date | None = None
    plan: Plan | None = None
    expiry: date | None = None
    balance: Decimal = Decimal(0)
    balance_for: Account | None = None
    same_as: str = ""
    written: str = ""
    """Whose name is written otherwise than in the file, and how."""
    with_row: int = 0
    person: Person | None = None
    known_household: Household | None = None
    likely: list[Person] = field(default_factory=list)
    likely_rows: list[int] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    @property
    def who(self) -> str:
        return f"{self.given_name} {self.family_name}".strip()

    @property
    def undecided(self) -> bool:
        return bool(self.likely or self.likely_rows) and not self.same_as

    @property
    def what(self) -> str:
        """What would happen, in words."""
        parts = [
            f"{self.person} is on the roll already"
            if self.person
            else f"new on the roll, born {day_text(self.birth_date)}"
            if self.birth_date
            else "new on the roll",
            self.where,
        ]
        if self.plan and self.expiry:
            parts.append(f"member by {self.plan} to {day_text(self.expiry)}")
        if self.balance:
            words = f" for {self.balance_for.name}" if self.balance_for else ""
            parts.append(f"{'owes' if self.balance > 0 else 'is in credit by'} {shown(abs(self.balance))}{words}")
        if self.written and not self.person:
            parts.append(self.written)
        return ", ".join(parts)

    @property
    def where(self) -> str:
        if self.known_household:
            return f"in the family {self.known_household} of the roll"
        if self.with_row != self.number:
            return f"in the family of row {self.with_row}"
        return f"in a new family, {self.household}"

    @property
    def question(self) -> str:
        """What somebody has to say before the row can be brought in."""
        people = [f"{each} of {each.household} (number {each.pk})" for each in self.likely]
        rows = [f"row {number} of this file" for number in self.likely_rows]
        return f"likely the same as {' or '.join([*people, *rows])}: born the same day, and of a similar name"


def plan_roll(rows: list[Row], decided: Mapping[int, str] | None = None) -> list[RowPlan]:
    """What each row would do to the roll as it stands; nothing is written.

    `decided` says, by row, who somebody is that looks like a person known already: `new`, or that person's number.
    """
    plans, incomes = plans_by_name(), _incomes()
    found = [_read(row, plans, incomes, (decided or {}).get(row.number, "")) for row in rows]
    born = {each.birth_date for each in found if each.birth_date}
    people: dict[date, list[Person]] = defaultdict(list)
    for person in Person.objects.filter(birth_date__in=born).select_related("household__party").order_by("pk"):
        people[person.birth_date].append(person)
    _find_homes(found)
    seen: dict[tuple[str, date], list[RowPlan]] = defaultdict(list)
    for each in found:
        if each.birth_date and each.who:
            _find(each, people[each.birth_date], [row for row in found if row.birth_date == each.birth_date])
            seen[each.who.casefold(), each.birth_date].append(each)
    _refuse_memberships(found)
    for rows_of_one in seen.values():
        for again in rows_of_one[1:]:
            again.faults.append(f"{again.who} stands in row {rows_of_one[0].number} too.")
    return found


def plan_good_rows(rows: Sequence[Row], decided: Mapping[int, str] | None = None) -> list[RowPlan]:
    """What each row would do where those with a fault are left for later, and those that lean on them."""
    found: dict[int, RowPlan] = {}
    good: list[Row] = []
    still = list(rows)
    while len(good) != len(still):
        good = still
        plans = plan_roll(good, decided)
        _leave_with_their_first(plans)
        found |= {each.number: each for each in plans}
        still = [row for row in good if not found[row.number].faults]
    return [found[row.number] for row in rows]


def _leave_with_their_first(rows: list[RowPlan]) -> None:
    """Whoever has no e-mail and is known by the first row of the family would join another one without that row."""
    by_number = {row.number: row for row in rows}
    families: dict[str, set[int]] = defaultdict(set)
    for row in rows:
        families[row.household.casefold()].add(row.with_row)
    for row in rows:
        first = by_number[row.with_row]
        leans = not row.email and first is not row and len(families[row.household.casefold()]) > 1
        if leans and first.faults and not row.faults:
            row.faults.append(f"the family stands first in row {first.number}, which must be put right.")


def plans_by_name() -> dict[str, Plan]:
    """The club's plans by their names, in small letters."""
    return {plan.name.casefold(): plan for plan in Plan.objects.all()}


def _find_homes(rows: list[RowPlan]) -> None:
    """The household of the roll that each row belongs to, if any, and the row that its household stands in first.

    A household is known by its name and a guardian's e-mail; one without an e-mail by the guardian's name or phone, or
    by somebody of it who is on the roll already, since two families may have one name.
    """
    of_roll = _OfRoll()
    groups: dict[str, dict[str, RowPlan]] = defaultdict(dict)
    signs: dict[int, set[str]] = defaultdict(set)
    for row in rows:
        first = _first_of_family(row, groups[row.household.casefold()], signs)
        row.with_row = first.number if first else row.number
        signs[row.with_row] |= _signs(row)
        row.known_household = of_roll.home_of(row) or (first.known_household if first else None)
        if first and first.known_household is None:
            first.known_household = row.known_household


def _first_of_family(row: RowPlan, firsts: dict[str, RowPlan], signs: Mapping[int, set[str]]) -> RowPlan | None:
    """The row in which the family of `row` stands first, of those of its name by e-mail; None where it is the first.

    A row without an e-mail that comes before all others of its name takes the first e-mail that follows.
    """
    email = row.email.casefold()
    if email:
        first = firsts.get(email) or firsts.pop("", None)
        firsts[email] = first or row
        return first
    families = [each for mail, each in firsts.items() if mail]
    if len(families) > 1:
        families = [each for each in families if signs[each.number] & _signs(row)]
        if len(families) != 1:
            row.faults.append("two families of this name stand in the file; give the guardian's e-mail here too.")
    first = families[0] if families else firsts.get("")
    if first is None:
        firsts[""] = row
    return first


def _signs(row: RowPlan) -> set[str]:
    """By what besides an e-mail a family is known: its guardian's name and phone, where somebody wrote them."""
    guardian, phone = row.guardian.casefold(), _digits(row.phone)
    return {each for each in (guardian, phone) if each and each != f"{row.household} family".casefold()}


def _digits(phone: str) -> str:
    """A phone without what people write between and before: the last nine digits."""
    return re.sub(r"\D", "", phone)[-9:]


class _OfRoll:
    """The households of the roll by what a row may say of them."""

    def __init__(self) -> None:
        self.by_email: dict[tuple[str, str], Household] = {}
        self.by_person: dict[tuple[str, str, date], Household] = {}
        self.by_sign: dict[tuple[str, str], set[Household]] = defaultdict(set)
        homes = Household.objects.select_related("party").prefetch_related("guardians", "people").order_by("-pk")
        for home in homes:
            name = home.name.casefold()
            for each in home.guardians.all():
                if each.email:
                    self.by_email[name, each.email.casefold()] = home
                for sign in (each.name.casefold(), _digits(each.phone)):
                    self.by_sign[name, sign].add(home)
            self.by_person |= {(name, str(each).casefold(), each.birth_date): home for each in home.people.all()}

    def home_of(self, row: RowPlan) -> Household | None:
        name, email = row.household.casefold(), row.email.casefold()
        known = self.by_email.get((name, email)) if email else None
        if known is None and row.birth_date:
            known = self.by_person.get((name, row.who.casefold(), row.birth_date))
        if known is None and not email:
            alike = {home for sign in _signs(row) for home in self.by_sign[name, sign]}
            known = alike.pop() if len(alike) == 1 else None
        return known


def _incomes() -> dict[str, Account]:
    """The accounts of income by their names and codes, and by the names of the fees that go there; in small letters."""
    found = {item.name.casefold(): item.income_account for item in FeeItem.objects.select_related("income_account")}
    for account in Account.objects.filter(kind=Kind.INCOME):
        found |= {account.name.casefold(): account, account.code: account, str(account).casefold(): account}
    return found


def _read(row: Row, plans: Mapping[str, Plan], incomes: Mapping[str, Account], decided: str) -> RowPlan:
    texts = {name: row[name] for name in ("household", "email", "guardian", "phone", "given_name", "family_name")}
    each = RowPlan(row.number, texts["household"], same_as=(decided or row["same_as"]).casefold())
    for name, text in texts.items():
        setattr(each, name, text)
    for name, most in (("household", 100), ("given_name", 60), ("family_name", 60), ("guardian", 100), ("phone", 30)):
        if not texts[name] and name in COLUMNS:
            each.faults.append(f"the {WORDS[name]} is missing.")
        if len(texts[name]) > most:
            each.faults.append(f"the column {name} is longer than {most} letters.")
    if row["birth_date"]:
        each.birth_date = _day(row["birth_date"], "birth_date", each)
    else:
        each.faults.append("the date of birth is missing.")
    today = clock.today()
    if (each.email or each.phone) and not each.guardian:
        each.faults.append("an e-mail or phone needs the guardian whose it is; fill in guardian.")
    if each.birth_date and (fault := fault_of_birth_date(each.birth_date, today)):
        each.faults.append(f"the date of birth: {fault}")
    if each.email:
        try:
            validate_email(each.email)
        except ValidationError:
            each.faults.append(f"“{each.email}” is no e-mail address.")
    each.balance = _amount(row["opening_balance"], each)
    each.balance_for = _balance_for(row["balance_for"], incomes, each)
    if row["plan"] or row["expiry"]:
        each.plan = plan_called(row["plan"], plans)
        if row["plan"] and not row["expiry"]:
            each.faults.append("until when they are a member is missing; fill it in, or clear the plan.")
        else:
            each.expiry = _day(row["expiry"], "expiry", each)
        if each.expiry and abs(each.expiry - today) > FARTHEST_EXPIRY:
            each.faults.append(f"the expiry {day_text(each.expiry)} is more than two years off; check the year.")
            each.expiry = None
        if each.plan and each.expiry and each.birth_date:
            starts_on = first_day(each.plan, each.expiry)
            age = age_on(each.birth_date, starts_on)
            if not (each.plan.youngest or 0) <= age <= (each.plan.oldest if each.plan.oldest is not None else 200):
                each.faults.append(f"{each.who} was {age} on {day_text(starts_on)}; {each.plan} is not for that age.")
        if not row["plan"]:
            each.faults.append("the plan is missing; fill it in, or clear until when they are a member.")
        elif each.plan is None:
            each.faults.append(f"there is no plan “{row['plan']}”; add it first, or leave plan and expiry blank.")
    return each


def plan_called(text: str, plans: Mapping[str, Plan]) -> Plan | None:
    """The plan of this name; else the only one whose whole name stands in the text: “Jnr”, “JUNIOR annual”."""
    if exact := plans.get(text.casefold()):
        return exact
    words = {SHORT.get(word, word) for word in re.findall(r"\w+", text.casefold())}
    named = [plan for name, plan in plans.items() if set(re.findall(r"\w+", name)) <= words]
    return named[0] if len(named) == 1 else None


def _day(text: str, column: str, row: RowPlan) -> date | None:
    try:
        if found := DAY_FIRST.fullmatch(text):
            day, month, year = map(int, found.groups())
            return date(year, month, day)
        return date.fromisoformat(text)
    except ValueError:
        row.faults.append(f"the {WORDS[column]} “{text}” is not a date; write it like 2014-03-09 or 9/3/2014.")
        return None


def _amount(text: str, row: RowPlan) -> Decimal:
    try:
        amount = read_amount(text or "0")
        if abs(amount) >= 10**9:
            raise Refused("That is more than a balance can be.")
    except Refused:
        row.faults.append(f"what is owed, “{text}”, is not an amount; write it like 45.00 or -12.50.")
        return Decimal(0)
    return amount.quantize(CENT)


def _balance_for(text: str, incomes: Mapping[str, Account], row: RowPlan) -> Account | None:
    found = incomes.get(text.casefold())
    if text and found is None:
        row.faults.append(f"what is owed is for “{text}”, which is no fee or income; write it like Memberships.")
    if not text and row.balance > 0:
        row.faults.append("say what the opening balance is owed for (balance_for), such as Memberships.")
    return found


def _find(row: RowPlan, same_day: list[Person], rows: list[RowPlan]) -> None:
    """The person a row is about, if known; and who might be the same without being so by name."""
    own = row.known_household
    exact = [each for each in same_day if str(each).casefold() == row.who.casefold()]
    row.person = next((each for each in exact if own and each.household_id == own.pk), None)
    if row.person:
        return
    row.likely = [each for each in same_day if _alike(str(each), row.who)]
    row.likely_rows = [
        each.number
        for each in rows
        if each.number < row.number and each.who.casefold() != row.who.casefold() and _alike(each.who, row.who)
    ]
    if row.same_as.isdigit():
        row.person = next((each for each in row.likely if str(each.pk) == row.same_as), None)
        if row.person is None:
            row.faults.append(f"nobody who might be {row.who} has the number {row.same_as}.")
        else:
            row.known_household = row.person.household
    elif row.same_as not in ("", "new"):
        row.faults.append(f"same_as is “{row.same_as}”; write new, or the number of the person that it is.")


def _alike(one: str, other: str) -> bool:
    return fuzz.token_sort_ratio(one.casefold(), other.casefold()) >= ALIKE


def _refuse_memberships(rows: list[RowPlan]) -> None:
    people = [row.person for row in rows if row.person and row.plan]
    covered = defaultdict(list)
    for membership in Membership.objects.filter(STANDING, person__in=people):
        covered[membership.person_id].append(membership)
    for row in rows:
        if not (row.person and row.plan and row.expiry):
            continue
        starts_on = first_day(row.plan, row.expiry)
        for standing in covered[row.person.pk]:
            if (standing.plan_id, standing.ends_on) == (row.plan.pk, row.expiry):
                row.plan = row.expiry = None
                break
            if standing.starts_on <= row.expiry and standing.ends_on >= starts_on:
                row.faults.append(f"{row.person} has a membership to {day_text(standing.ends_on)} already.")


def first_day(plan: Plan, expiry: date) -> date:
    """The day a membership that ends on `expiry` began, by the plan's months."""
    return months_later(expiry + timedelta(days=1), -plan.months)
