"""Each stream of money by three witnesses: our documents, the ledger, the bank. Questions only."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Min, Q

from clubdesk.bank.models import BankAccount, CardSettlement
from clubdesk.bank.selectors import card_takings_waiting, statements_begin
from clubdesk.entryfund.models import EntryClaim
from clubdesk.expecting import PaysInto, StreamOf
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import GiveBack, Repayment
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import balance_of, source_type
from clubdesk.money import in_all, shown
from clubdesk.rooms import in_order


@dataclass(frozen=True)
class Stream:
    """Money that reached the bank account, or left it (below nil), over all time.

    `rest` is what the ledger has and the bank has not shown, since `oldest`; `still` what has not got that far. What is
    older than the account's first statement is taken as shown.
    """

    name: str
    documents: Decimal
    ledger: Decimal
    bank: Decimal
    oldest: date | None
    still: str

    @property
    def rest(self) -> Decimal:
        return self.ledger - self.bank

    def age(self, today: date) -> str:
        """How long the oldest of the rest has waited."""
        if not self.rest or self.oldest is None:
            return "–"
        days = (today - self.oldest).days
        return f"{days} day{'' if days == 1 else 's'}"


def streams() -> list[Stream]:
    """The streams of every room in their order."""
    told = (each for room in in_order() for each in room.streams)
    return [_witnessed(each) for each in sorted(told, key=lambda each: each.place)]


def _witnessed(stream: StreamOf) -> Stream:
    of_them = Q(entry__source_type__in=stream.sources) | Q(entry__reverses__source_type__in=stream.sources)
    rows = Posting.objects.filter(of_them, account__role=Role.BANK)
    account = BankAccount.objects.filter(account__role=Role.BANK).first()
    begun = statements_begin(account) if account else None
    before = Q(entry__date__lt=begun) if begun else Q(pk=None)
    shown_by_bank = rows.filter(before | Q(clearings__stands=True))
    waiting = rows.exclude(before).exclude(clearings__stands=True)
    waiting = waiting.filter(entry__reverses=None, entry__reversed_by=None)
    return Stream(
        name=stream.name,
        documents=stream.documents(),
        ledger=in_all(rows),
        bank=in_all(shown_by_bank),
        oldest=waiting.aggregate(oldest=Min("entry__date"))["oldest"],
        still=stream.still(),
    )


def onto_cards() -> Decimal:
    """Below nil: takings that the card company settled."""
    return -in_all(CardSettlement.objects.all(), "takings")


def settled() -> Decimal:
    """What the card company paid out, its fee taken off."""
    settlements = CardSettlement.objects.all()
    return in_all(settlements, "takings") - in_all(settlements, "fee")


def paid_out() -> Decimal:
    """Below nil: refunds, expenses, credits and vouchers given back that payments made good."""
    owed = in_all(EntryClaim.objects.filter(state="paid")) + in_all(Expense.objects.filter(state="paid"))
    owed += in_all(GiveBack.objects.filter(state="paid"))
    return -owed - in_all(Repayment.objects.filter(returned_on=None))


def _to_be_paid() -> str:
    return f"{shown(-balance_of(Role.REFUNDS_PAYABLE) - balance_of(Role.OTHER_PAYABLES))} to be paid"


PAYS_INTO = (PaysInto(Role.CARD_TAKINGS, onto_cards),)
STREAMS = (
    StreamOf(
        "The card reader", 20, settled, (source_type(CardSettlement),),
        lambda: f"{shown(card_takings_waiting())} not settled",
    ),
    StreamOf(
        "Refunds, expenses and credits paid", 60, paid_out,
        tuple(map(source_type, (EntryClaim, Expense, Repayment, GiveBack))), _to_be_paid,
    ),
)  # fmt: skip
