"""The plain model beside the book: each says the same things in the same order, in its own way.

The book's tables are read whole by one plain query each after every act; what is more than a row's own columns is
summed here. What the rooms answer to questions of their own is asked once, where a run ends (`questions_apart`).
"""

import re
from collections import Counter, defaultdict
from datetime import datetime

from django.db import connection
from django.test import Client
from django.urls import reverse

from clubdesk.courses.models import Booking, Cohort, Course, Place
from clubdesk.fees import selectors
from clubdesk.fees.accounts import parts_left, standing_arrangements
from clubdesk.fees.models import (
    Allocation,
    Arrangement,
    ArrangementPart,
    Charge,
    ChargeCredit,
    GiveBack,
    Receipt,
    TiedCredit,
    Voucher,
    WriteOff,
)
from clubdesk.ledger.models import Account, JournalEntry, Party, Posting, Role
from clubdesk.mail.models import Message
from clubdesk.membership.models import Membership, RemittanceLine
from clubdesk.membership.owed import affiliation_due
from clubdesk.roll.models import Household, Person
from clubdesk.yearend.gst import unpaid_sales
from tests.model.letters import turn

STANDS = {"waiting": "waits", "offered": "offered", "held": "has", "lapsed": "lapsed", "withdrawn": "left"}
VOUCHER = {"accepted": "taken", "lodged": "asked", "paid": "paid", "refused": "refused", "released": "let go",
           "returned": "returned"}  # fmt: skip
ACCOUNTS = {
    Role.FEES_IN_ADVANCE: "ahead", Role.BANK: "bank", Role.VOUCHERS_OWED: "vouchers", Role.WRITTEN_OFF: "lost",
    Role.COURSES: "income course", Role.MEMBERSHIPS: "income members", Role.GST_COLLECTED: "tax",
    Role.OTHER_PAYABLES: "given back", Role.TILL: "cash box", Role.CARD_TAKINGS: "card", Role.CASH_ROUNDING: "rounding",
}  # fmt: skip
LETTERS = {
    "your booking": "booked", "your place": "accepted", "the offer has lapsed": "offer lapsed",
    "the offer is withdrawn": "offer withdrawn", "withdrawn": "left", "your place again": "place again",
    "you wait again": "waits again", "transferred": "transferred", "more time to pay": "more time",
    "please pay, or withdraw": "please pay", "the place has lapsed": "place lapsed", "new days": "new days",
    "cancelled": "cancelled", "booked apart": "booked apart", "one more of you waits": "one more waits",
    "somebody else comes": "somebody else", "goes along with your child": "goes along",
    "comes along with your child": "comes along", "Your sport voucher": "voucher pays less",
    "Your membership": "joined", "Your memberships": "renewed", "Your membership ends": "membership ends",
    "Your membership is cancelled": "never began", "Your memberships end soon": "memberships end soon",
    "Your memberships have ended": "memberships ended",
}  # fmt: skip
STANDING = "cancelled_on IS NULL"
OTHERS = {"Is it still right, whom we ring and what we must know?"}
"""What other rooms write by the night."""


def rows(model, columns, where="", order="id"):
    """The plain columns of a table, whole."""
    sql = f"SELECT {columns} FROM {model._meta.db_table} {f'WHERE {where}' if where else ''} ORDER BY {order}"
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall()


def numbers(model):
    return {pk: number for number, (pk,) in enumerate(rows(model, "id"))}


def sums(model, key, where=""):
    found = defaultdict(int)
    for pk, amount in rows(model, f"{key}, amount", where):
        found[pk] += amount
    return found


class InTheBook:
    """What the book says, with rows called by the place in which they came."""

    def __init__(self):
        self.family, self.child, self.run = numbers(Household), numbers(Person), numbers(Cohort)
        self.fee, self.receipt, self.voucher = numbers(Charge), numbers(Receipt), numbers(Voucher)
        self.party = dict(rows(Booking, "id, number"))

    def fees(self):
        credited, lost = sums(ChargeCredit, "charge_id", STANDING), sums(WriteOff, "charge_id", STANDING)
        paid = sums(Voucher, "charge_id", "state IN ('accepted', 'lodged', 'paid')")
        by_receipt = sums(Allocation, "charge_id", "freed_on IS NULL")
        columns = "id, household_id, person_id, amount, tax, starts_on, recognised_on, carried_on, taken_back_on, kept"
        return [
            (
                self.family[family], self.child[child], full, credited[pk], paid[pk], lost[pk],
                full - credited[pk] - paid[pk] - lost[pk] - by_receipt[pk], tax, starts, income_on, waits is not None,
                given_back, kept,
            )
            for pk, family, child, full, tax, starts, income_on, waits, given_back, kept in rows(Charge, columns)
        ]  # fmt: skip

    def taxes(self):
        """What of credits and of debts written off is tax."""
        return (
            sum(tax for (tax,) in rows(ChargeCredit, "tax", STANDING)),
            [(self.fee[fee], amount, tax) for fee, amount, tax in rows(WriteOff, "charge_id, amount, tax")],
        )

    def receipts(self):
        columns = "household_id, amount, cancelled_on"
        return [(self.family[family], amount, day is not None) for family, amount, day in rows(Receipt, columns)]

    def pays(self):
        """What of each receipt pays what, and whether as what a voucher made way for."""
        standing = {pk for (pk,) in rows(TiedCredit, "id", "freed_on IS NULL")}
        found = Counter()
        columns = "receipt_id, charge_id, tied_id, amount"
        for receipt, fee, tie, amount in rows(Allocation, columns, "freed_on IS NULL"):
            found[self.receipt[receipt], self.fee.get(fee), tie in standing] += amount
        return found

    def ties(self):
        found = Counter()
        for receipt, voucher, amount in rows(TiedCredit, "receipt_id, voucher_id, amount", "freed_on IS NULL"):
            found[self.receipt[receipt], self.voucher[voucher]] += amount
        return found

    def parts(self):
        standing = rows(Arrangement, "id, household_id, agreed_on, recorded_at", "ended_on IS NULL")
        if not standing:
            return []
        own = defaultdict(list)
        for pk, day, amount in rows(ArrangementPart, "arrangement_id, due_on, amount", order="due_on"):
            own[pk].append((day, amount))
        paid = rows(Receipt, "household_id, recorded_at, amount", "cancelled_on IS NULL")
        return sorted(
            (
                self.family[family],
                agreed,
                what_is_left(own[pk], sum(a for f, at, a in paid if f == family and at > since)),
            )
            for pk, family, agreed, since in standing
        )

    def parties(self):
        columns = "number, household_id, state, seats, offer_lapses_on, pay_by, reminded_on"
        return [
            (number, self.family[family], STANDS[state], *more)
            for number, family, state, *more in rows(Booking, columns, order="number")
        ]

    def queue(self):
        return [number for (number,) in rows(Booking, "number", order="rank")]

    def seats(self):
        columns = "booking_id, person_id, state, cohort_id, charge_id, free_to_leave_until"
        found = [
            (self.party[party], self.child[child], STANDS[state], self.run.get(run), self.fee.get(fee), free)
            for party, child, state, run, fee, free in rows(Place, columns)
        ]
        return sorted(found, key=lambda seat: seat[0])

    def vouchers(self):
        columns = "person_id, charge_id, state, amount, short_by, lapses_on, claim_by"
        return [
            (self.child[child], self.fee[fee], VOUCHER[state], *more)
            for child, fee, state, *more in rows(Voucher, columns)
        ]

    def given_back(self):
        owed = rows(GiveBack, "voucher_id, amount, state")
        return [(self.voucher[voucher], amount, state == "paid", state == "undone") for voucher, amount, state in owed]

    def members(self):
        columns = "person_id, starts_on, ends_on, months, fee, passed_on, charge_id, payer_id, sibling"
        columns = f"{columns}, cancelled_on, ended_on"
        return [
            (
                self.child[child], first, last, months, fee, passed_on, self.fee.get(charge), self.family.get(payer),
                bool(sibling), cancelled is not None, ended is not None,
            )
            for child, first, last, months, fee, passed_on, charge, payer, sibling, cancelled, ended in rows(
                Membership, columns
            )
        ]  # fmt: skip

    def passed_on(self):
        return sum(amount for (amount,) in rows(RemittanceLine, "amount"))

    def postings(self):
        parties = {pk: (self.family.get(home), name) for pk, home, name in _parties()}
        roles, found = dict(rows(Account, "id, role")), Counter()
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT e.date, p.account_id, p.party_id, SUM(p.amount) FROM {Posting._meta.db_table} p"
                f" JOIN {JournalEntry._meta.db_table} e ON e.id = p.entry_id GROUP BY e.date, p.account_id, p.party_id"
            )
            for day, account, party, figure in cursor.fetchall():
                family, name = parties.get(party, (None, None))
                what = ("owed", family) if family is not None else ACCOUNTS.get(roles[account], name)
                found[day, what] += int(figure)
        return {key: figure for key, figure in found.items() if figure}


def _parties():
    homes = {party: pk for pk, party in rows(Household, "id, party_id")}
    return [(pk, homes.get(pk), name) for pk, name in rows(Party, "id, name")]


def what_is_left(parts, paid):
    left = []
    for day, amount in parts:
        met = min(amount, paid)
        paid -= met
        if met < amount:
            left.append((day, amount - met))
    return left


class InTheModel:
    """The same of the model."""

    def __init__(self, club):
        self.club = club
        self.family = {each: number for number, each in enumerate(club.families)}
        self.child = {each: number for number, each in enumerate(club.children)}
        self.run = {each: number for number, each in enumerate(club.runs)}
        self.fee = {each: number for number, each in enumerate(club.fees)}
        self.receipt = {each: number for number, each in enumerate(club.receipts)}
        self.voucher = {each: number for number, each in enumerate(club.vouchers)}

    def fees(self):
        club = self.club
        return [
            (
                self.family[fee.family], self.child[fee.child], fee.full, fee.credited, club.by_voucher(fee),
                club.written_off(fee), club.open(fee), fee.tax, fee.starts, fee.income_on, fee.waits_for_next,
                fee.given_back_on, fee.keep,
            )
            for fee in club.fees
        ]  # fmt: skip

    def taxes(self):
        credited = sum(fee.tax - self.club.tax_in(fee, fee.full - fee.credited) for fee in self.club.fees)
        return credited, [(self.fee[off.fee], off.amount, off.tax) for off in self.club.offs]

    def receipts(self):
        return [(self.family[each.family], each.amount, each.cancelled) for each in self.club.receipts]

    def pays(self):
        found = Counter()
        for each in self.club.pays:
            tied = each.tie is not None and not each.tie.freed
            found[self.receipt[each.receipt], self.fee.get(each.fee), tied] += each.amount
        return found

    def ties(self):
        found = Counter()
        for tie in self.club.ties:
            if not tie.freed:
                found[self.receipt[tie.receipt], self.voucher[tie.voucher]] += tie.amount
        return found

    def parts(self):
        standing = [each for each in self.club.agreed if not each.ended]
        return sorted((self.family[each.family], each.agreed, self.club.parts_left(each)) for each in standing)

    def parties(self):
        return [
            (each.number, self.family[each.family], each.stands, each.size, each.answer_by, each.pay_by, each.reminded)
            for each in self.club.parties
        ]

    def queue(self):
        return [party.number for party in self.club.queue]

    def seats(self):
        return [
            (party.number, self.child[s.child], s.stands, self.run.get(s.run), self.fee.get(s.fee), s.free_until)
            for party in self.club.parties for s in party.seats
        ]  # fmt: skip

    def vouchers(self):
        return [
            (self.child[v.child], self.fee[v.fee], v.stands, v.amount, v.short, v.lapses, v.claim_by)
            for v in self.club.vouchers
        ]

    def given_back(self):
        return [(self.voucher[each.voucher], each.amount, each.paid, each.undone) for each in self.club.backs]

    def members(self):
        return [
            (
                self.child[m.child], m.first, m.last, m.months, m.fee, m.passed_on, self.fee.get(m.charge),
                self.family.get(m.payer), m.sibling, m.cancelled, m.ended,
            )
            for m in self.club.members
        ]  # fmt: skip

    def passed_on(self):
        return sum(self.club.passed_on.values())

    def postings(self):
        found, owed = Counter(), Counter()
        for (day, account), figure in self.club.postings.items():
            if account[0] == "owed":
                account = ("owed", self.family[account[1]])
                owed[account[1]] += figure
            found[day, account] += figure
        for family, number in self.family.items():
            assert owed[number] == (0 if family.gone else self.club.balance(family)), "the model agrees with itself"
        return {key: figure for key, figure in found.items() if figure}


WHAT = (
    "fees", "taxes", "receipts", "pays", "ties", "parts", "queue", "parties", "seats", "vouchers", "given_back",
    "members", "passed_on", "postings",
)  # fmt: skip


def differences(club):
    """What the book says otherwise than the model, by name."""
    book, model = InTheBook(), InTheModel(club)
    found = {}
    for name in WHAT:
        says, should = getattr(book, name)(), getattr(model, name)()
        if says != should:
            found[name] = _apart(says, should)
    return found


def _apart(says, should):
    if isinstance(says, dict):
        keys = sorted((key for key in {*says, *should} if says.get(key) != should.get(key)), key=str)
        return [(key, says.get(key), should.get(key)) for key in keys]
    if isinstance(says, list) and len(says) == len(should):
        return [pair for pair in zip(says, should, strict=True) if pair[0] != pair[1]]
    return says, should


# Letters

SAYS = re.compile(r"\$([\d,]+\.\d\d)|(\d{1,2} [A-Z][a-z]+ \d{4})|(number \d+) in the queue")


def letters_since(told):
    """The last letter that there is, and those after `told`: what each is, to whom, and what it says."""
    family, found = numbers(Household), []
    for pk, home, to, subject, body in rows(Message, 'id, household_id, "to", subject, body', f"id > {told}"):
        told = pk
        if home is not None and subject not in OTHERS:
            found.append((_word_of(subject, body), family[home], to, _says(body)))
    return told, Counter(found)


def _word_of(subject, body):
    said = subject.split(": ", 1)[-1]
    if said == "a place for you":
        return "held for you" if "We hold this for you" in body else "offered"
    if "was not given back after all" in body:
        return "voucher pays again"
    if said.startswith("The sport voucher of"):
        return "voucher comes along" if "belongs to your family" in body else "voucher goes along"
    return LETTERS[said]


def _says(body):
    found = []
    for amount, day, number in SAYS.findall(body):
        if amount:
            found.append(int(amount.replace(",", "").replace(".", "")))
        else:
            found.append(datetime.strptime(day, "%d %B %Y").date() if day else turn(int(number.split()[1])))
    return tuple(sorted(found, key=str))


def letters_of(club, letters):
    family = {each: number for number, each in enumerate(club.families)}
    return Counter((word, family[home], to, tuple(sorted(says, key=str))) for word, home, to, says in letters)


def letters_apart(book, model):
    """Letters of the book alone, and of the model alone."""
    return (book - model, model - book) if book != model else ()


# Questions that the rooms answer themselves


def cents(figure):
    return round(getattr(figure, "amount", figure) * 100)


DATES = re.compile(r'name="cohorts".*?</label>', re.DOTALL)


def prices_shown():
    """What the parents' page says that each date to come costs."""
    page = Client().get(reverse("book:course", args=[Course.objects.get().pk])).content.decode()
    return [says for date in DATES.findall(page) for says in _says(date) if isinstance(says, int)]


def questions_apart(club):
    """What the rooms' own questions come to, beside the model, where they differ."""
    says = {
        "open": [cents(row.open_amount) for row in selectors.charges_with_open().order_by("pk")],
        "unused": {row.number: cents(row.unused) for row in selectors.receipts_with_unused()},
        "payable": {row.number: max(cents(row.payable), 0) for row in selectors.receipts_with_payable()},
        "parts": sorted(sum(cents(amount) for _, amount in parts_left(each)) for each in standing_arrangements()),
        "for associations": sum(cents(due.owed) for due in affiliation_due()),
        "tax not paid yet": cents(unpaid_sales(club.today)),
        "ahead": cents(selectors.in_advance_detail()),
        "prices": prices_shown(),
    }
    standing = [each for each in club.receipts if not each.cancelled]
    should = {
        "open": [club.open(fee) for fee in club.fees],
        "unused": {each.number: club.unused(each) for each in standing},
        "payable": {each.number: club.payable(each) for each in standing},
        "parts": sorted(sum(a for _, a in club.parts_left(each)) for each in club.agreed if not each.ended),
        "for associations": club.owed_to_associations(),
        "tax not paid yet": club.tax_not_paid_yet(),
        "ahead": -sum(figure for (_, account), figure in club.postings.items() if account == "ahead"),
        "prices": [club.price(run) for run in club.to_come()],
    }
    return {name: (says[name], should[name]) for name in says if says[name] != should[name]}
