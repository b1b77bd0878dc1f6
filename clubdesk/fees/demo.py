"""The part of the fees in the demo: what things cost, how families pay, and what becomes of their vouchers."""

from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, timedelta

from clubdesk import clock
from clubdesk.demoing import Demo, closed_on
from clubdesk.errors import Refused
from clubdesk.fees import selectors, services
from clubdesk.fees.models import (
    Charge,
    FeeItem,
    FeeKind,
    FeePrice,
    FeeShare,
    Lodgement,
    Method,
    Voucher,
    VoucherScheme,
    VoucherState,
    VoucherValue,
)
from clubdesk.ledger.models import Party, PartyKind, Role
from clubdesk.ledger.selectors import account
from clubdesk.money import as_amount, nil
from clubdesk.roll.demo import Cast
from clubdesk.roll.models import Household
from clubdesk.rooms import Scene

PRICES = (
    ("junior-membership", "Junior membership", FeeKind.MEMBERSHIP, Role.MEMBERSHIPS, 228),
    ("adult-membership", "Adult membership", FeeKind.MEMBERSHIP, Role.MEMBERSHIPS, 296),
    ("beginner-course", "Beginner course", FeeKind.COURSE, Role.COURSES, 126),
    ("beginner-course-adult", "Beginner course, adult", FeeKind.COURSE, Role.COURSES, 148),
    ("gear-hire", "Gear hire, member", FeeKind.HIRE, Role.HIRE, 7),
    ("visitor", "Visitor with gear", FeeKind.VISITOR, Role.VISITORS, 15),
    ("parent-beside", "Parent beside a child", FeeKind.BESIDE, Role.HIRE, 7),
)


BROUGHT_IN = ((7, Role.MEMBERSHIPS, "228.00"), (12, Role.COURSES, "118.00"), (16, Role.MEMBERSHIPS, "-40.00"))
"""Which junior's family owed (or, below nil, had paid ahead) what, and for what."""


@dataclass
class AskedBack:
    """Families who asked for their credit; the next payment run pays them."""

    families: list[Household] = field(default_factory=list)


def begin(demo: Demo) -> None:
    state = Party.objects.create(name="State archery association", kind=PartyKind.ASSOCIATION)
    national = Party.objects.create(name="National archery body", kind=PartyKind.ASSOCIATION)
    prices = {}
    for code, name, kind, role, amount in PRICES:
        item = FeeItem.objects.create(code=code, name=name, kind=kind, income_account=account(role))
        prices[code] = FeePrice.objects.create(item=item, valid_from=demo.year_before, amount=as_amount(amount))
    for code, party, share in (
        ("junior-membership", state, 71),
        ("junior-membership", national, 45),
        ("adult-membership", state, 92),
        ("adult-membership", national, 58),
    ):
        payable = account(Role.AFFILIATION_PAYABLE)
        FeeShare.objects.create(price=prices[code], account=payable, party=party, amount=as_amount(share))
    FeeShare.objects.create(price=prices["visitor"], account=account(Role.HIRE), amount=as_amount(7))
    department = Party.objects.create(name="Department for Sport", kind=PartyKind.DEPARTMENT)
    scheme = VoucherScheme.objects.create(name="State sport voucher", department=department)
    for years, worth in ((0, 100), (1, 150), (2, 150)):
        year = demo.last_year.year + years
        VoucherValue.objects.create(scheme=scheme, calendar_year=year, amount=as_amount(worth))
    _bring_in(demo)


def _bring_in(demo: Demo) -> None:
    """What three families owed, or had paid ahead, by the paper books."""
    juniors = demo.part(Cast).juniors
    items = [
        services.OpenItem(juniors[place].household, as_amount(text), account(role)) for place, role, text in BROUGHT_IN
    ]
    services.bring_in_balances(items=items, by=demo.users["treasurer"])
    for item in items:
        pays_in_time(demo, demo.last_year, item.household)


def plan(demo: Demo, start: date) -> None:
    for lodged in (*(clock.months_later(start, months) + timedelta(days=14) for months in (2, 8)), closed_on(start)):
        demo.at(lodged, lodge_vouchers)
        demo.at(lodged + timedelta(weeks=3), department_answers)
    demo.at(start + timedelta(days=40), pay_twice)


def pays_in_time(demo: Demo, day: date, household: Household) -> None:
    """The household pays what it then owes, in some days and by some means."""
    demo.at(day + timedelta(days=demo.chance.randint(3, 30)), pay, household)


def pay(demo: Demo, day: date, household: Household) -> None:
    owed = selectors.balance(household)
    if owed > nil():
        services.record_receipt(
            household=household,
            amount=owed,
            method=demo.chance.choices((Method.TRANSFER, Method.CARD, Method.CASH), (6, 2, 1))[0],
            on=day,
            by=demo.users["coordinator"],
            reference="fees",
        )


def pay_twice(demo: Demo, day: date) -> None:
    """One family pays twice and stays in credit."""
    services.record_receipt(
        household=demo.part(Cast).juniors[5].household,
        amount=as_amount(128),
        method=Method.TRANSFER,
        on=day,
        by=demo.users["coordinator"],
        reference="paid again by mistake",
    )


def ask_back(demo: Demo, day: date, household: Household) -> None:
    """The family asks for its credit; it goes into the next payment run."""
    if selectors.unused_credit(household) > nil():
        demo.part(AskedBack).families.append(household)


def hand_in_voucher(demo: Demo, day: date, charge: Charge) -> None:
    code = f"SV{demo.chance.randint(10**7, 10**8 - 1)}"
    with suppress(Refused):  # the child used this calendar year's voucher before
        services.accept_voucher(
            scheme=VoucherScheme.objects.get(), charge=charge, code=code, on=day, by=demo.users["coordinator"]
        )


def lodge_vouchers(demo: Demo, day: date) -> None:
    if Voucher.objects.filter(state=VoucherState.ACCEPTED).exists():
        services.lodge_vouchers(scheme=VoucherScheme.objects.get(), on=day, by=demo.users["coordinator"])


def department_answers(demo: Demo, day: date) -> None:
    """The department refuses one voucher of the batch and pays the others in one sum."""
    lodgement = Lodgement.objects.filter(paid_on=None).first()
    voucher = lodgement.vouchers.order_by("pk").first() if lodgement else None
    if lodgement and voucher:
        reason = "the voucher was used at another club"
        services.refuse_voucher(voucher=voucher, on=day, reason=reason, by=demo.users["treasurer"])
        services.record_lodgement_paid(lodgement=lodgement, on=day, by=demo.users["treasurer"])


SCENES = (Scene(begin=begin, plan=plan),)
