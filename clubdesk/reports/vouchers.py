"""One voucher, or a sample, as an auditor of its scheme asks: all that stands behind it, read from every room."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from clubdesk.clock import day_text
from clubdesk.courses.models import Attendance
from clubdesk.fees import eligible
from clubdesk.fees.models import ClaimFile, GiveBack, Lodgement, Voucher, VoucherScheme
from clubdesk.fees.services.claiming import claims_of
from clubdesk.ledger.models import JournalEntry
from clubdesk.ledger.selectors import source_type
from clubdesk.membership.models import Membership
from clubdesk.money import nil, shown
from clubdesk.rangeday.models import SignOn

MOST = 60
NONE = "none"


@dataclass(frozen=True)
class Case:
    """A voucher with what stands behind it, as labels and values."""

    voucher: Voucher
    facts: Sequence[tuple[str, str]]


def population(scheme: VoucherScheme, year: int, through: int | None = None) -> QuerySet[Voucher]:
    """The vouchers of the scheme and year that were claimed, up to the one of that number."""
    rows = Voucher.objects.filter(scheme=scheme, calendar_year=year, lodgement__isnull=False).order_by("pk")
    return rows if through is None else rows.filter(pk__lte=through)


def drawn(numbers: Iterable[int], size: int, seed: str) -> list[int]:
    """The `size` numbers whose SHA-256 of “seed:number” comes first: whoever has the seed draws the same anywhere."""
    ranked = sorted(numbers, key=lambda number: hashlib.sha256(f"{seed}:{number}".encode()).hexdigest())
    return sorted(ranked[:size])


def cases(numbers: Sequence[int], today: date) -> list[Case]:
    """What stands behind each of these vouchers, in their order; as many questions for one as for many."""
    rows = Voucher.objects.filter(pk__in=numbers).order_by("pk").select_related(
        "scheme__department", "person", "charge__price__item", "first_charge__price__item", "charge__household",
        "lodgement", "window", "recorded_by",
    )  # fmt: skip
    vouchers = list(rows.prefetch_related("give_backs"))
    behind = _Behind(vouchers, today)
    return [Case(each, [*_child(each), *_fee(each), *_voucher(each), *behind.of(each)]) for each in vouchers]


def _child(voucher: Voucher) -> list[tuple[str, str]]:
    person, on = voucher.person, voucher.accepted_on
    first, last = eligible.born_between(voucher.scheme.ages, on)
    since = f"from {day_text(first)} " if first > date.min else ""
    return [
        ("Child", str(person)),
        ("Born", f"{day_text(person.birth_date)}; the scheme is for children born {since}to {day_text(last)}"),
    ]


def _fee(voucher: Voucher) -> list[tuple[str, str]]:
    fee = voucher.first_charge or voucher.charge
    price = fee.price
    in_force = f"{shown(price.amount)}, in force from {day_text(price.valid_from)}" if price else NONE
    taken = f"; credited on {day_text(fee.taken_back_on)}, {shown(fee.kept)} kept" if fee.taken_back_on else ""
    told = [
        ("Fee", f"{fee}, {shown(fee.amount)}"),
        ("Charged", f"{day_text(fee.charged_on)}, for what starts {day_text(fee.starts_on)}{taken}"),
        ("Price", in_force),
    ]
    return [*told, ("Pays now", str(voucher.charge))] if voucher.first_charge else told


def _voucher(voucher: Voucher) -> list[tuple[str, str]]:
    days = (("issued", voucher.issued_on), ("holds until", voucher.lapses_on), ("to be claimed by", voucher.claim_by))
    said = "".join(f", {what} {day_text(day)}" for what, day in days if day)
    state = f"{voucher.get_state_display()}{f': {voucher.end_reason}' if voucher.end_reason else ''}"
    window = f", window {voucher.window}" if voucher.window else ""
    return [
        ("Voucher", f"{voucher.masked_code}{said}{window}"),
        ("Taken", f"{day_text(voucher.accepted_on)} by {voucher.recorded_by}"),
        ("Claimed", shown(voucher.claimed)),
        ("State", state),
    ]


class _Behind:
    """What other rooms know of the vouchers: claims, files, payments with their entries, and who came."""

    def __init__(self, vouchers: Sequence[Voucher], today: date):
        claims = claims_of(vouchers)
        self.files: dict[int, list[ClaimFile]] = defaultdict(list)
        for file in ClaimFile.objects.filter(lodgement__in=claims).order_by("pk"):
            self.files[file.lodgement_id].append(file)
        self.entries: dict[tuple[str, int], list[int]] = defaultdict(list)
        backs = [back.pk for each in vouchers if (back := each.give_back)]
        for kind, numbers in ((Lodgement, claims), (Voucher, [each.pk for each in vouchers]), (GiveBack, backs)):
            name = source_type(kind)
            found = JournalEntry.objects.filter(source_type=name, source_id__in=numbers).order_by("number")
            for of, number in found.values_list("source_id", "number"):
                self.entries[name, of].append(number)
        charges = [each.first_charge_id or each.charge_id for each in vouchers] + [each.charge_id for each in vouchers]
        self.sessions: dict[int, list[date]] = defaultdict(list)
        came = Attendance.objects.filter(place__charge__in=charges).order_by("held_on")
        for charge, day in came.values_list("place__charge", "held_on"):
            self.sessions[charge].append(day)
        self.terms = {
            each.charge_id: (each.starts_on, min(each.ends_on, today))
            for each in Membership.objects.filter(charge__in=charges)
        }
        self.days: dict[int, list[date]] = defaultdict(list)
        shot = SignOn.objects.filter(person__in={each.person_id for each in vouchers}, cancelled_on=None)
        for person, day in shot.order_by("range_day__date").values_list("person", "range_day__date"):
            self.days[person].append(day)

    def of(self, voucher: Voucher) -> list[tuple[str, str]]:
        claim = voucher.lodgement
        told = [("Entries", self._numbers(source_type(Voucher), voucher.pk))]
        if claim is not None:
            reference = f", its reference {claim.reference}" if claim.reference else ""
            whole = claim.part_of_id or claim.pk
            told.append(("Claim", f"number {whole} of {day_text(claim.lodged_on)}{reference}"))
            kept = [f"{file} of {day_text(file.made_on)}, SHA-256 {file.file_digest}" for file in self.files[whole]]
            told.append(("Evidence", "; ".join(kept) or NONE))
            if claim.paid_on:
                told.append(("Paid", self._paid(voucher, claim, claim.paid_on)))
        back = voucher.give_back
        if back is not None:
            paid = f", paid {day_text(back.paid_on)}" if back.paid_on else ", not paid yet"
            entries = self._numbers(source_type(GiveBack), back.pk)
            told.append(("Given back", f"{shown(back.amount)}, invoice {back.invoice}{paid}; by entry {entries}"))
        return [*told, ("Attendance", self._came(voucher))]

    def _paid(self, voucher: Voucher, claim: Lodgement, paid_on: date) -> str:
        short = f", {shown(voucher.short_by)} less than was claimed" if voucher.short_by > nil() else ""
        entries = self._numbers(source_type(Lodgement), claim.pk)
        return f"{shown(voucher.paid_in)} on {day_text(paid_on)}{short}; with the claim by entry {entries}"

    def _numbers(self, kind: str, pk: int) -> str:
        return ", ".join(map(str, self.entries[kind, pk])) or NONE

    def _came(self, voucher: Voucher) -> str:
        """Sessions of the course that it paid, or range days within the membership that it paid, as the book knows."""
        charges = {voucher.first_charge_id or voucher.charge_id, voucher.charge_id}
        days = sorted({day for charge in charges for day in self.sessions[charge]})
        for charge in charges & self.terms.keys():
            first, last = self.terms[charge]
            days = sorted({*days, *(day for day in self.days[voucher.person_id] if first <= day <= last)})
        return f"{len(days)}: {', '.join(map(day_text, days))}" if days else "none recorded"
