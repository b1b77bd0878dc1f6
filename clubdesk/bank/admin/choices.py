"""What can be paid, as rows to tick: each with its amount, its household and what it is for."""

from collections.abc import Mapping
from decimal import Decimal

from clubdesk.bank.models import BankDetails, PaymentItem
from clubdesk.entryfund.models import EntryClaim
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import GiveBack
from clubdesk.money import shown
from clubdesk.roll.models import Household
from clubdesk.screens.fields import PickMany


class Choice(PickMany):
    """What can be paid, each with its amount; `accounts` holds where each household's money goes, by its id."""

    accounts: Mapping[int, BankDetails] | None = None

    def label_from_instance(self, each: EntryClaim | Expense | GiveBack | PaymentItem) -> str:
        if isinstance(each, GiveBack):
            return f"{shown(each.amount)} to {each.voucher.scheme.department}: {each}"
        what = each.what if isinstance(each, PaymentItem) else each
        missing = "" if isinstance(each, PaymentItem) and each.give_back_id else self.missing(each.household_id)
        to = each.payee if isinstance(each, PaymentItem) else each.household
        return f"{shown(each.amount)} to {to}: {what}{missing}"

    def missing(self, household: int) -> str:
        return " (no bank details noted)" if self.accounts is not None and household not in self.accounts else ""


class CreditChoice(Choice):
    """Households in credit; `payable` holds what each has, by its id."""

    payable: Mapping[int, Decimal] = {}

    def label_from_instance(self, household: Household) -> str:  # type: ignore[override]
        return f"{shown(self.payable[household.pk])} to {household}{self.missing(household.pk)}"
