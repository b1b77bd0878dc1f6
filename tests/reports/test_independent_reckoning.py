"""A club's generated first year: every figure of every statement is what a second reckoning of the journal says."""

import random
from contextlib import suppress
from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command

from clubdesk import clock
from clubdesk.desk import services as desk
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import PaidInto
from clubdesk.errors import Refused
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, FeeKind, FeePrice, VoucherState
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Fund, FundRole, Role
from clubdesk.ledger.posting import Line
from clubdesk.money import as_amount, from_cents
from clubdesk.reports import statements
from clubdesk.reports.selectors import Figures
from clubdesk.rooms import APPROVER, COORDINATOR, TREASURER
from tests import factories
from tests.reports.reckoning import AHEAD, CORRECTED, Reckoning

pytestmark = [pytest.mark.django_db, pytest.mark.world("empty")]
FIRST, LAST = date(2026, 7, 1), date(2027, 6, 30)
BEGINS_WITH = (
    (Role.BANK, "4213.77", "general"), (Role.TILL, "100.00", "general"), (Role.EQUIPMENT, "5000.00", "general"),
    (Role.DEPRECIATED, "-1500.00", "general"), (Role.ACCUMULATED, "-7813.77", "general"),
    (Role.BANK, "612.40", "entry"), (Role.ACCUMULATED, "-612.40", "entry"),
)  # fmt: skip


class Club:
    """A first year by chance, through the verbs: `chance` draws, and what a verb refuses is left."""

    def __init__(self, seed):
        call_command("start_books", "--club", "Mirabar archers", "--year-start", FIRST.isoformat())
        self.chance, self.seed = random.Random(seed), seed
        self.keeper = User.objects.get(is_superuser=True, username="administrator")
        self.treasurer, self.coordinator, self.approver = (
            desk.add_user(username=role.lower(), role=role)[0] for role in (TREASURER, COORDINATOR, APPROVER)
        )
        self.homes = [factories.HouseholdFactory() for _ in range(9)]
        self.children = [factories.PersonFactory(household=home, birth_date=date(2015, 3, 3)) for home in self.homes]
        state = factories.association()
        self.prices = [
            factories.price(FeeKind.MEMBERSHIP, "228.00", Role.MEMBERSHIPS, code="member", shares=((state, 116),)),
            factories.price(FeeKind.COURSE, "126.00", Role.COURSES, code="course"),
            factories.price(FeeKind.OTHER, "33.35", Role.DONATIONS, code="shirt"),
        ]
        FeePrice.objects.update(valid_from=FIRST)
        self.scheme = factories.scheme()
        self.code = {account.code: account for account in Account.objects.all()}

    def begin(self):
        lines = [Line(role, as_amount(text), None, FundRole(fund)) for role, text, fund in BEGINS_WITH]
        ledger.record_opening(narration="Paper books", lines=lines, by=self.treasurer)
        owed = (
            (0, 64, Role.MEMBERSHIPS),
            (1, 90, Role.COURSES),
            (1, -12, None),
            (2, -31, Role.MEMBERSHIPS),
            (3, -45, None),
        )
        items = [factories.open_item(self.homes[place], amount, role) for place, amount, role in owed]
        charging.bring_in_balances(items=items, by=self.treasurer)

    def live(self, acts):
        days = sorted(self.chance.choices(range((LAST - FIRST).days + 1), k=acts))
        for number, day in enumerate(days):
            on = FIRST + timedelta(days=day)
            with clock.on(on), suppress(Refused):
                charging.recognise_due(on=on, by=self.keeper)
                self.chance.choice(self.acts)(self, on, number)
        with clock.on(LAST):
            charging.recognise_due(on=LAST, by=self.keeper)
            ledger.reverse_due(on=LAST, by=self.keeper)

    def some(self, rows):
        rows = list(rows)
        if not rows:
            raise Refused("There is none yet.")
        return self.chance.choice(rows)

    def cents(self, most):
        return from_cents(self.chance.randint(1, most))

    def charge(self, on, number):
        place = self.chance.randrange(len(self.homes))
        charging.charge(
            household=self.homes[place], person=self.children[place], price=self.some(self.prices), on=on,
            starts_on=on + timedelta(days=self.chance.choice((0, 0, 0, 40, 200))), by=self.coordinator,
        )  # fmt: skip

    def receive(self, on, number):
        charging.record_receipt(
            household=self.some(self.homes), amount=self.cents(30000), method=self.some(["cash", "card", "transfer"]),
            on=on, by=self.coordinator,
        )  # fmt: skip

    def cancel(self, on, number):
        receipt = self.some(self.some(self.homes).receipts.all())
        charging.cancel_receipt(receipt=receipt, on=on, reason="bounced", by=self.coordinator)

    def credit(self, on, number):
        fee = self.some(Charge.objects.all())
        charging.credit_charge(charge=fee, on=on, reason="ill", by=self.coordinator, amount=self.cents(9000))

    def write_off(self, on, number):
        fee = self.some(Charge.objects.all())
        charging.write_off(charge=fee, amount=self.cents(4000), on=on, reason="moved", by=self.treasurer)

    def repay(self, on, number):
        home = self.some(self.homes)
        amount = max(-fees.balance(home), as_amount(0))
        charging.repay_credit(household=home, amount=amount, on=on, by=self.treasurer)

    def voucher(self, on, number):
        fee = self.some(Charge.objects.exclude(person=None))
        charging.accept_voucher(scheme=self.scheme, charge=fee, code=f"SV{number}", on=on, by=self.coordinator)

    def lodge(self, on, number):
        lodged = charging.lodge_vouchers(scheme=self.scheme, on=on, by=self.coordinator)
        paid, refused = {}, {}
        for place, voucher in enumerate(lodged.vouchers.filter(state=VoucherState.LODGED)):
            if place % 3 == 2:
                refused[voucher.pk] = "not eligible"
            else:
                paid[voucher.pk] = voucher.amount if place % 3 else min(voucher.amount, as_amount(50))
        charging.answer_lodgement(lodgement=lodged, paid=paid, refused=refused, on=on, by=self.treasurer)

    def write(self, on, *lines, **more):
        made = [Line(account if isinstance(account, Role) else self.code[account], amount, None, FundRole(fund))
                for account, amount, fund in lines]  # fmt: skip
        ledger.record_journal(on=on, narration="Journal", lines=made, by=self.treasurer, **more)

    def bill(self, on, number):
        amount, code = self.cents(40000), self.some(["5050", "5070", "5040"])
        self.write(on, (code, amount, "general"), (Role.BANK, -amount, "general"))

    def put_right(self, on, number):
        amount, (one, other) = self.cents(9000), self.chance.sample(["5050", "5070", "5040"], 2)
        self.write(on, (one, amount, "general"), (other, -amount, "general"))

    def not_explained(self, on, number):
        amount = self.cents(9000) * self.some([1, -1])
        self.write(on, (Role.BANK, amount, "general"), (Role.SUSPENSE, -amount, "general"))

    def explained(self, on, number):
        amount = self.cents(4000)
        self.write(on, (Role.SUSPENSE, amount, "general"), (Role.DONATIONS, -amount, "general"))

    def in_kind(self, on, number):
        amount = self.cents(9000)
        self.write(on, ("5020", amount, "general"), (Role.DONATIONS, -amount, "general"))

    def accrue(self, on, number):
        amount = self.cents(9000)
        self.write(
            on, ("5050", amount, "general"), (Role.PREPAYMENTS, -amount, "general"), reverse_on=on + timedelta(days=20)
        )

    def bank_it(self, on, number):
        amount = self.cents(3000)
        self.write(on, (Role.BANK, amount, "general"), (Role.TILL, -amount, "general"))

    def containers(self, on, number):
        entryfund.cash_in(
            containers=number + 1, amount=self.cents(9000), paid_into=self.some(PaidInto), on=on, by=self.coordinator
        )

    def entry_fee(self, on, number):
        amount = self.cents(6000)
        self.write(on, (Role.ENTRY_REFUNDS, amount, "entry"), (Role.BANK, -amount, "entry"))

    def move_funds(self, on, number):
        general, entry = Fund.objects.get(pk="general"), Fund.objects.get(pk="entry")
        entryfund.move_between_funds(
            from_fund=general,
            to_fund=entry,
            amount=self.cents(2000),
            minute=f"Minute {number}",
            on=on,
            by=self.treasurer,
        )

    def volunteer(self, on, number):
        home = self.some(self.homes)
        spent = expenses.record_expense(
            household=home, what="tape", amount=self.cents(5000), spent_on=on, account=self.code["5040"],
            fund=Fund.objects.get(pk="general"), evidence=Evidence(f"{self.seed} {number}".encode(), "image/png"),
            by=self.coordinator,
        )  # fmt: skip
        expenses.approve_expense(expense=spent, on=on, by=self.approver)
        if number % 3:
            expenses.pay_expense(expense=spent, on=on, by=self.treasurer)

    acts = (
        charge, charge, charge, charge, receive, receive, receive, receive, cancel, credit, write_off, repay, voucher,
        voucher, lodge, bill, put_right, not_explained, explained, in_kind, accrue, bank_it, containers, entry_fee,
        move_funds, volunteer,
    )  # fmt: skip


def spans():
    """Each month, and the year up to each month's end."""
    ends = [date(2026 + (month > 12), (month - 1) % 12 + 1, 1) + timedelta(days=31) for month in range(7, 19)]
    ends = [end.replace(day=1) - timedelta(days=1) for end in ends]
    return [*((end.replace(day=1), end) for end in ends), *((FIRST, end) for end in ends)]


def in_cents(figures):
    return [None if figure is None else int(figure * 100) for figure in figures]


def rows_of(statement):
    found = {row.label: in_cents(row.figures) for row in statement.rows if row.kind == "line"}
    assert len(found) == len([row for row in statement.rows if row.kind == "line"])
    return found


def with_total(figures):
    return [*figures, sum(figures)]


def of_income(reckoned, first, last):
    found = {}
    for name, account in reckoned.accounts.items():
        if account["kind"] in ("income", "expense"):
            sign = -1 if account["kind"] == "income" else 1
            each = [sign * reckoned.moved(first, last, name, fund) for fund in reckoned.funds]
            if any(each):
                found[name] = with_total(each)
    return found


def of_position(reckoned, on):
    found = {}
    for name, account in reckoned.accounts.items():
        if account["kind"] in ("asset", "liability"):
            each = [reckoned.stands(on, name, fund) for fund in reckoned.funds]
            for side, sign, figure in (
                ("asset", 1, sum(owed for owed, _ in each)), ("liability", -1, sum(owing for _, owing in each))
            ):  # fmt: skip
                if figure or any(pair[side == "liability"] for pair in each):
                    other = {"asset": "in credit", "liability": "paid ahead"}[account["kind"]]
                    found[name if side == account["kind"] else f"{name}, {other}"] = [sign * figure]
    return found


def of_receipts(reckoned, first, last):
    """By line its money in each fund, receipts above nil and payments below."""
    found = {}
    for name in reckoned.accounts:
        each = [reckoned.cash(first, last, name, fund) for fund in reckoned.funds]
        if any(each):
            found[name] = with_total(each)
    return found


NAMED = {
    AHEAD: "Paid ahead by families, not used yet",
    "Vouchers owed": "Vouchers paid, not said for what",
    "Affiliation payable": "Affiliation passed on to associations",
    CORRECTED: "Correction of earlier years",
}


@pytest.mark.parametrize("seed", [1, 2])
def test_every_figure_of_a_first_year_by_fund_on_both_bases_at_each_months_end(seed):
    club = Club(seed)
    club.begin()
    club.live(acts=260)
    assert [result.faults for result in check_all() if result.faults] == []
    reckoned = Reckoning()
    for first, last in spans():
        now = Figures(first, last)
        income = statements.income_and_expenditure(now, None)
        shown = {label: figures[:3] for label, figures in rows_of(income).items()}
        assert shown == of_income(reckoned, first, last), (first, last)

        position = rows_of(statements.balance_sheet(now, None))
        funds = {name: position.pop(name) for name in ("General fund", "Entry fund")}
        wanted = of_position(reckoned, last)
        assert position == wanted, (first, last)
        assert sum(figure for (figure,) in funds.values()) == in_cents([now.net_assets()])[0]

        money = statements.receipts_and_payments(now, None)
        shown, sign = {}, 1
        for row in money.rows:
            sign = -1 if row.label == "Payments" else sign
            if row.account:
                shown[row.label] = [sign * figure for figure in in_cents(row.figures)]
        wanted = {NAMED.get(name, name): figures for name, figures in of_receipts(reckoned, first, last).items()}
        found = {label.removesuffix(", or matched since"): figures for label, figures in shown.items()}
        assert found == wanted, (first, last)
        before = first - timedelta(days=1)
        for row, on in ((money.rows[-2], before), (money.rows[-1], last)):
            assert in_cents(row.figures) == with_total([reckoned.in_hand(on, fund) for fund in reckoned.funds])
        for row in statements.bridge_by_line(now).rows:
            assert row.figures[-1] == 0, row
        assert statements.bridge(now).rows[-1].figures == [0, 0, 0]
        for row, fund in zip(statements.movement_of_funds(now).rows, reckoned.funds, strict=False):
            ends = [
                sum(sum(reckoned.stands(on, name, fund)) for name in reckoned.accounts
                    if reckoned.kind(name) in ("asset", "liability"))
                for on in (before, last)
            ]  # fmt: skip
            assert in_cents([row.figures[0], row.figures[-1]]) == ends
