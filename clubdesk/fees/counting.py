"""How many vouchers of a scheme a child has used, when the next of them may be taken, and for which fees."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.db.models import QuerySet

from clubdesk.clock import day_text
from clubdesk.families import PaidFor
from clubdesk.fees import eligible
from clubdesk.fees.models import Charge, FeeKind, Voucher, VoucherScheme, VoucherWindow
from clubdesk.fees.selectors import STANDING_VOUCHER, pays_kind
from clubdesk.roll.models import Person


def used_in(scheme: VoucherScheme, person: Person, year: int) -> QuerySet[Voucher]:
    """The child's vouchers of the scheme that stand, of that year of the scheme."""
    return Voucher.objects.filter(STANDING_VOUCHER, scheme=scheme, person=person, calendar_year=year)


def window_of(
    scheme: VoucherScheme, day: date, windows: Sequence[VoucherWindow] | None = None
) -> tuple[VoucherWindow | None, str]:
    """The window of the scheme that is open on that day, and else, where it has any, why none is taken then.

    `windows` are those of the scheme, where they are read already.
    """
    windows = list(scheme.windows.all()) if windows is None else windows
    found = eligible.window_on(windows, day, scheme.year_begins)
    if found or not windows:
        return found, ""
    opens = eligible.opens_next(windows, day, scheme.year_begins)
    return None, f"No voucher of {scheme} is taken on {day_text(day)}; the next can be from {day_text(opens)} on."


def why_no_more(scheme: VoucherScheme, person: Person, year: int, window: VoucherWindow | None) -> str:
    """Why the child has no voucher left in that year or window, as a sentence; blank where it has one."""
    used = list(used_in(scheme, person, year))
    times = "a voucher" if len(used) == 1 else f"{len(used)} vouchers"
    if len(used) >= scheme.per_year:
        return f"{person} has used {times} of {scheme} in {year_in_words(scheme, year)} already."
    if window and sum(1 for each in used if each.window_id == window.pk) >= window.allows:
        return f"{person} has used the voucher of {scheme} for {window} {year} already."
    return ""


def why_not_for(scheme: VoucherScheme, item: PaidFor, charged_on: date, on: date) -> str:
    """Why the scheme does not pay that fee by a voucher taken on `on`, as a sentence; blank where it does."""
    if not pays_kind(scheme, item.kind):
        return f"{scheme} does not pay a fee of this kind ({FeeKind(item.kind).label.lower()})."
    for name, least, has in (
        ("sessions", scheme.least_sessions or 0, item.sessions),
        ("weeks", scheme.least_weeks or 0, item.weeks),
    ):
        if least and has is None:
            return f"{scheme} pays for {least} {name} at least; write on the fee “{item}” how many it has."
        if has is not None and has < least:
            return f"{scheme} pays for {least} {name} at least; {item} has {has}."
    if scheme.registration_days is not None:
        last = charged_on + timedelta(days=scheme.registration_days)
        if on > last:
            return (
                f"{scheme} is taken only at registration, for this fee until {day_text(last)}; "
                "keep the voucher for the next fee."
            )
    return ""


def year_in_words(scheme: VoucherScheme, year: int) -> str:
    """“2026”, and of a year that is not the calendar's “2026/27”."""
    return str(year) if scheme.year_begins == 1 else f"{year}/{(year + 1) % 100:02}"


def stands_on(scheme: VoucherScheme, charge: Charge) -> bool:
    """Whether a voucher of the scheme pays the fee already."""
    return charge.vouchers.filter(STANDING_VOUCHER, scheme=scheme).exists()


def is_used(scheme: VoucherScheme, code: str) -> bool:
    """Whether a voucher of the scheme with that code stands; a number of a child is used again each time."""
    return not scheme.of_child and Voucher.objects.filter(STANDING_VOUCHER, scheme=scheme, code=code).exists()


def used_up(voucher: Voucher, charge: Charge) -> bool:
    """Whether a voucher that was not claimed can no longer be taken for the charge."""
    scheme = voucher.scheme
    return (
        bool(why_no_more(scheme, voucher.person, voucher.calendar_year, voucher.window))
        or is_used(scheme, voucher.code)
        or (scheme.one_a_fee and stands_on(scheme, charge))
    )
