"""What families and the department still owe, as lines of a bank statement may show it."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from operator import attrgetter

from django.db.models import Prefetch

from clubdesk.expecting import Expected
from clubdesk.fees.models import Lodgement, Voucher, VoucherState
from clubdesk.fees.selectors import charges_with_open
from clubdesk.money import cents_of, nil, total
from clubdesk.roll.models import Guardian, Person
from clubdesk.roll.selectors import references_of

OWED_EARLY, OWED_LATE = 60, 400
LODGED_LATE = 150


def owed(since: date) -> Iterator[Expected]:
    """Fees charged since that day and not paid in full."""
    charges = list(charges_with_open().filter(open_amount__gt=0, charged_on__gte=since).select_related("household"))
    names = names_of({charge.household_id for charge in charges})
    references = references_of({charge.household for charge in charges})
    for charge in charges:
        home = charge.household_id
        yield Expected(
            key=f"charge {charge.pk}",
            day=charge.charged_on,
            cents=int(charge.open_amount * 100),
            what=f"{charge.household} pays {charge}",
            names=names.get(home, ()),
            references=tuple(references[home]),
            payer=f"family {home}",
            early=OWED_EARLY,
            late=OWED_LATE,
            loose=True,
        )


def lodged(since: date) -> Iterator[Expected]:
    """Lists of vouchers that the department has not paid, however old."""
    with_child = Prefetch("vouchers", Voucher.objects.select_related("person"))
    rows = Lodgement.objects.filter(paid_on=None).select_related("scheme").prefetch_related(with_child)
    for lodgement in rows:
        vouchers = [each for each in lodgement.vouchers.all() if each.state == VoucherState.LODGED]
        amount = total(each.amount for each in vouchers)
        if amount > nil():
            yield Expected(
                key=f"lodgement {lodgement.pk}",
                day=lodgement.lodged_on,
                cents=cents_of(amount),
                what=f"the department pays {lodgement}",
                references=(f"lodgement {lodgement.pk}", *([lodgement.reference] if lodgement.reference else [])),
                early=0,
                late=LODGED_LATE,
                parts=tuple(_part(each) for each in sorted(vouchers, key=attrgetter("pk"))),
            )


def _part(voucher: Voucher) -> Expected:
    """A voucher of a list, of which the department may pay some alone."""
    return Expected(
        key=f"voucher {voucher.pk}",
        day=voucher.accepted_on,
        cents=cents_of(voucher.amount),
        what=f"the department pays the voucher of {voucher.person}, of voucher claim {voucher.lodgement_id}",
        batch=f"lodgement {voucher.lodgement_id}",
    )


def names_of(households: set[int]) -> dict[int, tuple[tuple[str, str], ...]]:
    """The people and guardians of households as pairs of given and family name, by the household's id."""
    names: dict[int, set[tuple[str, str]]] = defaultdict(set)
    people = Person.objects.filter(household__in=households, erased_on=None)
    for home, given, family in people.values_list("household", "given_name", "family_name"):
        names[home].add((given, family))
    for home, name in Guardian.objects.filter(household__in=households).values_list("household", "name"):
        given, _, family = name.rpartition(" ")
        names[home].add((given, family))
    return {home: tuple(sorted(found)) for home, found in names.items()}
