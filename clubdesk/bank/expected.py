"""What the book expects in a bank account, and what of it explains the lines of its statement."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import accumulate

from djmoney.money import Money

from clubdesk.bank import goingback
from clubdesk.bank.answers import BankLine, Grade, Proposal
from clubdesk.bank.matching import match
from clubdesk.bank.models import BankAccount, BankRule, ClearedPosting, ItemState, PaymentItem, RunState, StatementLine
from clubdesk.bank.selectors import card_takings_waiting, unexplained
from clubdesk.expecting import Expected
from clubdesk.fees.expecting import names_of
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import club_name, source_type
from clubdesk.money import as_amount, cents_of, nil, shown, sum_of
from clubdesk.rooms import in_order

EARLY, LATE = 5, 12
CORRECTION = "correction"
LOOKS_BACK = timedelta(days=400)
"""How long before a line the oldest thing that explains it may stand."""
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
    lines = [BankLine(pk, row.date, cents_of(row.amount), row.text) for pk, row in rows.items()]
    items = list(expected(bank_account, lines))
    found = match(
        lines, items, others=goingback.everybody_named(lines), habits=goingback.habits(bank_account), club=club_name()
    )
    certain = [each for each in found if each.grade == Grade.CERTAIN]
    taken = {line.key for each in certain for line in each.lines}
    rules = list(BankRule.objects.filter(in_use=True).select_related("account", "fund"))
    entries = _entries_by_day(items)
    ruled = [each for pk, row in rows.items() if pk not in taken for each in _by_rules(row, rules, entries)]
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


def _answer(items: Sequence[Expected]) -> Answer:
    if not items:
        return Answer((CORRECTION,), ("the bank’s own correction: the two lines cancel each other",))
    made_of = tuple(sorted(str(item.key) for item in items))
    return Answer(made_of, tuple(item.what for item in items))


def _entries_by_day(items: Sequence[Expected]) -> dict[tuple[date, int], list[Expected]]:
    found: dict[tuple[date, int], list[Expected]] = defaultdict(list)
    for item in items:
        if str(item.key).startswith("posting "):
            found[item.day, item.cents].append(item)
    return found


def expected(bank_account: BankAccount, lines: Sequence[BankLine]) -> Iterator[Expected]:
    """Entries of the account that no line explains yet, near the lines, as the rooms tell them; and, for the account
    that documents post to, what the rooms expect and have not recorded.
    """
    if not lines:
        return
    since = min(line.day for line in lines) - LOOKS_BACK
    told = {each.key: each for room in in_order() for expects in room.expects for each in expects(since)}
    for each in _posted(bank_account, since):
        yield told.get(each.key, each)
    if bank_account.account.role == Role.BANK:
        yield from (each for each in told.values() if not str(each.key).startswith("posting "))
        yield from goingback.bounced(lines)
    yield from goingback.transfers(bank_account, lines)


def _posted(bank_account: BankAccount, since: date) -> Iterator[Expected]:
    rows = Posting.objects.filter(account=bank_account.account, entry__date__gte=since, entry__sealed=True)
    rows = rows.exclude(clearings__stands=True).select_related("entry__reverses", "entry__reversed_by")
    postings = _reaching_the_bank(bank_account, list(rows))
    entries = [posting.entry_id for posting in postings]
    of_homes = Posting.objects.filter(entry__in=entries, party__household__isnull=False)
    homes = dict(of_homes.values_list("entry", "party__household"))
    called = dict(of_homes.values_list("entry", "party__name"))
    names = names_of(set(homes.values()))
    runs = _runs(since)
    for posting in postings:
        entry, home = posting.entry, homes.get(posting.entry_id)
        said = f"{entry.narration} (entry {entry.number})"
        run = runs.get((entry.source_type, entry.source_id), ())
        yield Expected(
            key=f"posting {posting.pk}",
            day=entry.date,
            cents=cents_of(posting.amount),
            what=f"{called[entry.pk]}: {said}" if entry.pk in called else said,
            names=names.get(home, ()) if home else (),
            references=run,
            batch=run[0] if run else "",
            payer=f"family {home}" if home else "",
            early=EARLY,
            late=LATE,
        )


DOCUMENTS = ("claim", "expense", "give_back", "repayment")
"""What a payment is for."""


def _reaching_the_bank(bank_account: BankAccount, postings: list[Posting]) -> list[Posting]:
    """Without the entries that were reversed, and their reversals; but with payments that the bank returned, since
    the bank shows both, and with the one of a pair whose other the bank has shown.
    """
    cleared = ClearedPosting.objects.filter(stands=True, posting__account=bank_account.account)
    shown = set(cleared.values_list("posting__entry", flat=True))
    returned = {
        (source_type(document), document.pk)
        for item in PaymentItem.objects.filter(state=ItemState.RETURNED).select_related(*DOCUMENTS)
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


def _runs(since: date) -> dict[tuple[str, int], tuple[str, str]]:
    """By the document that a payment run paid since then: the run, and the payment's own reference."""
    found = {}
    paid = PaymentItem.objects.filter(state=ItemState.PAID, paid_on__gte=since)
    for item in paid.select_related("run", *DOCUMENTS):
        if document := item.document:
            found[source_type(document), document.pk] = (f"run {item.run.number}", item.reference)
    return found


def released(since: date) -> Iterator[Expected]:
    """What a released run will pay; single transfers are told by the name of the household."""
    rows = PaymentItem.objects.filter(state=ItemState.WAITING, run__state=RunState.RELEASED)
    items = list(rows.select_related("run", "household", *DOCUMENTS, "give_back__voucher__scheme__department"))
    names = names_of({item.household_id for item in items})
    for item in items:
        yield Expected(
            key=f"item {item.pk}",
            day=item.run.pay_on,
            cents=-cents_of(item.amount),
            what=f"{item.run} pays {item}",
            names=() if item.give_back_id else names.get(item.household_id, ()),
            references=(f"run {item.run.number}", item.reference),
            batch=f"run {item.run.number}",
            payer="" if item.give_back_id else f"family {item.household_id}",
            early=2,
            late=LATE,
        )


def _by_rules(
    line: StatementLine, rules: Sequence[BankRule], entries: dict[tuple[date, int], list[Expected]]
) -> list[Explained]:
    """What the treasurer's own rules say of a line; where two speak, or an entry of the very day and amount stands
    already, none is chosen.
    """
    rules = [rule for rule in rules if rule.catches(line.text, line.amount)]
    if not rules:
        return []
    answers = tuple(Answer((f"rule {rule.pk}",), (f"{rule.name}: {rule.account}, {rule.fund}",)) for rule in rules)
    said = "your rule speaks of it" if len(rules) == 1 else "several of your rules speak of it"
    written = [_answer([item]) for item in entries.get((line.date, cents_of(line.amount)), ())]
    if written:
        said += ", and an entry of that day and amount stands already"
    grade = Grade.CERTAIN if len(rules) == 1 and not written else Grade.POSSIBLE
    return [Explained((line,), (*written, *answers), said, grade)]


def _by_cards(lines: Sequence[StatementLine], bank_account: BankAccount) -> list[Explained]:
    """Card takings that wait, less a fee of at most four in a hundred: all of them, or those of the oldest days."""
    if bank_account.account.role != Role.BANK or not lines:
        return []
    waiting, found = _card_days(), []
    for line in lines:
        sums = list(accumulate(waiting))
        for count, takings in enumerate(sums, 1):
            fee = takings - line.amount.amount
            if line.amount > nil() and 0 <= fee <= takings * MOST_CARD_FEE:
                found.append(_settled(line, as_amount(takings), as_amount(fee), count == len(sums)))
                waiting = waiting[count:]
                break
    return found


def _card_days() -> list[Decimal]:
    """The card takings that wait, day by day, the oldest first: as many of the last days as come to what waits."""
    left, found = card_takings_waiting().amount, []
    days = Posting.objects.filter(account__role=Role.CARD_TAKINGS, amount__gt=0, entry__sealed=True)
    for day in days.order_by().values("entry__date").annotate(sum=sum_of("amount")).order_by("-entry__date"):
        if left <= 0:
            break
        found.append(min(left, day["sum"]))
        left -= found[-1]
    return found[::-1]


def _settled(line: StatementLine, takings: Money, fee: Money, is_all: bool) -> Explained:
    of = "all card takings that wait" if is_all else "the oldest card takings that wait"
    said = f"{of}, {shown(takings)}, less a fee of {shown(fee)}"
    named = any(word in line.text.casefold() for word in CARD_WORDS)
    answer = Answer((f"cards {takings.amount}",), (f"card takings of {shown(takings)} settled",))
    return Explained((line,), (answer,), said, Grade.LIKELY if named else Grade.POSSIBLE)
