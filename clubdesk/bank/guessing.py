"""What a form about a line of the bank begins with: whom its words name, what such lines were. Questions only."""

from collections.abc import Mapping

from clubdesk.bank import goingback
from clubdesk.bank.answers import BankLine
from clubdesk.bank.expected import expected
from clubdesk.bank.matching import match
from clubdesk.bank.models import StatementLine
from clubdesk.bank.wording import OF_THE_ACCOUNT, likeness, telling, words_of
from clubdesk.ledger.models import Account, Party, PartyKind, Posting, Role
from clubdesk.ledger.selectors import club_name
from clubdesk.money import cents_of, nil
from clubdesk.roll.models import Household

PLAIN_ENOUGH = 80


def family_of(line: StatementLine) -> Household | None:
    """The family that the line's words, reference or amount speak of most; None where several do as well."""
    looked_at = [BankLine(line.pk, line.date, cents_of(line.amount), line.text)]
    named = goingback.everybody_named(looked_at)
    items = list(expected(line.bank_account, looked_at))
    found = match(looked_at, items, others=named, club=club_name())
    payers = [each.items[0].payer for each in found if each.items and not each.others]
    words = words_of(line.text)
    like = {payer for payer, names in named.items() if max(likeness(name, words) for name in names) >= PLAIN_ENOUGH}
    chosen = payers or (list(like) if len(like) == 1 else [])
    pk = chosen[0].removeprefix("family ") if chosen else ""
    return Household.objects.filter(pk=int(pk)).first() if pk.isdigit() else None


def booked_before(line: StatementLine) -> Posting | None:
    """What the latest line of such words was booked to."""
    looked_at = BankLine(line.pk, line.date, cents_of(line.amount), line.text)
    habits = goingback.habits(line.bank_account)
    found = match([looked_at], [], habits=habits)
    if not found:
        return None
    earlier = StatementLine.objects.get(pk=int(str(found[0].items[0].key).removeprefix("like ")))
    return goingback.other_side(earlier)


def supplier_of(line: StatementLine) -> Party | None:
    """The supplier whose name shares a telling word with the line; None where several do."""
    said = telling(words_of(line.text))
    suppliers = Party.objects.filter(kind=PartyKind.SUPPLIER)
    found = [each for each in suppliers if telling(words_of(each.name)) & said]
    return found[0] if len(found) == 1 else None


OwnAccounts = Mapping[str, Account]
"""Where the bank's own fees and interest go, by the role."""


def own_accounts() -> OwnAccounts:
    return {str(each.role): each for each in Account.objects.filter(role__in=(Role.INTEREST, Role.BANK_FEES))}


def account_of(line: StatementLine, own: OwnAccounts) -> Account | None:
    """Where a line of the bank's own fees or interest goes, by its words; None of any other line."""
    said = set(words_of(line.text))
    if not said & OF_THE_ACCOUNT:
        return None
    if line.amount < nil():
        return own.get(Role.BANK_FEES)
    return own.get(Role.INTEREST) if "interest" in said else None
