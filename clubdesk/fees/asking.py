"""How a family is asked for money: how much, by when, what happens otherwise, and how to pay it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from djmoney.money import Money

from clubdesk.clock import long_day
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.money import plain, shown
from clubdesk.paying import Code, PaidInto, Written, payment_code
from clubdesk.roll.models import Household
from clubdesk.roll.selectors import payment_reference
from clubdesk.rooms import in_order

NEW_FOR = timedelta(days=365)
"""How long families are told that the club's account is a new one."""
IN_PARTS = "If you cannot pay it at once, please tell us before: we can agree on parts."


def paid_into() -> PaidInto | None:
    """The account into which families pay; None where the book does not know it yet."""
    return next((found for room in in_order() if room.paid_into and (found := room.paid_into())), None)


def pay_by(on: date, of: Book) -> date:
    """By when a family pays what it is asked for on a day, where nothing else says so."""
    return on + timedelta(days=of.pay_days)


@dataclass(frozen=True)
class Asked:
    """What a family is asked to pay, `when` as the end of a sentence; above nil.

    `otherwise` says what happens where it is not paid.
    """

    amount: Money
    reference: str
    account: PaidInto | None
    also: str
    when: str = ""
    otherwise: str = ""

    @property
    def opening(self) -> str:
        """The first sentence: how much, by when, and how where the book knows no account."""
        asks = " ".join(filter(None, ("Please pay", shown(self.amount), self.when)))
        if self.account:
            return f"{asks}."
        how = f", {self.also}." if self.also else ". Please ask us how."
        return f"{asks}{how} Your reference is {self.reference}. Transfers cannot be taken yet."

    @property
    def lines(self) -> Sequence[Written]:
        """What is written on a transfer but for the amount; nothing where the book knows no account."""
        return [*self.account.lines, Written("Reference", self.reference)] if self.account else []

    @property
    def rows(self) -> Sequence[Written]:
        """The same with the amount, which stands by itself on a page and on paper."""
        return [*self.lines, Written("Amount", shown(self.amount), plain(self.amount))] if self.account else []

    @property
    def closing(self) -> str:
        """The other ways to pay, and what happens where it is not paid."""
        also = f"You can also pay {self.also}." if self.account and self.also else ""
        return " ".join(filter(None, (self.renewed, also, self.otherwise)))

    @property
    def renewed(self) -> str:
        """That the account is a new one, so that nobody pays into the old one by habit; blank where it is not."""
        if self.account is None or self.account.since is None:
            return ""
        return f"This account is new since {long_day(self.account.since)}: please no longer pay into the old one."

    @property
    def code(self) -> Code | None:
        """What a bank's app reads to prepare the transfer; None where there is no such code for the account."""
        text = payment_code(self.account, self.amount, self.reference) if self.account else ""
        return Code(text) if text else None

    @property
    def as_told(self) -> str:
        """The paragraphs of a letter, as one text."""
        lines = "\n".join(f"{each.label}: {each.text}" for each in self.lines)
        how = f"{self.opening} By bank transfer:\n{lines}" if lines else self.opening
        return "\n\n".join(each for each in (how, self.closing) if each)


def asked(
    household: Household, amount: Money, on: date, *, by: date | None = None, when: str = "", otherwise: str = ""
) -> Asked:
    """How a family is asked on a day to pay an amount, by the day `by` or `when` the words say."""
    return ask(household, amount, on, paid_into(), book(), by=by, when=when, otherwise=otherwise)


def ask(
    household: Household, amount: Money, on: date, account: PaidInto | None, of: Book, *,
    by: date | None = None, when: str = "", otherwise: str = "",
) -> Asked:  # fmt: skip
    """The same for many families, whose account and book were asked for once."""
    return Asked(
        amount, payment_reference(household), _new_for_a_while(account, on), of.also_paid,
        f"by {long_day(by)}" if by else when, otherwise,
    )  # fmt: skip


def _new_for_a_while(account: PaidInto | None, on: date) -> PaidInto | None:
    if account and account.since and on - account.since > NEW_FOR:
        return PaidInto(account.holder, account.bsb, account.number, account.iban, account.bic)
    return account
