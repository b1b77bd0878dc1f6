"""What people of a club do at random, each with a key of its own where the verb takes one."""

import random
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.db.models import Model, QuerySet

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import AccountChange, BankAccount, Clearing, HowPaid, PaymentItem, PaymentRun, StatementLine
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking, Cohort, Course, Place
from clubdesk.desk import services as desk
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import ContainerReturn, EntryClaim, PaidInto, StateEvent
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.expenses.models import Expense
from clubdesk.fees import services as fees
from clubdesk.fees.models import (
    Charge,
    FeeItem,
    Lodgement,
    Method,
    Receipt,
    Repayment,
    Voucher,
    VoucherScheme,
    WriteOff,
)
from clubdesk.fees.selectors import balance
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import (
    Account,
    FinancialYear,
    Fund,
    Journal,
    MonthUnlock,
    Party,
    Posting,
    Role,
    TaxBasis,
    TaxCode,
)
from clubdesk.ledger.posting import credit, debit
from clubdesk.mail import services as mail
from clubdesk.membership import services as membership
from clubdesk.membership.models import Membership, Plan
from clubdesk.money import Money, as_amount, cash_rounded, gst_in, in_pieces
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Banking, Gear, Kit, Paid, RangeDay, SignOn
from clubdesk.rangeday.selectors import tin
from clubdesk.rangeday.services.taps import Tapped
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import APPROVER
from clubdesk.verbs import shell_user, verb_of
from clubdesk.yearend import services as yearend
from clubdesk.yearend.models import Equipment
from tests import factories
from tests.worlds.day_one import TODAY, username

FAMILIES, EVENTS, PLACES, BOWS = 8, 40, 3, 6
START, LATEST = date(2026, 7, 6), 60
ENDS = [date(2026, 7, 31), date(2026, 8, 31)]
"""Of each noun the last so many rows are taken up again."""


class NothingThere(Exception):
    """There is nothing to do this with yet."""


@dataclass(frozen=True)
class Deed:
    """One thing that somebody does, with all that it takes to do the very same again."""

    verb: Callable[..., object]
    given: Mapping[str, Any]

    @property
    def key(self) -> uuid.UUID | None:
        return self.given.get("key")


class Club:
    """Chance, and what of the club it chooses from."""

    def __init__(self, seed: float | None = None) -> None:
        self.random = random.Random(seed)
        self.by, self.other = shell_user(), User.objects.get(username=username(APPROVER))

    def one(self, rows: QuerySet[Any]) -> Any:
        found = list(rows.order_by("-pk").values_list("pk", flat=True)[:LATEST])
        if not found:
            raise NothingThere
        row = rows.filter(pk=self.random.choice(found)).first()
        if row is None:  # somebody else has changed it meanwhile
            raise NothingThere
        return row

    def of(self, model: type[Model], **such: object) -> Any:
        return self.one(model._default_manager.filter(**such))

    def amount(self, most: int = 30_000) -> Money:
        return as_amount(self.random.randint(1, most)) / 100

    def any(self, choices: Any) -> Any:
        return self.random.choice(list(choices))

    def evidence(self) -> Evidence:
        return Evidence(str(self.random.random()).encode(), "application/pdf")

    def deed(self) -> Deed:
        """Something drawn from all that can be done now."""
        while True:
            verb, draw = self.any(ACTS)
            try:
                given = {"by": self.by, "on": TODAY, **draw(self)}
            except NothingThere:
                continue
            takes = verb_of(verb).parameters
            if "key" in takes:
                given["key"] = uuid.uuid4()
            return Deed(verb, {name: value for name, value in given.items() if name in takes})


def begin(seed: float | None = None) -> Club:
    """What the club begins with: families, prices, days, and money in both funds."""
    club, day = Club(seed), START
    factories.plan("228.01", shares=[(factories.association(), "71.33")])
    factories.scheme()
    factories.hire("7.02", "15.04")
    for number in range(EVENTS):
        factories.event(held=day + timedelta(days=number))
    factories.cohort(capacity=4, fee="126.03")
    factories.cohort(capacity=3, first=date(2026, 11, 1))
    for number in range(PLACES):
        RangeDay.objects.create(date=TODAY, place=f"Range {number}")
    for number in range(BOWS):
        Kit.objects.create(number=f"B{number}", kind="bow")
    for _ in range(FAMILIES):
        home = factories.HouseholdFactory()
        for _ in range(3):
            child = factories.PersonFactory(household=home)
            membership.take_out_membership(person=child, plan=Plan.objects.get(), starts_on=day, on=day, by=club.by)
    entryfund.cash_in(
        containers=90_000, amount=as_amount(9000), paid_into=PaidInto.BANK, on=day, by=club.by, depot_receipt="D1"
    )
    lines = [debit(Role.BANK, as_amount(2000)), debit(Role.EQUIPMENT, as_amount(3000))]
    lines.append(credit(Role.GRANTS, as_amount(5000)))
    ledger.record_journal(on=day, narration="Grant", lines=lines, by=club.by)
    FeeItem.objects.update(tax_code=TaxCode.TAXABLE)
    Account.objects.filter(code__in=("4060", "5040", "5060")).update(tax_code=TaxCode.TAXABLE)
    ledger.register_for_gst(since=day, basis=TaxBasis.CASH, by=club.by)
    return club


def another_fee(club: Club) -> dict[str, object]:
    receipt = club.of(Receipt)
    return {"receipt": receipt, "charges": [club.of(Charge, household=receipt.household)]}


def party(club: Club) -> dict[str, object]:
    """One child or two of a family, for a cohort or for any."""
    child, cohort = club.of(Person), club.any([club.of(Cohort), None])
    people = club.any([[child], [child, *Person.objects.filter(household=child.household).exclude(pk=child.pk)[:1]]])
    return {"course": Course.objects.get(), "people": people, "cohorts": [cohort] if cohort else None}


def counted(club: Club) -> dict[str, object]:
    day = club.of(RangeDay, date=TODAY)
    return {
        "range_day": day,
        "pieces": in_pieces(cash_rounded(club.amount())),
        "card_slip": tin(day).card + tin(day).card_receipts,
        "second_counter": club.other,
        "reason": "counted twice",
    }


def to_pay(club: Club) -> dict[str, object]:
    found = {
        "claims": list(EntryClaim.objects.filter(state="approved", payments=None)[:1]),
        "expenses": list(Expense.objects.filter(state="approved", payments=None)[:1]),
    }
    if not any(found.values()):
        raise NothingThere
    return {"bank_account": BankAccount.objects.get(), "method": HowPaid.SINGLE, "pay_on": TODAY, **found}


def paid_run(club: Club) -> dict[str, object]:
    run = club.of(PaymentRun, state="released")
    return {"run": run, "items": list(run.items.filter(state="waiting"))}


def expense(club: Club) -> dict[str, object]:
    amount = club.amount(5000)
    return {
        "household": club.of(Household), "what": "string wax", "amount": amount, "tax": gst_in(amount),
        "spent_on": TODAY, "account": Account.objects.get(code="5040"), "fund": Fund.objects.get(code="general"),
        "evidence": club.evidence(),
    }  # fmt: skip


def stated(club: Club) -> dict[str, object]:
    """A file with a line for something of the bank that the book has, or for something that it does not know."""
    known = club.random.random() < 0.7
    amount = club.of(Posting, account__role=Role.BANK).amount if known else club.amount()
    content = f"12/09/2026,LINE {club.random.random()},{amount.amount:.2f}\n"
    return {"bank_account": BankAccount.objects.get(), "content": content.encode(), "file_name": "a.csv"}


def the_same_money(club: Club) -> dict[str, object]:
    line = club.one(StatementLine.objects.exclude(clearings__stands=True))
    posting = club.of(Posting, account__role=Role.BANK, amount=line.amount)
    return {"lines": [line], "postings": [posting], "reasons": "the same sum"}


def to_another_fund(club: Club) -> dict[str, object]:
    one, other = club.random.sample(list(Fund.objects.order_by("pk")), 2)
    return {"from_fund": one, "to_fund": other, "amount": club.amount(3000), "minute": "May, 3"}


def journal(club: Club) -> dict[str, object]:
    amount = club.amount()
    return {"narration": "Grant", "lines": [debit(Role.BANK, amount), credit(Role.GRANTS, amount)]}


def off(club: Club) -> dict[str, object]:
    later, _ = RangeDay.objects.get_or_create(date=TODAY + timedelta(days=7), place=f"Range {club.any(range(PLACES))}")
    return {"range_day": club.of(RangeDay, date=TODAY), "reason": "hail", "move_to": club.any([later, None])}


def signed(club: Club) -> dict[str, object]:
    """At a range that opens just now, at times; those that were called off stay so."""
    if club.random.random() < 0.1:
        RangeDay.objects.create(date=TODAY, place=f"Range {club.random.random()}")
    return {
        "range_day": club.of(RangeDay, date=TODAY), "person": club.of(Person), "gear": club.any([Gear.HIRE, Gear.OWN]),
        "paid": club.any(Paid),
    }  # fmt: skip


def corrected(club: Club) -> dict[str, object]:
    return {
        "wrong": club.of(SignOn), "gear": club.any([Gear.HIRE, Gear.OWN]), "paid": club.any(Paid), "reason": "typo"
    }  # fmt: skip


def tapped(club: Club) -> dict[str, object]:
    people, paid = (club.of(Person).pk,), club.any([Paid.CASH, Paid.CARD])
    tap = Tapped(key=uuid.uuid4(), at=clock.now(), people=people, gear=Gear.HIRE, paid=paid)
    return {"range_day": club.of(RangeDay, date=TODAY), "tapped": tap}


def in_one_part(club: Club) -> dict[str, object]:
    home = club.of(Household)
    return {"household": home, "parts": [(TODAY, balance(home))]}


def new_bows(club: Club) -> dict[str, object]:
    return {
        "name": f"Bows {club.random.random()}", "cost": as_amount(300), "bought_on": START, "years": 3,
        "fund": Fund.objects.get(code="general"), "brought_in": as_amount(0),
    }  # fmt: skip


def a_fee_that_came(club: Club) -> dict[str, object]:
    """What a line may be is only as good as its guess: mostly it is refused."""
    line, fee = club.one(StatementLine.objects.exclude(clearings__stands=True)), club.of(Charge)
    return {"lines": [line], "answer": [f"charge {fee.pk}"], "reasons": "a guess", "how_sure": "by_hand"}


def another_account(club: Club) -> dict[str, object]:
    return {
        "bank_account": BankAccount.objects.get(), "holder": "Reedbank Archers", "bsb": "012-003",
        "account_number": str(club.random.randint(100000, 999999)), "reason": "the bank’s letter",
    }  # fmt: skip


def details(club: Club) -> dict[str, object]:
    return {
        "household": club.of(Household), "title": "Mira Mirabar", "bsb": "082-902",
        "account_number": str(club.random.randint(100000, 999999)), "reason": "rang the family",
    }  # fmt: skip


def claim(club: Club) -> dict[str, object]:
    return {
        "person": club.of(Person), "event": club.of(StateEvent), "amount": as_amount(60), "evidence": club.evidence()
    }  # fmt: skip


Draw = Callable[[Club], Mapping[str, object]]
ACTS: tuple[tuple[Callable[..., object], Draw], ...] = (
    (
        membership.take_out_membership,
        lambda c: {"person": c.of(Person), "plan": Plan.objects.get(), "starts_on": TODAY},
    ),
    (membership.cancel_membership, lambda c: {"membership": c.of(Membership), "reason": "moved"}),
    (membership.remit_affiliation, lambda c: {"association": c.of(Party, kind="association"), "through": TODAY}),
    (membership.end_membership, lambda c: {"membership": c.of(Membership), "reason": "moved"}),
    (courses.book_party, party),
    (courses.book_party, party),
    (courses.accept_offer, lambda c: {"booking": c.of(Booking, state="offered")}),
    (courses.withdraw_place, lambda c: {"place": c.of(Place), "reason": "ill"}),
    (courses.transfer, lambda c: {"booking": c.of(Booking, state="held"), "cohort": c.of(Cohort), "reason": "sport"}),
    (courses.move_in_queue, lambda c: {"booking": c.of(Booking), "before": c.of(Booking), "reason": "siblings"}),
    (fees.agree_parts, in_one_part),
    (fees.send_statement, lambda c: {"household": c.of(Household)}),
    (mail.deliver, lambda c: {}),
    (fees.record_receipt, lambda c: {"household": c.of(Household), "amount": c.amount(), "method": c.any(Method)}),
    (fees.record_receipt, lambda c: {"household": c.of(Household), "amount": c.amount(), "method": c.any(Method)}),
    (fees.cancel_receipt, lambda c: {"receipt": c.of(Receipt), "reason": "typed wrongly"}),
    (fees.pay_with, another_fee),
    (fees.credit_charge, lambda c: {"charge": c.of(Charge), "amount": c.amount(), "reason": "goodwill"}),
    (fees.write_off, lambda c: {"charge": c.of(Charge), "amount": c.amount(2000), "reason": "too small"}),
    (fees.take_up_again, lambda c: {"write_off": c.of(WriteOff), "reason": "they came back"}),
    (fees.repay_credit, lambda c: {"household": c.of(Household), "amount": c.amount(3000)}),
    (fees.take_repayment_back, lambda c: {"repayment": c.of(Repayment), "reason": "wrong number"}),
    (
        fees.accept_voucher,
        lambda c: {"scheme": VoucherScheme.objects.get(), "charge": c.of(Charge), "code": f"V{c.random.random()}"},
    ),
    (fees.lodge_vouchers, lambda c: {"scheme": VoucherScheme.objects.get()}),
    (fees.refuse_voucher, lambda c: {"voucher": c.of(Voucher), "reason": "used elsewhere"}),
    (fees.release_voucher, lambda c: {"voucher": c.of(Voucher), "reason": "not needed"}),
    (fees.record_lodgement_paid, lambda c: {"lodgement": c.of(Lodgement)}),
    (rangeday.sign_on, signed),
    (rangeday.sign_on, signed),
    (rangeday.cancel_sign_on, lambda c: {"sign_on": c.of(SignOn), "reason": "wrong child"}),
    (rangeday.correct_sign_on, corrected),
    (rangeday.close_day, counted),
    (
        rangeday.reopen_day,
        lambda c: {"range_day": c.of(RangeDay, closed_on__isnull=False), "reason": "counted wrongly"},
    ),
    (rangeday.call_off_day, off),
    (rangeday.bank_takings, lambda c: {"amount": c.amount(2000)}),
    (rangeday.cancel_banking, lambda c: {"banking": c.of(Banking), "reason": "wrong sum"}),
    (rangeday.receive_tap, tapped),
    (rangeday.give_out, lambda c: {"kit": c.of(Kit), "sign_on": c.of(SignOn), "at": clock.now()}),
    (rangeday.take_back_kit, lambda c: {"kit": c.of(Kit), "at": clock.now()}),
    (rangeday.set_kit_aside, lambda c: {"kit": c.of(Kit), "note": "torn"}),
    (rangeday.find_kit_fit, lambda c: {"kit": c.of(Kit), "checked_by": "Jo"}),
    (bank.settle_cards, lambda c: {"takings": c.amount(2000), "fee": c.amount(100)}),
    (entryfund.cash_in, lambda c: {"containers": 100, "amount": c.amount(9000), "paid_into": c.any(PaidInto)}),
    (entryfund.cancel_return, lambda c: {"container_return": c.of(ContainerReturn), "reason": "typo"}),
    (entryfund.record_claim, claim),
    (entryfund.approve_claim, lambda c: {"claim": c.of(EntryClaim, state="recorded"), "by": c.other}),
    (entryfund.decline_claim, lambda c: {"claim": c.of(EntryClaim), "by": c.other, "reason": "no receipt"}),
    (entryfund.ask_for_more, lambda c: {"claim": c.of(EntryClaim), "by": c.other, "question": "Which class?"}),
    (entryfund.answer_claim, lambda c: {"claim": c.of(EntryClaim, state="asked"), "answer": "Compound"}),
    (entryfund.count_bags, lambda c: {"bags": 3, "containers": 900}),
    (entryfund.move_between_funds, to_another_fund),
    (expenses.record_expense, expense),
    (expenses.approve_expense, lambda c: {"expense": c.of(Expense), "by": c.other}),
    (expenses.decline_expense, lambda c: {"expense": c.of(Expense), "by": c.other, "reason": "not the club’s"}),
    (bank.make_run, to_pay),
    (bank.release_run, lambda c: {"run": c.of(PaymentRun, state="made"), "by": c.other}),
    (bank.record_paid, paid_run),
    (bank.record_paid, paid_run),
    (bank.record_returned, lambda c: {"item": c.of(PaymentItem, state="paid"), "reason": "no such account"}),
    (bank.leave_out, lambda c: {"item": c.of(PaymentItem), "reason": "asked to wait"}),
    (bank.withdraw_run, lambda c: {"run": c.of(PaymentRun), "reason": "made too early"}),
    (bank.import_statement, stated),
    (bank.clear, the_same_money),
    (bank.accept, a_fee_that_came),
    (bank.set_bank_details, details),
    (bank.ask_for_account, another_account),
    (bank.agree_to_account, lambda c: {"change": c.of(AccountChange), "by": c.other}),
    (bank.decline_account, lambda c: {"change": c.of(AccountChange), "by": c.other, "reason": "not the bank’s letter"}),
    (bank.undo_clearing, lambda c: {"clearing": c.of(Clearing), "reason": "another’s money"}),
    (ledger.record_journal, journal),
    (ledger.reverse_journal, lambda c: {"journal": c.of(Journal), "reason": "twice"}),
    (ledger.lock_month, lambda c: {"month_end": c.any(ENDS), "reason": "figures were wanted"}),
    (ledger.ask_to_unlock, lambda c: {"year": c.of(FinancialYear), "month_end": c.any(ENDS), "reason": "a bill"}),
    (ledger.agree_to_unlock, lambda c: {"unlock": c.of(MonthUnlock)}),
    (ledger.decline_unlock, lambda c: {"unlock": c.of(MonthUnlock), "reason": "post it later"}),
    (yearend.add_equipment, new_bows),
    (yearend.dispose, lambda c: {"equipment": c.of(Equipment), "reason": "broken"}),
    (yearend.post_found_tax, lambda c: {"until": TODAY}),
    (yearend.post_gst, lambda c: {"first": START, "last": c.any([START.replace(day=31), TODAY])}),
    (yearend.depreciate, lambda c: {"until": TODAY.replace(day=1) - timedelta(days=1)}),
    (desk.nightly, lambda c: {}),
)
"""Each verb, and what it is given besides the day, who does it, and its key."""
