"""Taking an answer to what a line is: the documents that are missing are made by their own verbs, and matched."""

from collections.abc import Callable, Sequence

from django.contrib.auth.models import User
from django.db import models

from clubdesk.bank import goingback, posting
from clubdesk.bank.models import BankRule, Clearing, HowSure, PaymentItem, StatementLine
from clubdesk.bank.services.clearing import clear, day_in_the_book, locked
from clubdesk.bank.services.pairing import match_correction
from clubdesk.bank.services.runs import record_paid, record_returned
from clubdesk.bank.services.statements import settle_cards
from clubdesk.bank.services.transfers import moved_between
from clubdesk.errors import Refused
from clubdesk.fees.models import Charge, Lodgement, Method, Receipt, Voucher
from clubdesk.fees.services import answer_lodgement, cancel_receipt, record_lodgement_paid, record_receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, Fund, JournalEntry, Party, Posting
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from clubdesk.verbs import verb

RETURNED = "returned by the bank"


@verb(permission="bank.change_statementline", title="Take an answer to what a line is")
def accept(
    *, lines: Sequence[StatementLine], answer: Sequence[str], reasons: str, how_sure: HowSure, by: User
) -> Clearing:
    """Take an answer to what explains the lines: make the documents that are missing, by their verbs, and clear.

    `answer` names what it is made of, as `bank.expected` does: "posting 12", "charge 7", "lodgement 3", "voucher 8"
    (of a list that is paid in part), "item 9", "cards 120.50", "rule 4", "like 31" (booked as that line was),
    "bounce 5" (that receipt came back), "returned 9" (that payment did), "transfer 12" (that line of another account)
    or "correction" (the lines cancel each other). What is made is dated by the line; where its month is locked, on the
    first open day after it. Raises Refused where any of it is no longer so; then nothing is saved.
    """
    locked(lines[0].bank_account_id if lines else None, *_accounts_of_transfers(answer))
    if list(answer) == ["correction"]:
        return match_correction(lines=lines, by=by, reasons=reasons, how_sure=how_sure)
    postings: list[Posting] = []
    parts = sorted(_parted(each) for each in answer)
    known = [pk for kind, pk in parts if kind == "posting"]
    postings += list(Posting.objects.filter(pk__in=known).select_related("entry"))
    made = [part for part in parts if part[0] != "posting"]
    if made:
        postings += _made(made, lines, by)
    return clear(lines=lines, postings=postings, reasons=reasons, how_sure=how_sure, by=by)


def _accounts_of_transfers(answer: Sequence[str]) -> list[int]:
    """The other accounts whose lines are matched with it."""
    there = [pk for kind, pk in map(_parted, answer) if kind == "transfer"]
    return list(StatementLine.objects.filter(pk__in=there).values_list("bank_account", flat=True))


def _parted(name: str) -> tuple[str, str]:
    kind, _, pk = name.partition(" ")
    return kind, pk


def _made(parts: Sequence[tuple[str, str]], lines: Sequence[StatementLine], by: User) -> list[Posting]:
    """The bank's postings of the documents that are made for the lines, dated by the statement while that is open."""
    kind, numbers, line = parts[0][0], [pk for _, pk in parts], lines[0]
    on = day_in_the_book(line)
    if kind == "charge":
        return _received(list(Charge.objects.filter(pk__in=numbers)), lines, by)
    if kind == "lodgement":
        lodgement = record_lodgement_paid(lodgement=Lodgement.objects.get(pk=numbers[0]), on=on, by=by)
        return bank_postings(lodgement, line)
    if kind == "voucher":
        return _vouchers_paid(list(Voucher.objects.filter(pk__in=numbers).select_related("lodgement")), line, by)
    if kind == "item":
        items = list(PaymentItem.objects.filter(pk__in=numbers).select_related("run"))
        record_paid(run=items[0].run, items=items, on=on, by=by)
        found = PaymentItem.objects.filter(pk__in=numbers).select_related("claim", "expense", "give_back", "repayment")
        return [posting for item in found for posting in bank_postings(item.document, line)]
    if kind == "cards":
        takings = as_amount(numbers[0])
        settled = settle_cards(takings=takings, fee=takings - line.amount, on=on, by=by)
        return bank_postings(settled, line)
    if kind == "rule":
        return [_by_rule(BankRule.objects.get(pk=numbers[0]), line, by)]
    if kind in AGAIN_OR_BACK:
        return AGAIN_OR_BACK[kind](int(numbers[0]), line, by)
    raise Refused("That answer is not known.")


def _vouchers_paid(vouchers: Sequence[Voucher], line: StatementLine, by: User) -> list[Posting]:
    """Some vouchers of a list are paid in full; the others stay lodged."""
    lodgement = vouchers[0].lodgement if vouchers else None
    if lodgement is None:
        raise Refused("Those vouchers are in no claim any more.")
    paid, on = {each.pk: each.amount for each in vouchers}, day_in_the_book(line)
    return bank_postings(answer_lodgement(lodgement=lodgement, paid=paid, refused={}, on=on, by=by), line)


def _received(charges: Sequence[Charge], lines: Sequence[StatementLine], by: User) -> list[Posting]:
    """A receipt a line; what is beyond the fees stays as the family's credit."""
    if not charges:
        raise Refused("That fee is not there any more.")
    found = []
    for line in lines:
        receipt = record_receipt(
            household=charges[0].household, amount=line.amount, method=Method.TRANSFER, on=day_in_the_book(line),
            by=by, reference=line.text[:60], charges=charges,
        )  # fmt: skip
        found += bank_postings(receipt, line)
    return found


def bank_postings(document: models.Model | None, line: StatementLine) -> list[Posting]:
    """What of the document's standing entries is in the line's account and explains nothing yet."""
    assert document is not None, "a document was made"
    entries = entries_of(document).filter(reversed_by=None)
    rows = Posting.objects.filter(entry__in=entries, account_id=line.bank_account.account_id)
    return list(rows.exclude(clearings__stands=True))


def _reversed(document: models.Model | None, line: StatementLine) -> list[Posting]:
    """The bank's posting of the entry that has just undone the document's."""
    assert document is not None, "a document was undone"
    undone = JournalEntry.objects.filter(reverses__in=entries_of(document))
    rows = Posting.objects.filter(entry__in=undone, account_id=line.bank_account.account_id, amount=line.amount)
    return list(rows.exclude(clearings__stands=True).order_by("-pk")[:1])


def _by_rule(rule: BankRule, line: StatementLine, by: User) -> Posting:
    if not rule.in_use or not rule.catches(line.text, line.amount):
        raise Refused(f"The rule “{rule}” does not speak of this line any more.")
    return booked(line, rule.name, rule.account, rule.party, rule.fund, by)


def booked(line: StatementLine, narration: str, account: Account, party: Party | None, fund: Fund, by: User) -> Posting:
    """The bank's posting of a journal that books the line to one account; money in positive."""
    journal = ledger.record_journal(
        on=day_in_the_book(line),
        narration=narration,
        lines=posting.rule_lines(line.amount, line.bank_account.account, account, party, fund),
        by=by,
    )
    return next(iter(bank_postings(journal, line)))


def _as_before(earlier: int, line: StatementLine, by: User) -> list[Posting]:
    """Booked to what an earlier line was booked to; money that goes the other way comes back from there."""
    found = StatementLine.objects.filter(pk=earlier, bank_account=line.bank_account).first()
    side = goingback.other_side(found) if found else None
    if side is None:
        raise Refused("The line that was booked so before is not so any more; look at this one again.")
    return [booked(line, f"{side.account.name}, as the bank shows it", side.account, side.party, side.fund, by)]


def _receipt_bounced(receipt: int, line: StatementLine, by: User) -> list[Posting]:
    found, on = Receipt.objects.get(pk=receipt), day_in_the_book(line)
    document = cancel_receipt(receipt=found, on=on, reason=RETURNED, by=by)
    return _reversed(document, line)


def _payment_returned(item: int, line: StatementLine, by: User) -> list[Posting]:
    paid = PaymentItem.objects.select_related("run", "claim", "expense", "give_back", "repayment").get(pk=item)
    record_returned(item=paid, on=day_in_the_book(line), reason=RETURNED, by=by)
    return _reversed(paid.document, line)


def _transfer(other: int, line: StatementLine, by: User) -> list[Posting]:
    there = StatementLine.objects.select_related("bank_account__account").get(pk=other)
    return [moved_between(line, there.bank_account.account, there, by)]


AGAIN_OR_BACK: dict[str, Callable[[int, StatementLine, User], list[Posting]]] = {
    "like": _as_before,
    "bounce": _receipt_bounced,
    "returned": _payment_returned,
    "transfer": _transfer,
}
