"""What the book expects in a bank account, and what of it explains the lines of its statement."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from clubdesk.bank.matching import Grade, Item, Line, Proposal, match
from clubdesk.bank.models import BankAccount, BankRule, ClearedPosting, ItemState, PaymentItem, RunState, StatementLine
from clubdesk.bank.selectors import card_takings_waiting, unexplained
from clubdesk.fees.accounts import payment_reference
from clubdesk.fees.models import Lodgement, VoucherState
from clubdesk.fees.selectors import charges_with_open
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import source_type
from clubdesk.money import nil, shown, total
from clubdesk.rangeday.models import Banking
from clubdesk.roll.models import Guardian, Person

EARLY, LATE = 5, 12
OWED_EARLY, OWED_LATE = 60, 400
LODGED_LATE = 150
MOST_CARD_FEE = Decimal("0.04")
CARD_WORDS = ("card", "merchant", "settlement")
MOST_LINES = 300


@dataclass(frozen=True)
class Answer:
    """One way to explain some lines: what it is made of, for `services.accept`, and in words."""

    made_of: tuple[str, ...]
    parts: tuple[str, ...]

    @property
    def words(self) -> str:
        return "; ".join(self.parts)

    @property
    def name(self) -> str:
        return ",".join(self.made_of)


@dataclass(frozen=True)
class Explained:
    """Lines with the answers to what they are, the best first, why, and how sure it is."""

    lines: tuple[StatementLine, ...]
    answers: tuple[Answer, ...]
    reasons: str
    grade: Grade

    @property
    def name(self) -> str:
        return "-".join(str(line.pk) for line in self.lines)

    @property
    def how_sure(self) -> str:
        return self.grade.name.lower()


def explain(bank_account: BankAccount, most: int = MOST_LINES) -> tuple[list[Explained], list[StatementLine]]:
    """What explains the account's lines, and the lines that nothing explains; the oldest lines first.

    A rule of the treasurer's speaks before a mere likeness of amounts, and after a certain answer.
    """
    rows = {line.pk: line for line in unexplained(bank_account).order_by("date", "pk")[:most]}
    lines = [Line(pk, row.date, _cents(row.amount.amount), row.text) for pk, row in rows.items()]
    items = list(expected(bank_account, lines))
    found = match(lines, items)
    certain = [each for each in found if each.grade == Grade.CERTAIN]
    taken = {line.key for each in certain for line in each.lines}
    rules = list(BankRule.objects.filter(in_use=True).select_related("account", "fund"))
    ruled = [each for pk, row in rows.items() if pk not in taken for each in _by_rules(row, rules)]
    taken |= {line.pk for each in ruled for line in each.lines}
    others = [
        each for each in found if each.grade < Grade.CERTAIN and not any(line.key in taken for line in each.lines)
    ]
    taken |= {line.key for each in others for line in each.lines}
    cards = _by_cards([row for pk, row in rows.items() if pk not in taken], bank_account)
    taken |= {line.pk for each in cards for line in each.lines}
    told = [*(_told(each, rows) for each in (*certain, *others)), *ruled, *cards]
    told.sort(key=lambda each: (-each.grade, each.lines[0].date, each.lines[0].pk))
    return told, [row for pk, row in rows.items() if pk not in taken]


def _told(proposal: Proposal, rows: dict[int, StatementLine]) -> Explained:
    answers = [proposal.items, *proposal.others]
    return Explained(
        lines=tuple(rows[line.key] for line in proposal.lines),
        answers=tuple(_answer(items) for items in answers),
        reasons="; ".join(proposal.reasons),
        grade=proposal.grade,
    )


def _answer(items: Sequence[Item]) -> Answer:
    return Answer(tuple(sorted(str(item.key) for item in items)), tuple(item.what for item in items))


def _cents(amount: Decimal) -> int:
    return int(amount * 100)


def expected(bank_account: BankAccount, lines: Sequence[Line]) -> Iterable[Item]:
    """Entries of the account that no line explains yet, near the lines; and, for the account that documents post to,
    what is owed and not recorded.
    """
    if not lines:
        return
    since = min(line.day for line in lines) - timedelta(days=OWED_LATE)
    yield from _posted(bank_account, since)
    if bank_account.account.role == Role.BANK:
        yield from _owed(since)
        yield from _lodged()
        yield from _released()


def _posted(bank_account: BankAccount, since: date) -> Iterable[Item]:
    rows = Posting.objects.filter(account=bank_account.account, entry__date__gte=since, entry__sealed=True)
    rows = rows.exclude(clearings__stands=True).select_related("entry__reverses", "entry__reversed_by")
    postings = _reaching_the_bank(bank_account, list(rows))
    entries = [posting.entry_id for posting in postings]
    of_homes = Posting.objects.filter(entry__in=entries, party__household__isnull=False)
    homes = dict(of_homes.values_list("entry", "party__household"))
    called = dict(of_homes.values_list("entry", "party__name"))
    names = names_of(set(homes.values()))
    runs = _runs()
    banked = source_type(Banking)
    for posting in postings:
        entry, home = posting.entry, homes.get(posting.entry_id)
        said = f"{entry.narration} (entry {entry.number})"
        run = runs.get((entry.source_type, entry.source_id), ())
        yield Item(
            key=f"posting {posting.pk}",
            day=entry.date,
            cents=_cents(posting.amount.amount),
            what=f"{called[entry.pk]}: {said}" if entry.pk in called else said,
            names=names.get(home, ()) if home else (),
            references=run,
            batch=run[0] if run else "",
            payer=f"household {home}" if home else "",
            early=0 if entry.source_type == banked else EARLY,
            late=LATE,
        )


def _reaching_the_bank(bank_account: BankAccount, postings: list[Posting]) -> list[Posting]:
    """Without the entries that were reversed, and their reversals; but with payments that the bank returned, since
    the bank shows both, and with the one of a pair whose other the bank has shown.
    """
    cleared = ClearedPosting.objects.filter(stands=True, posting__account=bank_account.account)
    shown = set(cleared.values_list("posting__entry", flat=True))
    returned = {
        (source_type(document), document.pk)
        for item in PaymentItem.objects.filter(state=ItemState.RETURNED).select_related("claim", "expense", "repayment")
        if (document := item.document)
    }
    found = []
    for posting in postings:
        entry = posting.entry
        reversal = getattr(entry, "reversed_by", None)
        partner, origin = entry.reverses or reversal, entry.reverses or entry
        if partner is None or partner.pk in shown or (origin.source_type, origin.source_id) in returned:
            found.append(posting)
    return found


def _runs() -> dict[tuple[str, int], tuple[str, str]]:
    """By the document that a payment run paid: the run, and the payment's own reference."""
    found = {}
    paid = PaymentItem.objects.filter(state=ItemState.PAID).select_related("run", "claim", "expense", "repayment")
    for item in paid:
        if document := item.document:
            found[source_type(document), document.pk] = (f"run {item.run.number}", item.reference)
    return found


def names_of(households: set[int]) -> dict[int, tuple[tuple[str, str], ...]]:
    """The people and guardians of households as pairs of given and family name, by the household's id."""
    names: dict[int, set[tuple[str, str]]] = defaultdict(set)
    people = Person.objects.filter(household__in=households, blanked_on=None)
    for home, given, family in people.values_list("household", "given_name", "family_name"):
        names[home].add((given, family))
    for home, name in Guardian.objects.filter(household__in=households).values_list("household", "name"):
        given, _, family = name.rpartition(" ")
        names[home].add((given, family))
    return {home: tuple(sorted(found)) for home, found in names.items()}


def _owed(since: date) -> Iterable[Item]:
    charges = list(charges_with_open().filter(open_amount__gt=0, charged_on__gte=since).select_related("household"))
    names = names_of({charge.household_id for charge in charges})
    references = {charge.household_id: payment_reference(charge.household) for charge in charges}
    for charge in charges:
        home = charge.household_id
        yield Item(
            key=f"charge {charge.pk}",
            day=charge.charged_on,
            cents=_cents(charge.open_amount),
            what=f"{charge.household} pays {charge}",
            names=names.get(home, ()),
            references=(references[home],),
            payer=f"household {home}",
            early=OWED_EARLY,
            late=OWED_LATE,
            loose=True,
        )


def _lodged() -> Iterable[Item]:
    rows = Lodgement.objects.filter(paid_on=None).select_related("scheme").prefetch_related("vouchers")
    for lodgement in rows:
        amount = total(each.amount for each in lodgement.vouchers.all() if each.state == VoucherState.LODGED)
        if amount > nil():
            yield Item(
                key=f"lodgement {lodgement.pk}",
                day=lodgement.lodged_on,
                cents=_cents(amount.amount),
                what=f"the department pays {lodgement}",
                references=(f"lodgement {lodgement.pk}",),
                early=0,
                late=LODGED_LATE,
            )


def _released() -> Iterable[Item]:
    """What a released run will pay; single transfers are told by the name of the household."""
    rows = PaymentItem.objects.filter(state=ItemState.WAITING, run__state=RunState.RELEASED)
    items = list(rows.select_related("run", "household", "claim", "expense", "repayment"))
    names = names_of({item.household_id for item in items})
    for item in items:
        yield Item(
            key=f"item {item.pk}",
            day=item.run.pay_on,
            cents=-_cents(item.amount.amount),
            what=f"{item.run} pays {item}",
            names=names.get(item.household_id, ()),
            references=(f"run {item.run.number}", item.reference),
            batch=f"run {item.run.number}",
            payer=f"household {item.household_id}",
            early=2,
            late=LATE,
        )


def _by_rules(line: StatementLine, rules: Sequence[BankRule]) -> list[Explained]:
    """What the treasurer's own rules say of a line; where two speak, neither is chosen."""
    rules = [rule for rule in rules if rule.catches(line.text, line.amount)]
    if not rules:
        return []
    answers = tuple(Answer((f"rule {rule.pk}",), (f"{rule.name}: {rule.account}, {rule.fund}",)) for rule in rules)
    said = "your rule speaks of it" if len(rules) == 1 else "several of your rules speak of it"
    return [Explained((line,), answers, said, Grade.CERTAIN if len(rules) == 1 else Grade.POSSIBLE)]


def _by_cards(lines: Sequence[StatementLine], bank_account: BankAccount) -> list[Explained]:
    """Card takings that wait, less a fee of at most four in a hundred: the oldest line that fits all that waits."""
    if bank_account.account.role != Role.BANK:
        return []
    waiting = card_takings_waiting()
    for line in lines:
        fee = waiting - line.amount
        if line.amount > nil() and nil() <= fee <= waiting * MOST_CARD_FEE:
            said = f"all card takings that wait, {shown(waiting)}, less a fee of {shown(fee)}"
            named = any(word in line.text.casefold() for word in CARD_WORDS)
            answer = Answer((f"cards {waiting.amount}",), (f"card takings of {shown(waiting)} settled",))
            return [Explained((line,), (answer,), said, Grade.LIKELY if named else Grade.POSSIBLE)]
    return []
