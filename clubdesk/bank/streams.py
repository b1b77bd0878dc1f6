"""Each stream of money by three witnesses: our documents, the ledger, the bank. Questions only."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Min, Model, Q

from clubdesk.bank.models import BankAccount, CardSettlement
from clubdesk.bank.selectors import card_takings_waiting, statements_begin
from clubdesk.entryfund.models import ContainerReturn, EntryClaim, PaidInto
from clubdesk.entryfund.selectors import bags_in_words, returns_that_stand
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import Lodgement, Method, Receipt, Repayment, Voucher, VoucherState
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import balance_of, source_type
from clubdesk.money import in_all, shown
from clubdesk.rangeday.models import Banking
from clubdesk.rooms import PaysInto


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
    """The tin, the reader, the department, the depot, families' transfers, and what the club pays out."""
    banked = Banking.objects.filter(cancelled_on=None)
    settled = CardSettlement.objects.all()
    paid = Voucher.objects.filter(state=VoucherState.PAID, lodgement__paid_on__isnull=False)
    transfers = Receipt.objects.filter(method=Method.TRANSFER, cancelled_on=None)
    by_depot = returns_that_stand().filter(paid_into=PaidInto.BANK)
    out = (
        -in_all(EntryClaim.objects.filter(state="paid"))
        - in_all(Expense.objects.filter(state="paid"))
        - in_all(Repayment.objects.filter(returned_on=None))
    )
    return [
        _stream("The tin", in_all(banked), [Banking], f"{_held(Role.TILL)} in the till"),
        _stream(
            "The card reader", in_all(settled, "takings") - in_all(settled, "fee"), [CardSettlement],
            f"{shown(card_takings_waiting())} not settled",
        ),
        _stream("The department", in_all(paid), [Lodgement], f"{_held(Role.VOUCHERS_OWED)} owed for vouchers"),
        _stream("The depot", in_all(by_depot), [ContainerReturn], f"bags: {bags_in_words()}"),
        _stream("Families, by transfer", in_all(transfers), [Receipt], f"{_held(Role.FEES_OWED)} owed by families"),
        _stream(
            "Refunds, expenses and credits paid", out, [EntryClaim, Expense, Repayment],
            f"{shown(-balance_of(Role.REFUNDS_PAYABLE) - balance_of(Role.OTHER_PAYABLES))} to be paid",
        ),
    ]  # fmt: skip


def _stream(name: str, documents: Decimal, sources: list[type[Model]], still: str) -> Stream:
    types = [source_type(each) for each in sources]
    of_them = Q(entry__source_type__in=types) | Q(entry__reverses__source_type__in=types)
    rows = Posting.objects.filter(of_them, account__role=Role.BANK)
    account = BankAccount.objects.filter(account__role=Role.BANK).first()
    begun = statements_begin(account) if account else None
    before = Q(entry__date__lt=begun) if begun else Q(pk=None)
    shown_by_bank = rows.filter(before | Q(clearings__stands=True))
    waiting = rows.exclude(before).exclude(clearings__stands=True)
    waiting = waiting.filter(entry__reverses=None, entry__reversed_by=None)
    return Stream(
        name=name,
        documents=documents,
        ledger=in_all(rows),
        bank=in_all(shown_by_bank),
        oldest=waiting.aggregate(oldest=Min("entry__date"))["oldest"],
        still=still,
    )


def _held(role: Role) -> str:
    return shown(balance_of(role))


def onto_cards() -> Decimal:
    """Below nil: takings that the card company settled."""
    return -in_all(CardSettlement.objects.all(), "takings")


PAYS_INTO = (PaysInto(Role.CARD_TAKINGS, onto_cards),)
