"""Questions about fees. Figures are `Money`, or `Decimal` where a mapping of many is given."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from typing import Any, Protocol, TypeVar

from django.db.models import Exists, F, Func, Model, OuterRef, Prefetch, Q, QuerySet, Subquery, prefetch_related_objects
from django.db.models.functions import Least
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.fees import eligible
from clubdesk.fees.models import (
    NOTHING_CLAIMED,
    Allocation,
    Charge,
    ChargeCredit,
    ChargeShare,
    FeeItem,
    FeeKind,
    FeePrice,
    FeeShare,
    GiveBack,
    Lodgement,
    PaidBack,
    Receipt,
    Repayment,
    TiedCredit,
    Voucher,
    VoucherScheme,
    VoucherState,
    VoucherValue,
    WriteOff,
)
from clubdesk.ledger.models import FinancialYear, JournalEntry, Posting, Role
from clubdesk.ledger.selectors import ZERO, party_balance, source_type
from clubdesk.money import Figure, as_amount, figure_of, shown, sum_of, total
from clubdesk.roll.models import Belonging, Household, Person

Row = TypeVar("Row", bound=Model)
STANDING_VOUCHER = ~Q(state__in=NOTHING_CLAIMED)
STANDING = Q(cancelled_on=None)
Back = TypeVar("Back", bound=PaidBack)


def decided_for_their_family(documents: type[Back]) -> QuerySet[Back]:
    """Those decided by somebody who belonged to the family when it was asked for, or since and before they decided."""
    entries = JournalEntry.objects.filter(source_type=documents._meta.label_lower, source_id=OuterRef("pk"))
    own = Belonging.objects.filter(
        Q(ended_at=None) | Q(ended_at__gte=OuterRef("recorded_at")),
        Q(added_at__lt=OuterRef("approved_at")) | Q(added_at__date__lt=OuterRef("decided_on")),
        household=OuterRef("household"),
        user=OuterRef("decided_by"),
    )
    approved_at = Subquery(entries.filter(purpose="approve").values("posted_at")[:1])
    rows: QuerySet[Back] = documents._default_manager.filter(decided_by__isnull=False)
    return rows.filter(pk__in=rows.alias(approved_at=approved_at).filter(Exists(own)).values("pk"))


def price_on(item: FeeItem, day: date) -> FeePrice:
    """The price of `item` on `day`, or Refused where the schedule has none."""
    price = FeePrice.objects.filter(item=item, valid_from__lte=day).order_by("-valid_from").first()
    if price is None or price.has_ended_by(day):
        raise Refused(f"The fee schedule has no price for {item} on {day_text(day)}; add one first.")
    price.item = item
    return price


def prices_on(wanted: Iterable[tuple[int, date]]) -> dict[tuple[int, date], FeePrice]:
    """The price of each of the items (by id) on its day, where the schedule has one; read at once."""
    asked = set(wanted)
    rows = FeePrice.objects.filter(item__in={item for item, _ in asked}).order_by("valid_from")
    prices: dict[int, list[FeePrice]] = defaultdict(list)
    for row in rows:
        prices[row.item_id].append(row)
    found = {}
    for item, day in asked:
        begun = [row for row in prices[item] if row.valid_from <= day]
        if begun and not begun[-1].has_ended_by(day):
            found[item, day] = begun[-1]
    return found


def have_price(wanted: Iterable[tuple[int, date]]) -> set[tuple[int, date]]:
    """Which of the items (by id), each on its day, the schedule has a price for; read at once."""
    return set(prices_on(wanted))


def price_of_kind(kind: FeeKind, day: date) -> FeePrice:
    """The price of the one item of `kind`, or Refused where the schedule has none."""
    if price := schedule_of([kind], day).get(kind):
        return price
    item = FeeItem.objects.filter(kind=kind).order_by("pk").first()
    if item is None:
        raise Refused(f"The fee schedule has no item of the kind “{FeeKind(kind).label}”; add one first.")
    return price_on(item, day)


def schedule_of(kinds: Iterable[FeeKind], day: date) -> dict[FeeKind, FeePrice]:
    """The prices of these kinds on that day, with their shares, read at once; a kind without one is not in it.

    Where two items are of one kind, the first counts, as in `price_of_kind`.
    """
    rows = FeePrice.objects.filter(item__kind__in=list(kinds), valid_from__lte=day)
    rows = rows.select_related("item__income_account").annotate(has_shares=SHARED)
    found = {FeeKind(row.item.kind): row for row in rows.order_by("-item_id", "valid_from")}
    standing: dict[FeeKind, FeePrice] = {kind: row for kind, row in found.items() if not row.has_ended_by(day)}
    shares = Prefetch("shares", FeeShare.objects.select_related("account", "party"))
    prefetch_related_objects([row for row in standing.values() if vars(row)["has_shares"]], shares)
    return standing


SHARED = Exists(FeeShare.objects.filter(price=OuterRef("pk")))


def shares_of_price(price: FeePrice) -> list[FeeShare]:
    """What others get of it; not asked where it was read with the answer that nobody gets any."""
    if not getattr(price, "has_shares", True):
        return []
    if "shares" in getattr(price, "_prefetched_objects_cache", {}):
        return list(price.shares.all())
    return list(price.shares.select_related("account", "party"))


def shares_of(charge: Charge) -> list[ChargeShare]:
    return list(charge.shares.select_related("account", "party"))


class SumPer(Func):
    """For each row the figure of what points at it by `key`, zero where nothing does.

    Fixed text: every verb about fees asks for several of these, and Django would draw a subquery anew each time.
    """

    template = "(SELECT COALESCE(SUM(%(column)s), 0) FROM %(table)s WHERE %(key)s_id = %(expressions)s AND %(where)s)"

    def __init__(self, model: type[Model], key: str, where: str = "1 = 1", column: str = "amount"):
        table = model._meta.db_table
        super().__init__("pk", table=table, key=key, where=where, column=column, output_field=Figure())


CLAIMED = f"state NOT IN ({', '.join(repr(str(state.value)) for state in NOTHING_CLAIMED)})"
PAID_BY_TIED = "EXISTS (SELECT 1 FROM fees_tiedcredit t WHERE t.id = fees_allocation.tied_id AND t.freed_on IS NULL)"
NOT_CANCELLED, NOT_FREED = "cancelled_on IS NULL", "freed_on IS NULL"


class Settled(Protocol):
    """A charge with what settles it, as `charges_with_open` gives it."""

    open_amount: Decimal


def charges_with_open() -> QuerySet[Any]:
    """Charges with what settles them, as Decimal: `credited`, `by_voucher`, `by_receipt`, `written_off`.

    `creditable` is what is neither credited, written off nor paid by a voucher, `open_amount` what is still to pay.
    """
    return Charge.objects.annotate(
        credited=SumPer(ChargeCredit, "charge", NOT_CANCELLED),
        by_voucher=SumPer(Voucher, "charge", CLAIMED),
        by_receipt=SumPer(Allocation, "charge", NOT_FREED),
        written_off=SumPer(WriteOff, "charge", NOT_CANCELLED),
    ).annotate(
        creditable=F("amount") - F("credited") - F("by_voucher") - F("written_off"),
        open_amount=F("amount") - F("credited") - F("by_voucher") - F("written_off") - F("by_receipt"),
    )


def open_charges(household: Household) -> QuerySet[Any]:
    """The household's charges with something still to pay, oldest first."""
    return charges_with_open().filter(household=household, open_amount__gt=0).order_by("charged_on", "pk")


def receipts_with_unused() -> QuerySet[Any]:
    """Receipts that stand, with `unused` (Decimal): what pays no charge yet, the household's credit.

    `tied_up` is what of a receipt vouchers have tied, used or not.
    """
    return (
        Receipt.objects.filter(cancelled_on=None)
        .annotate(used=SumPer(Allocation, "receipt", NOT_FREED), tied_up=SumPer(TiedCredit, "receipt", NOT_FREED))
        .annotate(unused=F("amount") - F("used"))
    )


def receipts_with_payable() -> QuerySet[Any]:
    """The same with `payable` (Decimal): what of `unused` may be paid back, since no voucher took its place."""
    rows = receipts_with_unused().annotate(
        repaid=SumPer(Allocation, "receipt", f"repayment_id IS NOT NULL AND {NOT_FREED}"),
        own_used=SumPer(Allocation, "receipt", f"charge_id IS NOT NULL AND {NOT_FREED} AND NOT {PAID_BY_TIED}"),
    )
    own = F("amount") - F("tied_up") - F("repaid") - F("own_used")
    found: QuerySet[Any] = rows.annotate(payable=Least(F("unused"), own, output_field=Figure()))
    return found


def payable_of(receipt: Receipt) -> Decimal:
    """What of a receipt may be paid back."""
    payable: Decimal = receipts_with_payable().get(pk=receipt.pk).payable
    return max(payable, ZERO)


def ties_with_unused(receipt: Receipt) -> Iterable[Any]:
    """What vouchers have tied of the receipt, with `unused` (Decimal): what of that pays no charge now.

    Nothing is asked where the receipt was read with the answer that nothing is.
    """
    if not getattr(receipt, "tied_up", True):
        return ()
    rows = TiedCredit.objects.filter(receipt=receipt, freed_on=None)
    return rows.annotate(unused=F("amount") - SumPer(Allocation, "tied", NOT_FREED)).order_by("pk")


def paid_back_beyond() -> QuerySet[Any]:
    """Repayments that no receipt covers whole, with `open_amount` (Decimal): what the household owes of them."""
    return (
        Repayment.objects.filter(returned_on=None)
        .annotate(open_amount=F("amount") - SumPer(Allocation, "repayment", NOT_FREED))
        .filter(open_amount__gt=0)
    )


def cancelled_meanwhile(household: Household) -> Money:
    """What receipts of the household came to that were cancelled, less what it was paid back beyond its receipts."""
    cancelled = Receipt.objects.filter(household=household).exclude(cancelled_on=None)
    beyond = paid_back_beyond().filter(household=household)
    came = cancelled.aggregate(figure=sum_of("amount"))["figure"]
    owed = beyond.aggregate(figure=sum_of("open_amount"))["figure"]
    return as_amount(max(came - owed, ZERO))


def families_of(charges: Iterable[int]) -> set[int]:
    """Who pays the charges (by their ids), and whose children they are for; by the households' ids."""
    rows = Charge.objects.filter(pk__in=list(charges)).values_list("household", "person__household")
    return {pk for row in rows for pk in row if pk}


def credited(charge: Charge) -> Money:
    return as_amount(charge.credits.filter(STANDING).aggregate(figure=sum_of("amount"))["figure"])


def open_amount(charge: Charge) -> Money:
    return as_amount(charges_with_open().get(pk=charge.pk).open_amount)


def creditable(charge: Charge) -> Money:
    """What of a charge can still be credited: all that is neither credited nor paid by a voucher."""
    return as_amount(charges_with_open().get(pk=charge.pk).creditable)


def carried_for(household: Household, people: Iterable[Person]) -> QuerySet[Charge]:
    """Fees of these children that were called off, and of which vouchers that are claimed wait for the next."""
    claimed = Voucher.objects.filter(STANDING_VOUCHER, charge=OuterRef("pk"))
    rows = Charge.objects.filter(Exists(claimed), household=household, person__in=list(people))
    return rows.exclude(carried_on=None).order_by("pk")


def paid_no_debt(before: date) -> QuerySet[ChargeCredit]:
    """Credits that only answer what a voucher no longer pays, so that nothing is owed less by them.

    The voucher pays another fee since, or was refused or given back; one that was taken by `before`, where it ended.
    """
    own = Voucher.objects.filter(charge=OuterRef("charge"))
    passed_on = Voucher.objects.filter(first_charge=OuterRef("charge")).exclude(charge=OuterRef("charge"))
    handed = Exists(passed_on) | Q(
        Exists(Charge.objects.filter(pk=OuterRef("charge"), carried_on__isnull=False)), ~Exists(own)
    )
    last = ChargeCredit.objects.filter(STANDING, charge=OuterRef("charge")).order_by("-pk").values("pk")[:1]
    refused = own.filter(state=VoucherState.REFUSED, accepted_on__lte=before, ended_on=OuterRef("credited_on"))
    given_back = GiveBack.objects.filter(credit=OuterRef("pk"), undone_on=None, voucher__accepted_on__lte=before)
    return ChargeCredit.objects.filter(Exists(refused) | Exists(given_back) | Q(handed, pk=Subquery(last)))


def vouchers_for_a_next_fee() -> QuerySet[Voucher]:
    """Vouchers that were claimed for what was called off since, and that no fee of the child has come for yet."""
    return Voucher.objects.filter(STANDING_VOUCHER, charge__carried_on__isnull=False)


@dataclass(frozen=True)
class TakenBack:
    """What taking fees back comes to. `fee` was due before, by whomever, what was written off left out; `credited` is
    owed by nobody any more.

    `kept` stays with the club, and `claimed` of it from vouchers that the department was asked for already.
    `to_credit` is what the family has paid and has now for something else. Vouchers not lodged yet pay
    `by_voucher` of what is kept and are free of `voucher_freed`.
    """

    fee: Money
    credited: Money
    kept: Money
    claimed: Money
    to_credit: Money
    by_voucher: Money
    voucher_freed: Money


def if_taken_back(charge: Charge, keep: Money) -> TakenBack:
    """What taking the charge back but for `keep` would come to; one taken back before keeps no more than then."""
    row = charges_with_open().get(pk=charge.pk)
    unlodged = charge.vouchers.filter(state=VoucherState.ACCEPTED).aggregate(figure=sum_of("amount"))["figure"]
    claimed, fee = row.by_voucher - unlodged, row.amount.amount - row.credited - row.written_off
    wanted = min(keep.amount, row.kept.amount if row.taken_back_on else row.amount.amount)
    credited_now = max(min(row.amount.amount - row.credited - wanted, fee - claimed), ZERO)
    kept = fee - credited_now
    by_voucher = min(unlodged, kept - claimed)
    due = kept - claimed - by_voucher
    figures = (fee, credited_now, kept, claimed, max(row.by_receipt - due, ZERO), by_voucher, unlodged - by_voucher)
    return TakenBack(*map(as_amount, figures))


def all_taken_back(parts: Iterable[TakenBack]) -> TakenBack:
    """Several taken together."""
    together = list(parts)
    return TakenBack(*(total(getattr(part, field.name) for part in together) for field in fields(TakenBack)))


def balance(household: Household) -> Money:
    """What the household owes by the ledger; negative where it is in credit."""
    return as_amount(party_balance(Role.FEES_OWED, household.party_id))


def unused_credit(household: Household) -> Money:
    """What the household has paid beyond its charges."""
    rows = receipts_with_unused().filter(household=household, unused__gt=0)
    return total(as_amount(row.unused) for row in rows)


def payable_credit(household: Household) -> Money:
    """What of its credit may be paid back to the household: all but what a voucher gave it, where that is forbidden."""
    rows = receipts_with_payable().filter(household=household, payable__gt=0)
    return total(as_amount(row.payable) for row in rows)


def balance_in_words(household: Household) -> str:
    owed = balance(household).amount
    if owed > 0:
        return f"owes {shown(owed)}"
    return f"in credit by {shown(-owed)}" if owed else "owes nothing"


def household_detail() -> dict[int, Decimal]:
    """What each household owes by its documents, by party id: charges less credits, vouchers and receipts."""
    found: dict[int, Decimal] = {}

    def add(rows: QuerySet[Row], path: str, sign: int) -> None:
        for party_id, figure in rows.order_by().values_list(path).annotate(figure=sum_of("amount")):
            found[party_id] = found.get(party_id, ZERO) + sign * figure

    add(Charge.objects.all(), "household__party_id", 1)
    add(ChargeCredit.objects.filter(STANDING), "charge__household__party_id", -1)
    add(Voucher.objects.filter(STANDING_VOUCHER), "charge__household__party_id", -1)
    add(Receipt.objects.filter(cancelled_on=None), "household__party_id", -1)
    add(Repayment.objects.filter(returned_on=None), "household__party_id", 1)
    add(WriteOff.objects.filter(STANDING), "charge__household__party_id", -1)
    return found


def vouchers_of(lodgement: Lodgement) -> QuerySet[Voucher]:
    """What was sent to the department with a lodgement, also what it has paid of it in parts."""
    return Voucher.objects.filter(Q(lodgement=lodgement) | Q(lodgement__part_of=lodgement)).order_by("pk")


def value_for(scheme: VoucherScheme, day: date) -> VoucherValue:
    """What the scheme's voucher is worth in its year of `day`, and until when it is claimed; or Refused."""
    year = eligible.year_of(day, scheme.year_begins)
    value = scheme.values.filter(calendar_year=year).first()
    if value is None:
        raise Refused(f"{scheme} has no value for {year}; add it first.")
    return value


def value_of_voucher(scheme: VoucherScheme, day: date) -> Money:
    """What the scheme's voucher is worth in its year of `day`, or Refused."""
    worth: Money = value_for(scheme, day).amount
    return worth


def has_an_answer(claim: Lodgement) -> bool:
    """Whether the department has paid or refused any voucher of it."""
    return claim.paid_on is not None or claim.vouchers.exclude(state=VoucherState.LODGED).exists()


def pays_kind(scheme: VoucherScheme, kind: str) -> bool:
    """Whether the scheme pays fees of this kind."""
    pays = {FeeKind.MEMBERSHIP: scheme.pays_memberships, FeeKind.COURSE: scheme.pays_courses}
    return pays.get(FeeKind(kind), scheme.pays_other)


def is_for(scheme: VoucherScheme, person: Person, kind: FeeKind, day: date) -> bool:
    """Whether the scheme pays a fee of this kind for somebody of that birthday."""
    return eligible.is_of_age(scheme.ages, person.birth_date, day) and pays_kind(scheme, kind)


def kept_by_vouchers(charge: Charge) -> Money:
    """What vouchers that stand pay of the charge."""
    return as_amount(charges_with_open().get(pk=charge.pk).by_voucher)


def earned_by_charge(year: FinancialYear, **which: object) -> dict[int | None, Decimal]:
    """What accounts earned in the year by the ledger, by the charge behind it; None for what came otherwise.

    `which` says of which accounts, for instance `account__role=Role.COURSES`.
    """
    charges = dict(ChargeCredit.objects.order_by().values_list("pk", "charge"))
    rows: QuerySet[Any, Any] = Posting.objects.filter(entry__year=year, entry__is_closing=False, **which)
    rows = rows.order_by().values_list(
        figure_of("amount"), "entry__source_type", "entry__source_id", "entry__reverses__source_type",
        "entry__reverses__source_id",
    )  # fmt: skip
    found: dict[int | None, Decimal] = defaultdict(lambda: ZERO)
    for amount, own, own_id, undone, undone_id in rows.iterator(chunk_size=5000):
        kind, pk = undone or own, undone_id or own_id
        charge = {source_type(Charge): pk, source_type(ChargeCredit): charges.get(pk)}.get(kind)
        found[charge] -= amount
    return dict(found)


def charges_to_recognise(on: date) -> QuerySet[Any]:
    """Charges whose thing has started by `on` and whose income still waits in Fees in advance."""
    return (
        charges_with_open()
        .filter(starts_on__lte=on, starts_on__gt=F("charged_on"), recognised_on=None, carried_on=None)
        .filter(amount__gt=F("credited"))
        .order_by("starts_on", "pk")
    )


def in_advance_detail() -> Decimal:
    """What waits in Fees in advance by the documents; the GST in it does not, since it is owed at once."""
    waiting = charges_with_open().filter(starts_on__gt=F("charged_on"), recognised_on=None)
    waiting = waiting.annotate(tax_back=SumPer(ChargeCredit, "charge", NOT_CANCELLED, column="tax"))
    figures: dict[str, Decimal] = waiting.aggregate(
        charged=sum_of("amount"),
        taken_back=sum_of("credited"),
        owed_at_once=sum_of("tax"),
        given_back=sum_of("tax_back"),
    )
    return figures["charged"] - figures["taken_back"] - figures["owed_at_once"] + figures["given_back"]
