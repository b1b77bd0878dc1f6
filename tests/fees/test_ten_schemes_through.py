"""Ten schemes from taking a voucher to giving it back: lapses, windows, claims, answers, and the accounts each day.

What each day must come to is reckoned here by a plain tally of the acts, which shares no code with the rooms.
"""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal
from itertools import count

import pytest
from stdnum import luhn

from clubdesk.errors import Refused
from clubdesk.fees import services
from clubdesk.fees.claimfile import reference_of
from clubdesk.fees.models import GivesBack, Holds, VoucherScheme
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount
from tests import factories
from tests.fees import ten_schemes as ten

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
FIRST, FEE = date(2026, 8, 3), Decimal(240)
BORN = date(2014, 3, 9)
RULES = (GivesBack.REST, GivesBack.WHOLE, GivesBack.NOTHING)
KEPT = Decimal(30)
TEMPLATE = (
    ("Key", Holds.KEY), ("Ref", Holds.REFERENCE), ("Sum", Holds.AMOUNT), ("Paid", Holds.PAID), ("Why", Holds.REASON),
)  # fmt: skip
NUMBERS = count(1)
WEIGHTS = (1, 3, 7, 9, 1, 3, 7, 9)


def key_of(scheme):
    """A key of the scheme's form; of the one that has a check digit, with the right one."""
    number = next(NUMBERS)
    if scheme.check_digit == "weighted":
        head = f"{21000000 + number}"
        return f"{head}{sum(int(sign) * by for sign, by in zip(head, WEIGHTS, strict=True)) % 10}11"
    if scheme.check_digit == "luhn":
        head = f"{4400000 + number}"
        return head + luhn.calc_check_digit(head)
    signs = {"#": "7", "@": "A", "*": "7"}
    form = scheme.code_form or "CODE####"
    made = "".join(signs.get(sign, sign) for sign in form)
    return made[: -len(str(number))] + str(number)


class Tally:
    """What the accounts must show: nothing but additions."""

    def __init__(self):
        self.owed = self.bank = self.back = self.families = Decimal(0)

    def holds_on(self, day):
        assert balance(Role.VOUCHERS_OWED, day) == self.owed
        assert balance(Role.BANK, day) == self.bank
        assert -balance(Role.OTHER_PAYABLES, day) == self.back
        assert balance(Role.FEES_OWED, day) == self.families
        assert [fault for result in check_all() for fault in result.faults] == []


def an_answer(vouchers, paid):
    file = io.StringIO()
    writer = csv.writer(file)
    writer.writerow(["Ref", "Paid", "Why"])
    for voucher in vouchers:
        amount = paid.get(voucher.pk)
        writer.writerow([reference_of(voucher), amount or "", "" if amount else "used elsewhere"])
    return file.getvalue().encode()


@pytest.mark.parametrize("told", ten.TEN, ids=lambda scheme: scheme.name)
def test_from_taking_to_giving_back(book, by, told):
    """Three children: one whose voucher is paid and who stays, one whose is refused, one who leaves once it is paid."""
    scheme = told.entered()
    for place, (heading, holds) in enumerate(TEMPLATE, 1):
        scheme.claim_columns.create(place=place, heading=heading, holds=holds)
    rule = RULES[ten.TEN.index(told) % len(RULES)]
    VoucherScheme.objects.filter(pk=scheme.pk).update(gives_back=rule)
    scheme.refresh_from_db()
    tally, worth = Tally(), min(Decimal(told.worth), FEE)
    price = factories.price(amount=str(FEE))
    price.item.sessions = price.item.weeks = 60
    price.item.save()
    vouchers = []
    for _ in range(3):
        child = factories.PersonFactory(birth_date=BORN)
        charge = services.charge(household=child.household, person=child, price=price, on=FIRST, starts_on=FIRST, by=by)
        vouchers.append(
            services.accept_voucher(scheme=scheme, charge=charge, code=key_of(scheme), on=FIRST, by=by, issued_on=FIRST)
        )
        tally.owed += worth
        tally.families += FEE - worth
    tally.holds_on(FIRST)

    claim = services.lodge_vouchers(scheme=scheme, on=FIRST + timedelta(days=1), by=by)
    sent = claim.files.get()
    assert (sent.rows, sent.amount.amount) == (3, 3 * worth)
    stays, _, leaves = vouchers
    content = an_answer(vouchers, {stays.pk: worth, leaves.pk: worth})
    day = FIRST + timedelta(days=9)
    for _ in range(2):
        services.take_answer(lodgement=claim, content=content, on=day, by=by)
    tally.owed -= 3 * worth
    tally.bank += 2 * worth
    tally.families += worth
    tally.holds_on(day)

    day += timedelta(days=1)
    services.take_back(charge=leaves.charge, on=day, reason="left", by=by, keep=as_amount(KEPT))
    stands = max(worth, KEPT)
    tally.families -= FEE - stands
    tally.holds_on(day)

    day += timedelta(days=1)
    asked = {"invoice": "INV 7", "pay_to": "012-003 4500123", "reason": "left"}
    owed = {GivesBack.NOTHING: Decimal(0), GivesBack.WHOLE: worth, GivesBack.REST: max(stands - KEPT, Decimal(0))}[rule]
    if not owed:
        with pytest.raises(Refused, match="nothing is owed back"):
            services.give_back(voucher=leaves, on=day, by=by, **asked)
        return
    back = services.give_back(voucher=leaves, on=day, by=by, **asked)
    assert back.amount.amount == owed
    tally.back += owed
    tally.families += owed - (stands - KEPT)
    tally.holds_on(day)

    day += timedelta(days=1)
    services.pay_give_back(back=back, on=day, by=by)
    tally.back -= owed
    tally.bank -= owed
    tally.holds_on(day)
