"""Each voucher that was owed in the year, as it stood on its last day."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from clubdesk.fees.models import Voucher, VoucherState
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import BY_HAND, ZERO
from clubdesk.money import sum_of
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Heading, Look, Named, Proved, Sheet

LOOK = Look(
    "Vouchers",
    (
        Heading("Accepted", 13, "date"), Heading("Scheme", 26, "name"), Heading("Code", 10),
        Heading("Household", 30, "name"), Heading("Charge", 10, "number"), Heading("Claimed", 13, "amount"),
        Heading("Paid", 13, "amount"), Heading("Not paid", 13, "amount"), Heading("Owed", 13, "amount"),
        Heading("Lodged", 13, "date"), Heading("Answered", 13, "date"),
    ),
    landscape=True,
)  # fmt: skip


def write(context: Context, sheet: Sheet, trial: TrialAt) -> Proved:
    year = context.year
    first = sheet.top(context.note("Owed in the year, as each stood on its last day.")) + 1
    for row in _vouchers(year.first_day, year.last_day):
        sheet.line(row)
    by_hand = Posting.objects.filter(BY_HAND, account__role=Role.VOUCHERS_OWED, entry__date__lte=year.last_day)
    figure = by_hand.aggregate(figure=sum_of("amount"))["figure"]
    if figure:
        sheet.line([None, "Written by hand", *[None] * 6, figure, None, None])
    sheet.total(["Total", *[None] * 4, *sheet.sums(first, "FGHI"), None, None])
    owed = trial.balance(*context.of_roles(Role.VOUCHERS_OWED))
    return Proved("Vouchers one by one equal the account Vouchers owed", sheet.term("I"), owed)


def _vouchers(first: date, last: date) -> Iterator[list[Any]]:
    rows = Voucher.objects.filter(accepted_on__lte=last).order_by("accepted_on", "pk")
    for voucher in rows.select_related("scheme", "lodgement", "charge__household"):
        lodged = voucher.lodgement
        paid_on = lodged.paid_on if lodged and voucher.state == VoucherState.PAID else None
        answered = paid_on or voucher.ended_on
        if answered and answered < first:
            continue
        claimed = voucher.claimed.amount
        paid = voucher.amount.amount if paid_on and paid_on <= last else ZERO
        is_answered = bool(answered and answered <= last)
        not_paid = claimed - paid if is_answered else ZERO
        owed = ZERO if is_answered else claimed
        lodged_on = lodged.lodged_on if lodged and lodged.lodged_on <= last else None
        yield [
            voucher.accepted_on, Named(str(voucher.scheme)), voucher.masked_code, Named(voucher.charge.household.name),
            voucher.charge_id, claimed, paid, not_paid, owed, lodged_on, answered if is_answered else None,
        ]  # fmt: skip
