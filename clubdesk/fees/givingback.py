"""What of a paid voucher is owed back to its department, by the rules of its scheme."""

from datetime import timedelta
from decimal import Decimal

from django.db.models import QuerySet
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.fees.models import Charge, GiveBack, GivesBack, Voucher, VoucherState
from clubdesk.fees.selectors import charges_with_open
from clubdesk.money import as_amount, nil, sum_of


def share_owed(rule: str, *, paid: Money, stands: Money, kept: Money) -> Money:
    """What of `paid` is owed back, where `stands` of the fee is not credited and the club keeps `kept` of it. Pure."""
    if rule == GivesBack.NOTHING:
        return nil()
    return paid if rule == GivesBack.WHOLE else max(min(paid, stands - kept), nil())


def owed_back(voucher: Voucher) -> tuple[Money, str]:
    """What is owed back of it now, and where nothing is, why, as a sentence."""
    scheme, charge = voucher.scheme, voucher.charge
    if voucher.state != VoucherState.PAID:
        return nil(), f"This voucher is {voucher.get_state_display().lower()}; only one that was paid is given back."
    if charge.taken_back_on is None:
        return nil(), (
            f"{voucher.person} still has what this voucher pays. Withdraw the place or end the membership first: what "
            "is owed back follows from what the club keeps."
        )
    if scheme.gives_back_days is not None:
        last = charge.starts_on + timedelta(days=scheme.gives_back_days)
        if charge.taken_back_on > last:
            return (
                nil(),
                f"By the rules of {scheme} nothing is owed back where a child leaves after {day_text(last)}.",
            )
    row = charges_with_open().get(pk=charge.pk)
    stands = as_amount(row.amount.amount - row.credited - row.written_off)
    owed = share_owed(scheme.gives_back, paid=voucher.amount, stands=stands, kept=charge.kept)
    if owed > nil():
        return owed, ""
    if scheme.gives_back == GivesBack.NOTHING:
        return nil(), f"By the rules of {scheme} nothing is owed back; write on its page if that has changed."
    return nil(), "The club keeps all of this fee by its own refund rule, so nothing of the voucher is owed back."


def charged_again(back: GiveBack) -> Charge | None:
    """The fee charged anew since it was given back, as where the child took its place up again."""
    fee = back.voucher.charge
    later = Charge.objects.filter(person=back.voucher.person, description=fee.description, taken_back_on=None)
    return later.filter(price__item__prices=fee.price, recorded_at__gt=back.recorded_at).exclude(pk=fee.pk).first()


def unpaid() -> QuerySet[GiveBack]:
    """Vouchers that are owed back and not paid yet."""
    return GiveBack.objects.filter(state="approved")


def owed_by_department() -> dict[int, Decimal]:
    """What is owed back to each department, by its party's id."""
    rows = unpaid().order_by().values_list("voucher__scheme__department").annotate(figure=sum_of("amount"))
    return dict(rows)
