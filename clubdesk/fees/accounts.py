"""Questions about a family's account: its statement and its age."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, Subquery, TextField, Value, When
from django.db.models.functions import Coalesce, Concat
from djmoney.money import Money

from clubdesk.fees.asking import IN_PARTS, Asked, ask, pay_by
from clubdesk.fees.models import (
    Arrangement,
    ArrangementPart,
    Charge,
    ChargeCredit,
    GiveBack,
    Receipt,
    Repayment,
    Voucher,
    VoucherScheme,
    VoucherState,
    WriteOff,
)
from clubdesk.fees.selectors import (
    STANDING,
    charges_with_open,
    paid_back_beyond,
    receipts_with_unused,
)
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import ZERO, opening_day
from clubdesk.money import Figure, as_amount, figure_of, shown, sum_of
from clubdesk.paying import PaidInto
from clubdesk.roll.models import Household
from clubdesk.roll.selectors import payment_reference

YEAR, A_DAY = timedelta(days=365), timedelta(days=1)
AGES = ((30, "up to 30 days"), (60, "31 to 60 days"), (90, "61 to 90 days"), (None, "over 90 days"))


@dataclass(frozen=True)
class FamilyLine:
    """A line of a statement: positive where the household owes more, negative where it owes less.

    What was brought forward has a balance alone.
    """

    on: date
    text: str
    amount: Decimal | None
    balance: Decimal


@dataclass
class Statement:
    """What happened on a household's account from `since` to `until`, both days included."""

    household: Household
    since: date
    until: date
    opening: Decimal
    lines: list[FamilyLine]
    ages: dict[str, Decimal] = field(default_factory=dict)
    unused: Decimal = ZERO
    arrangement: Arrangement | None = None
    paid_since_agreed: Decimal = ZERO

    @property
    def closing(self) -> Decimal:
        """What the household owes at the end; negative where it is in credit."""
        return self.lines[-1].balance if self.lines else self.opening

    @property
    def reference(self) -> str:
        return payment_reference(self.household)

    @property
    def in_words(self) -> str:
        if self.closing > 0:
            return f"{shown(self.closing)} to pay"
        return f"{shown(-self.closing)} in credit" if self.closing else "nothing to pay"

    def asks(self, account: PaidInto | None, of: Book) -> Asked | None:
        """How the family is asked for what it owes at the end; None where that is nothing."""
        if self.closing <= 0:
            return None
        left = parts_left(self.arrangement) if self.arrangement else []
        if left and left[0][0] >= self.until:
            day, amount = left[0]
            otherwise = f"The rest of {shown(self.closing)} follows in the parts that you agreed."
            return ask(self.household, amount, self.until, account, of, by=day, otherwise=otherwise)
        by = pay_by(self.until, of)
        return ask(self.household, as_amount(self.closing), self.until, account, of, by=by, otherwise=IN_PARTS)

    def parts(self) -> list[tuple[date, Decimal, str]]:
        """The parts of the arrangement that stands: day, amount, and whether what was paid since covers it."""
        rows, due = [], ZERO
        for part in self.arrangement.parts.all() if self.arrangement else []:
            due += part.amount.amount
            met = self.paid_since_agreed >= due
            state = "paid" if met else "overdue" if part.due_on < self.until else ""
            rows.append((part.due_on, part.amount.amount, state))
        return rows


def statement(household: Household, until: date, since: date | None = None) -> Statement:
    """The statement of one household; of the last year, or as far back as the book goes, unless `since` says it."""
    return statements([household], until, since)[0]


def statements(households: Iterable[Household], until: date, since: date | None = None) -> list[Statement]:
    """Statements of many households with a fixed number of queries."""
    families = list(households)
    since = since or max(until - YEAR, min(opening_day() + A_DAY, until))
    ids = [family.pk for family in families]
    moves = _moves(ids, until)
    ages, unused = _ages(ids, until), _unused(ids)
    standing = {each.household_id: each for each in standing_arrangements(until).filter(household__in=ids)}
    found = []
    for family in families:
        rows = sorted(moves[family.pk], key=lambda row: (row[0], row[1]))
        opening = sum((amount for on, _, _, amount in rows if on < since), ZERO)
        lines, balance = [], opening
        for on, _, text, amount in rows:
            if on >= since:
                balance += amount
                lines.append(FamilyLine(on, text, amount, balance))
        arrangement = standing.get(family.pk)
        paid = arrangement.paid if arrangement else ZERO
        ahead = unused.get(family.pk, ZERO)
        found.append(Statement(family, since, until, opening, lines, ages[family.pk], ahead, arrangement, paid))
    return found


def standing_arrangements(until: date | None = None) -> QuerySet[Any]:
    """Arrangements that stand, with `paid` (Decimal): what the household has paid since, by the day `until`."""
    return Arrangement.objects.filter(ended_on=None).annotate(paid=_paid_since(until)).prefetch_related("parts")


def _paid_since(until: date | None, at: str = "") -> Coalesce:
    since = Receipt.objects.filter(
        STANDING, household=OuterRef(f"{at}household"), recorded_at__gt=OuterRef(f"{at}recorded_at")
    )
    if until:
        since = since.filter(received_on__lte=until)
    paid = Subquery(since.order_by().values("household").annotate(figure=sum_of("amount")).values("figure"))
    return Coalesce(paid, Value(0), output_field=Figure())


def parts_to_come(until: date) -> dict[int, list[tuple[date, Money]]]:
    """Day and amount of what is still to pay of each part, by the ids of the families that pay in parts."""
    rows = ArrangementPart.objects.filter(arrangement__ended_on=None).order_by("arrangement", "due_on", "pk")
    rows = rows.select_related("arrangement").annotate(paid=_paid_since(until, "arrangement__"))
    return {
        arrangement.household_id: _left(own := list(parts), own[0].paid)
        for arrangement, parts in groupby(rows, key=lambda part: part.arrangement)
    }


def parts_left(arrangement: Any) -> list[tuple[date, Money]]:
    """Day and amount of what is still to pay of each part; of one from `standing_arrangements`."""
    return _left(arrangement.parts.all(), arrangement.paid)


def _left(parts: Iterable[ArrangementPart], paid_so_far: Decimal) -> list[tuple[date, Money]]:
    left, paid = [], as_amount(paid_so_far)
    for part in parts:
        met = min(part.amount, paid)
        paid -= met
        if met < part.amount:
            left.append((part.due_on, part.amount - met))
    return left


def is_kept(arrangement: Any, on: date) -> bool:
    """Whether parts are left to pay and none is overdue; of one from `standing_arrangements`."""
    left = parts_left(arrangement)
    return bool(left) and left[0][0] >= on


def in_kept_parts(on: date) -> Exists:
    """A condition on charges: the family pays it in parts, as it agreed after it was charged, and is not behind."""
    kept = [each.pk for each in standing_arrangements(on) if is_kept(each, on)]
    agreed = Arrangement.objects.filter(pk__in=kept, household=OuterRef("household"))
    return Exists(agreed.filter(agreed_on__gte=OuterRef("charged_on")))


CHARGED, LESS, PAID, ENDED = 1, 2, 3, 6
Move = tuple[date, int, str, Decimal]


def _moves(households: Sequence[int], until: date) -> dict[int, list[Move]]:
    """All that changed what each household owes, by its documents: day, order in a day, words, amount."""
    moves: dict[int, list[Move]] = defaultdict(list)

    def add(
        rows: QuerySet[Any], household: str, on: str, order: int, text: str, sign: int, words: str = "%s",
        figure: str = "amount",
    ) -> None:  # fmt: skip
        rows = rows.filter(**{f"{household}__in": households, f"{on}__lte": until}).order_by("pk")
        for family, day, said, amount in rows.values_list(household, on, text, figure_of(figure)):
            moves[family].append((day, order, words % said, sign * amount))

    add(Charge.objects.all(), "household", "charged_on", CHARGED, "description", 1)
    for rows, on, words in (
        (ChargeCredit.objects.filter(STANDING), "credited_on", "Credited: %s"),
        (WriteOff.objects.filter(STANDING), "written_off_on", "Written off: %s"),
    ):
        add(rows, "charge__household", on, LESS, "charge__description", -1, words)
    family, fee = "charge__household", "fee"
    vouchers = Voucher.objects.annotate(fee=Coalesce("first_charge__description", "charge__description"))
    asked = vouchers.annotate(asked=F("amount") + F("short_by") + F("given_back"), first=Coalesce("came_from", family))
    add(asked, "first", "accepted_on", LESS, fee, -1, "Paid by voucher: %s", "asked")
    came = vouchers.filter(came_on__isnull=False)
    add(came, "came_from", "came_on", ENDED, fee, 1, "Voucher goes along with its child: %s", "came_with")
    add(came, family, "came_on", ENDED, fee, -1, "Paid by voucher, which came along: %s", "came_with")
    refused = vouchers.filter(state=VoucherState.REFUSED)
    refused = refused.annotate(why=Concat(fee, Value(" ("), "end_reason", Value(")"), output_field=TextField()))
    add(refused, family, "ended_on", ENDED, "why", 1, "Voucher refused: %s")
    released = vouchers.filter(state=VoucherState.RELEASED)
    add(released, family, "ended_on", ENDED, fee, 1, "Voucher not claimed: %s")
    before = When(came_on__gte=F("lodgement__paid_on"), then=F("came_from"))
    short = vouchers.filter(short_by__gt=0).annotate(payer=Case(before, default=F(family)))
    add(short, "payer", "lodgement__paid_on", ENDED, fee, 1, "Voucher paid short: %s", "short_by")
    add(
        GiveBack.objects.filter(undone_on=None),
        "household",
        "asked_on",
        ENDED,
        "voucher__charge__description",
        1,
        "Voucher given back: %s",
    )
    add(Receipt.objects.filter(STANDING), "household", "received_on", PAID, "number", -1, "Received: receipt %s")
    add(Repayment.objects.all(), "household", "paid_on", PAID + 1, "reference", 1, "Credit paid back %s")
    came_back = Repayment.objects.exclude(returned_on=None)
    add(came_back, "household", "returned_on", PAID + 2, "return_reason", -1, "Came back from the bank: %s")
    return moves


def _ages(households: Sequence[int], on: date) -> dict[int, dict[str, Decimal]]:
    """What each household still has to pay, by how long ago it was charged or paid back too much."""
    ages = {pk: {name: ZERO for _, name in AGES} for pk in households}
    charges = charges_with_open().filter(household__in=households, charged_on__lte=on, open_amount__gt=0)
    beyond = paid_back_beyond().filter(household__in=households, paid_on__lte=on)
    for rows, day in ((charges, "charged_on"), (beyond, "paid_on")):
        for family, since, figure in rows.values_list("household", day, "open_amount"):
            ages[family][_age((on - since).days)] += figure
    return ages


def _unused(households: Sequence[int]) -> dict[int, Decimal]:
    unused: dict[int, Decimal] = defaultdict(lambda: ZERO)
    rows = receipts_with_unused().filter(household__in=households, unused__gt=0)
    for family, figure in rows.values_list("household", "unused"):
        unused[family] += figure
    return unused


@dataclass(frozen=True)
class Acquittal:
    """The vouchers of a scheme and calendar year: how many and how much of each, and what is outstanding by age."""

    scheme: VoucherScheme
    year: int
    accepted: tuple[int, Decimal]
    lodged: tuple[int, Decimal]
    paid: tuple[int, Decimal]
    refused: tuple[int, Decimal]
    released: tuple[int, Decimal]
    short: Decimal
    given_back: tuple[int, Decimal]
    ages: dict[str, Decimal]

    @property
    def outstanding(self) -> Decimal:
        """Accepted or lodged and not answered: what the department owes."""
        return self.accepted[1] + self.lodged[1]


def acquittals(on: date) -> list[Acquittal]:
    """What became of the vouchers, by scheme and calendar year, the latest first."""
    groups: dict[tuple[int, int], list[Voucher]] = defaultdict(list)
    schemes = {}
    for voucher in Voucher.objects.select_related("scheme__department").prefetch_related("give_backs").order_by("pk"):
        groups[voucher.scheme_id, voucher.calendar_year].append(voucher)
        schemes[voucher.scheme_id] = voucher.scheme
    found = []
    for (scheme, year), vouchers in sorted(groups.items(), key=lambda item: (-item[0][1], item[0][0])):
        sums = {}
        for state in VoucherState:
            own = [voucher.paid_in.amount for voucher in vouchers if _counts_as(voucher) == state]
            sums[state] = (len(own), sum(own, ZERO))
        open_ones = [each for each in vouchers if each.state in (VoucherState.ACCEPTED, VoucherState.LODGED)]
        ages = {name: ZERO for _, name in AGES}
        for voucher in open_ones:
            ages[_age((on - voucher.accepted_on).days)] += voucher.amount.amount
        found.append(
            Acquittal(
                scheme=schemes[scheme],
                year=year,
                accepted=sums[VoucherState.ACCEPTED],
                lodged=sums[VoucherState.LODGED],
                paid=sums[VoucherState.PAID],
                refused=sums[VoucherState.REFUSED],
                released=sums[VoucherState.RELEASED],
                short=sum((each.short_by.amount for each in vouchers), ZERO),
                given_back=_given_back(vouchers),
                ages=ages,
            )
        )
    return found


def _counts_as(voucher: Voucher) -> str:
    """What was given back was paid before."""
    return VoucherState.PAID if voucher.state == VoucherState.RETURNED else voucher.state


def _given_back(vouchers: Sequence[Voucher]) -> tuple[int, Decimal]:
    back = [found.amount.amount for each in vouchers if (found := each.give_back)]
    return len(back), sum(back, ZERO)


def _age(days: int) -> str:
    return next(name for most, name in AGES if most is None or days <= most)


def who_owes() -> list[Household]:
    """Every household with something still to pay, with its guardians."""
    owing = charges_with_open().filter(open_amount__gt=0).values("household")
    families = Household.objects.filter(Q(pk__in=owing) | Q(pk__in=paid_back_beyond().values("household")))
    return list(families.select_related("party").prefetch_related("guardians"))


@dataclass(frozen=True)
class Aged:
    """A household's open charges by age, its credit, and what it owes in all."""

    household: Household
    ages: dict[str, Decimal]
    unused: Decimal

    @property
    def owed(self) -> Decimal:
        return sum(self.ages.values(), ZERO) - self.unused


def aged_balances(on: date) -> list[Aged]:
    """Each household that owes or is in credit, who owes the longest first. The sums are the Fees owed account."""
    credit = receipts_with_unused().filter(unused__gt=0).values("household")
    families = {each.pk: each for each in who_owes()}
    families |= {each.pk: each for each in Household.objects.filter(pk__in=credit)}
    ages, unused = _ages(list(families), on), _unused(list(families))
    rows = [Aged(family, ages[pk], unused.get(pk, ZERO)) for pk, family in families.items()]
    return sorted(rows, key=lambda row: (*(-figure for figure in reversed(row.ages.values())), row.household.name))
