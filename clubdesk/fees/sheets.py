"""What the workbook shows of fees: who owes at the year's end, and each voucher that was owed in the year."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from clubdesk.fees.models import PAID_IN, Voucher
from clubdesk.ledger.models import FinancialYear, Party, Posting, Role
from clubdesk.ledger.selectors import BY_HAND, ZERO, party_balances
from clubdesk.money import sum_of
from clubdesk.rooms import SheetOf
from clubdesk.sheets import Beside, Heading, Look, Named, Proved, Sheet

OWING = Look(
    "Members owing",
    (Heading("Family", 44, "name"), Heading("Owes", 16, "amount"), Heading("In credit", 16, "amount")),
)
VOUCHERS = Look(
    "Vouchers",
    (
        Heading("Accepted", 13, "date"), Heading("Scheme", 26, "name"), Heading("Code", 10),
        Heading("Family", 30, "name"), Heading("Charge", 10, "number"), Heading("Claimed", 13, "amount"),
        Heading("Paid", 13, "amount"), Heading("Not paid", 13, "amount"), Heading("Owed", 13, "amount"),
        Heading("Claimed on", 13, "date"), Heading("Answered", 13, "date"), Heading("Given back", 13, "amount"),
        Heading("Of that unpaid", 14, "amount"),
    ),
    landscape=True,
)  # fmt: skip


def write_owing(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    """Each household with what it owes, or has in credit."""
    first = sheet.top(beside.note("Families at the year's end.")) + 1
    for name, figure in households_owing(year.last_day):
        sheet.line([Named(name), max(figure, ZERO) or None, max(-figure, ZERO) or None])
    sheet.total(["Total", *sheet.sums(first, "BC")])
    owed = beside.balance(Role.FEES_OWED)
    return Proved("Members owing less credits equal the account Fees owed", sheet.term("B") - sheet.term("C"), owed)


def households_owing(as_at: date) -> list[tuple[str, Decimal]]:
    """Each household's name and what it owes, a credit below nil; who owes most stands first, then by name."""
    owing = party_balances(Role.FEES_OWED, as_at)
    names = {party.pk: party.name for party in Party.objects.filter(pk__in=owing)}
    return sorted(((names[pk], figure) for pk, figure in owing.items()), key=lambda row: (-row[1], row[0]))


def write_vouchers(sheet: Sheet, year: FinancialYear, beside: Beside) -> Proved:
    first = sheet.top(beside.note("Owed in the year, as each stood on its last day.")) + 1
    for row in _vouchers(year.first_day, year.last_day):
        sheet.line(row)
    by_hand = Posting.objects.filter(BY_HAND, account__role=Role.VOUCHERS_OWED, entry__date__lte=year.last_day)
    figure = by_hand.aggregate(figure=sum_of("amount"))["figure"]
    if figure:
        sheet.line([None, "Written by hand", *[None] * 6, figure, None, None, None, None])
    sheet.total(["Total", *[None] * 4, *sheet.sums(first, "FGHI"), None, None, *sheet.sums(first, "LM")])
    owed = beside.balance(Role.VOUCHERS_OWED)
    return Proved("Vouchers one by one equal the account Vouchers owed", sheet.term("I"), owed)


def _vouchers(first: date, last: date) -> Iterator[list[Any]]:
    rows = Voucher.objects.filter(accepted_on__lte=last).order_by("accepted_on", "pk")
    for voucher in rows.select_related("scheme", "lodgement", "charge__household").prefetch_related("give_backs"):
        lodged = voucher.lodgement
        paid_on = lodged.paid_on if lodged and voucher.state in PAID_IN else None
        answered = paid_on or voucher.ended_on
        back, back_unpaid = _given_back(voucher, last)
        if answered and answered < first and not back_unpaid and not _went_back_in(voucher, first, last):
            continue
        claimed = voucher.claimed.amount
        paid = voucher.paid_in.amount if paid_on and paid_on <= last else ZERO
        is_answered = bool(answered and answered <= last)
        not_paid = claimed - paid if is_answered else ZERO
        owed = ZERO if is_answered else claimed
        lodged_on = lodged.lodged_on if lodged and lodged.lodged_on <= last else None
        yield [
            voucher.accepted_on, Named(str(voucher.scheme)), voucher.masked_code, Named(voucher.charge.household.name),
            voucher.charge_id, claimed, paid, not_paid, owed, lodged_on, answered if is_answered else None,
            back or None, back_unpaid or None,
        ]  # fmt: skip


def _given_back(voucher: Voucher, last: date) -> tuple[Decimal, Decimal]:
    """What of it was owed back to the department by then, and what of that was not paid yet."""
    back = voucher.give_back
    if back is None or back.asked_on > last:
        return ZERO, ZERO
    owed = back.amount.amount
    return owed, ZERO if back.paid_on and back.paid_on <= last else owed


def _went_back_in(voucher: Voucher, first: date, last: date) -> bool:
    """Whether anything of its going back fell into these days, though it was answered before."""
    back = voucher.give_back
    return back is not None and any(day and first <= day <= last for day in (back.asked_on, back.paid_on))


SHEETS = (SheetOf(OWING, write_owing, tab=10), SheetOf(VOUCHERS, write_vouchers, tab=30, goes_on=True))
