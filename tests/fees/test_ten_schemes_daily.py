"""Ten schemes on each day of two years: windows, lapses and last days to claim, and control accounts beside detail.

Each answer is held to a reckoning of its own, which counts days and adds amounts and shares no code with the rooms.
"""

from datetime import date, timedelta
from decimal import Decimal
from itertools import compress

import pytest

from clubdesk.bank import services as bank
from clubdesk.errors import Refused
from clubdesk.fees import eligible, services
from clubdesk.fees.givingback import owed_by_department
from clubdesk.fees.invariants import fees_in_advance_holds, fees_owed_holds, given_back_holds, vouchers_owed_holds
from clubdesk.fees.models import GivesBack, Voucher, VoucherScheme, VoucherWindow
from clubdesk.fees.selectors import household_detail
from clubdesk.fees.services.accepting import _taken
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Posting, Role
from clubdesk.money import as_amount, sum_of
from tests import factories
from tests.fees import ten_schemes as ten
from tests.fees.test_ten_schemes_through import BORN, RULES, key_of

DAY = timedelta(days=1)
DAYS = [ten.TWO_YEARS[0] + n * DAY for n in range((ten.TWO_YEARS[1] - ten.TWO_YEARS[0]).days + 1)]
WITH_DAYS = [each for each in ten.TEN if each.windows or {"valid_days", "claim_days"} & each.rules.keys()]
named = pytest.mark.parametrize("told", ten.TEN, ids=lambda scheme: scheme.name)


def is_open(told, day):
    """By the calendar alone: a month and a day between two others."""
    here = (day.month, day.day)
    return not told.windows or any((a, b) <= here <= (c, d) for a, b, c, d in told.windows)


class TestTheRulesOnEachDay:
    @named
    def test_a_window_is_open_as_the_calendar_says_and_the_next_opens_on_the_first_day_that_it_is(self, told):
        windows = [VoucherWindow(from_month=a, from_day=b, until_month=c, until_day=d) for a, b, c, d in told.windows]
        firsts = {(a, b) for a, b, *_ in told.windows}
        begins = told.rules.get("year_begins", 1)
        found = [eligible.window_on(windows, day, begins) is not None for day in DAYS]
        assert found == [bool(windows) and is_open(told, day) for day in DAYS]
        for day in DAYS if windows else ():
            later = next(day + n * DAY for n in range(1, 367) if ((day + n * DAY).month, (day + n * DAY).day) in firsts)
            assert eligible.opens_next(windows, day, begins) == later

    @named
    def test_its_year_changes_on_the_first_of_its_month_and_on_no_other_day(self, told):
        begins = told.rules.get("year_begins", 1)
        year = DAYS[0].year - (DAYS[0].month < begins)
        for day in DAYS:
            year += day.month == begins and day.day == 1 and day != DAYS[0]
            assert eligible.year_of(day, begins) == year

    @named
    def test_a_voucher_of_each_day_lapses_after_as_many_more_as_the_scheme_says(self, told):
        days = told.rules.get("valid_days")
        counted = [None for _ in DAYS] if days is None else list(DAYS[days:])
        assert [eligible.lapses_on(issued, days) for issued in DAYS][: len(counted)] == counted

    @named
    def test_a_claim_of_each_day_is_promised_for_the_day_that_is_counted_off(self, told):
        days, working = told.rules.get("promise_days"), told.rules.get("promise_working", False)
        counts = [not working or day.strftime("%a")[0] != "S" for day in DAYS]
        promised = [eligible.promised_by(claimed, days, working=working) for claimed in DAYS[:-30]]
        after = [list(compress(DAYS[at + 1 :], counts[at + 1 :])) for at in range(len(promised))]
        assert promised == [each[days - 1] if days else None for each in after]


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.parametrize("told", WITH_DAYS, ids=lambda scheme: scheme.name)
def test_the_book_takes_a_voucher_on_each_day_by_window_and_lapse_and_says_by_when_to_claim(book, told):
    """Issued as long ago as it holds, and a day longer: what the verb decides by, with nothing written."""
    scheme, child = told.entered(), factories.PersonFactory(birth_date=BORN)
    holds, claims = told.rules.get("valid_days"), told.rules.get("claim_days")
    for day in DAYS:
        for ago in (holds, holds + 1) if holds else (0,):
            issued, lapsed = day - ago * DAY, holds is not None and ago > holds
            try:
                taken, worth = _taken(scheme, child, "A1B2C3", day, issued)
            except Refused as refusal:
                assert ("lapsed on" if lapsed else "is taken on") in refusal.sentence
                assert (lapsed, is_open(told, day)) != (False, True)
                continue
            assert is_open(told, day)
            assert not lapsed
            assert worth.amount == told.worth
            ends = [issued + holds * DAY] if holds is not None else []
            ends += [day + claims * DAY] if claims is not None else []
            assert taken.claim_by == (min(ends) if ends else None)


FEE, KEPT = Decimal(240), Decimal(30)
FIRST, LAST = date(2026, 7, 1), date(2028, 6, 30)
TAKEN_FROM = (date(2026, 8, 3), date(2027, 8, 3))
ASKED = {"pay_to": "012-003 4500123", "reason": "left"}


class Through:
    """Three children a scheme and year: one stays, one is refused, one leaves and is given back, undone, given again.

    `told` is what each day must come to: the departments' vouchers and what is owed back, families, and the bank.
    """

    def __init__(self, told, begins, number, by):
        self.scheme, self.worth = VoucherScheme.objects.get(name=told.name), min(Decimal(told.worth), FEE)
        self.rule, self.begins, self.by = RULES[number % len(RULES)], begins + timedelta(days=5 * number), by
        self.stays = self.refused = self.leaves = self.claim = self.back = None
        self.acts = {
            0: self.take, 4: self.lodge, 15: self.answer, 22: self.leave, 25: self.give_back, 29: self.undo,
            33: self.give_back, 40: self.pay,
        }  # fmt: skip

    def act(self, day):
        """What this does on that day, and by how much it changes each account: vouchers, owed back, families, bank."""
        does = self.acts.get((day - self.begins).days)
        return does(day) if does else (0, 0, 0, 0)

    def take(self, day):
        price = factories.FeePrice.objects.get(item__code="course")
        made = []
        for _ in range(3):
            child = factories.PersonFactory(birth_date=date(day.year - 12, 3, 9))
            owes = {"household": child.household, "person": child, "price": price, "starts_on": day}
            charge = services.charge(on=day, by=self.by, **owes)
            made.append(services.accept_voucher(
                scheme=self.scheme, charge=charge, code=key_of(self.scheme), on=day, by=self.by, issued_on=day
            ))  # fmt: skip
        self.stays, self.refused, self.leaves = made
        return 3 * self.worth, 0, 3 * (FEE - self.worth), 0

    def lodge(self, day):
        self.claim = services.lodge_vouchers(scheme=self.scheme, on=day, by=self.by)
        return 0, 0, 0, 0

    def answer(self, day):
        """The first is paid 5.00 short."""
        paid = {self.stays.pk: as_amount(self.worth - 5), self.leaves.pk: as_amount(self.worth)}
        why = {self.refused.pk: "used elsewhere"}
        services.answer_lodgement(lodgement=self.claim, paid=paid, refused=why, on=day, by=self.by)
        return -3 * self.worth, 0, self.worth + 5, 2 * self.worth - 5

    @property
    def stands(self):
        return max(self.worth, KEPT)

    @property
    def owed(self):
        return {GivesBack.NOTHING: 0, GivesBack.WHOLE: self.worth, GivesBack.REST: max(self.stands - KEPT, 0)}[
            self.rule
        ]

    def leave(self, day):
        services.take_back(charge=self.leaves.charge, on=day, reason="left", by=self.by, keep=as_amount(KEPT))
        return 0, 0, self.stands - FEE, 0

    def give_back(self, day):
        asked = {"voucher": self.leaves, "invoice": f"INV {day}", "on": day, "by": self.by, **ASKED}
        if not self.owed:
            with pytest.raises(Refused, match="nothing is owed back"):
                services.give_back(**asked)
            return 0, 0, 0, 0
        self.back = services.give_back(**asked)
        return 0, self.owed, self.owed - (self.stands - KEPT), 0

    def undo(self, day):
        if self.back is None:
            return 0, 0, 0, 0
        bank.undo_give_back(back=self.back, on=day, reason="their mistake", by=self.by)
        return 0, -self.owed, self.stands - KEPT - self.owed, 0

    def pay(self, day):
        if self.back is None:
            return 0, 0, 0, 0
        services.pay_give_back(back=self.back, on=day, by=self.by)
        return 0, -self.owed, 0, -self.owed


DETAIL = (vouchers_owed_holds, given_back_holds, fees_owed_holds, fees_in_advance_holds)


def by_the_ledger(day):
    """What the control accounts stand at, in one question: vouchers owed, owed back, families, bank."""
    roles = {Role.VOUCHERS_OWED: 1, Role.OTHER_PAYABLES: -1, Role.FEES_OWED: 1, Role.BANK: 1}
    rows = Posting.objects.filter(entry__date__lte=day, account__role__in=roles).order_by()
    found = dict(rows.values_list("account__role").annotate(figure=sum_of("amount")))
    return [sign * found.get(role, Decimal(0)) for role, sign in roles.items()]


def by_the_documents():
    """The same of vouchers owed, owed back and families, from the documents as they stand."""
    waits = Voucher.objects.filter(state__in=("accepted", "lodged")).aggregate(figure=sum_of("amount"))["figure"]
    return [waits, sum(owed_by_department().values(), Decimal(0)), sum(household_detail().values(), Decimal(0))]


@pytest.mark.slow
@pytest.mark.either
@pytest.mark.django_db
def test_control_accounts_equal_their_detail_on_each_day_of_two_years(book, by):
    ledger.open_year(first_day=date(2027, 7, 1), by=by)
    price = factories.price(amount=str(FEE))
    price.item.sessions = price.item.weeks = 60
    price.item.save()
    for number, told in enumerate(ten.TEN):
        told.entered()
        VoucherScheme.objects.filter(name=told.name).update(gives_back=RULES[number % len(RULES)])
    runs = [Through(told, begins, number, by) for begins in TAKEN_FROM for number, told in enumerate(ten.TEN)]
    told, acted, day = [Decimal(0)] * 4, 0, FIRST
    while day <= LAST:
        moved = 0
        for run in runs:
            changed = run.act(day)
            moved += any(changed)
            told = [before + more for before, more in zip(told, changed, strict=True)]
        assert by_the_ledger(day) == told, f"on {day}"
        assert by_the_documents() == told[:3], f"on {day}"
        if moved:
            assert [fault for holds in DETAIL for fault in holds()] == [], f"party by party on {day}"
        acted, day = acted + moved, day + DAY
    assert acted == sum(2 + (run.stands < FEE) + 4 * bool(run.owed) for run in runs), (
        "each act that moves money was done"
    )
    assert [fault for result in check_all() for fault in result.faults] == []
