"""A course with its waitlist, told plainly: who is next, what is offered, who leaves and what that costs."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta

from tests.model.letters import STANDS, Letters, said_of
from tests.model.things import Back, Child, Family, Fee, No

OFFER_DAYS, PAY_DAYS, REMINDER_DAYS, FROM_AGE = 7, 20, 5, 9
BACK = ((21, 100), (7, 33))
"""Who leaves so many days before the first day has so many per cent back; later nothing."""
MOST = 6


@dataclass(eq=False, repr=False)
class Run:
    """One running of the course."""

    first: date
    last: date
    seats: int
    cancelled: bool = False


@dataclass(eq=False, repr=False)
class Seat:
    """What one child has, is offered or waits for; `handed_on` where another child or party has it now."""

    party: "Party"
    child: Child
    stands: str = "waits"
    run: Run | None = None
    fee: Fee | None = None
    price: int | None = None
    free_until: date | None = None
    handed_on: bool = False
    made: int = 0


@dataclass(eq=False, repr=False)
class Party:
    number: int
    family: Family
    booked: date
    seats: list = field(default_factory=list)
    cannot: set = field(default_factory=set)
    answer_by: date | None = None
    pay_by: date | None = None
    reminded: date | None = None
    reminded_by_letter: bool = False
    mail: str = ""

    @property
    def stands(self):
        found = [seat.stands for seat in self.seats]
        return next((each for each in ("offered", "waits", "has") if each in found), found[-1])

    @property
    def size(self):
        return sum(seat.stands == self.stands for seat in self.seats)

    def those(self, stands):
        return [seat for seat in self.seats if seat.stands == stands]

    def tidy(self):
        if not self.those("offered"):
            self.answer_by = None
        if not self.those("has"):
            self.pay_by = self.reminded = None


def half_up(cents, percent):
    return (cents * percent * 2 + 100) // 200


class Course(Letters):
    """`queue` holds all parties in their turn; `offers` each offer in the order in which it was made."""

    def __init__(self, day, prices):
        super().__init__(day)
        self.prices, self.runs, self.parties, self.queue, self.happened, self.made = prices, [], [], [], [], 0
        self.drew, self.seen = set(), Counter()

    def price(self, run):
        return max((day, cents) for day, cents in self.prices if day <= run.first)[1]

    def free(self, run):
        taken = [s for party in self.parties for s in party.seats if s.run is run and s.stands in ("has", "offered")]
        return run.seats - len(taken)

    def to_come(self):
        return sorted((r for r in self.runs if not r.cancelled and r.first >= self.today), key=lambda r: r.first)

    def too_young(self, child, run):
        """Whoever is below the age on the first day, and was not seen to draw a bow."""
        return child.age(run.first) < FROM_AGE and child not in self.drew

    def fits(self, party, run, free):
        waits = party.those("waits")
        return len(waits) <= free and run not in party.cannot and not any(self.too_young(s.child, run) for s in waits)

    def waiting(self):
        return [party for party in self.queue if party.stands == "waits"]

    def seat_of(self, child):
        """Where the child stands in the course, in nothing that is over."""
        for party in self.parties:
            for seat in party.seats:
                has = seat.stands == "has" and seat.run.last >= self.today
                if seat.child is child and (has or seat.stands in ("waits", "offered")):
                    return seat
        return None

    def new_seat(self, party, child):
        self.made += 1
        return Seat(party, child, made=self.made)

    # Booking, waiting, offers

    def offer_free(self):
        for run in self.to_come():
            while (free := self.free(run)) > 0:
                fits = [p for p in self.waiting() if self.fits(p, run, free)]
                if not fits:
                    break
                self._offer(fits[0], run, "offered")

    def _offer(self, party, run, word):
        for seat in party.those("waits"):
            seat.stands, seat.run, seat.price = "offered", run, self.price(run)
        party.answer_by = min(self.today + timedelta(days=OFFER_DAYS), max(run.first, self.today))
        party.tidy()
        self.happened.append(("offer", party, run))
        self.tell_of(word, [party], party.answer_by)

    def _arrive(self, family, children):
        party = Party(len(self.parties) + 1, family, self.today, mail=family.mail)
        party.seats = [self.new_seat(party, child) for child in children]
        self.parties.append(party)
        self.queue.append(party)
        return party

    def _give(self, party, seats, run):
        if any(seat.stands == "waits" and self.too_young(seat.child, run) for seat in seats):
            raise No
        for seat in seats:
            seat.run = run
            price = self.price(run) if seat.price is None else seat.price
            seat.fee = self.charge_next(party.family, seat.child, price, run.first)
            seat.fee.called = (run, seat.child.name)
            seat.stands = "has"
        party.pay_by, party.reminded = self.today + timedelta(days=PAY_DAYS), None
        party.tidy()

    def book(self, children, runs, payer=None, hold=False):
        families = {child.family for child in children}
        if not payer and len(families) > 1:
            raise No
        if runs is not None and (not runs or any(run.cancelled or run.last < self.today for run in runs)):
            raise No
        if any(self.seat_of(child) for child in children):
            raise No
        coming = self.to_come()
        wanted = coming if runs is None else sorted(runs, key=lambda run: run.first)
        self.offer_free()
        party = self._arrive(payer or children[0].family, children)
        if runs is not None:
            party.cannot = {run for run in coming if run not in runs}
        for run in wanted:
            if self.fits(party, run, self.free(run)):
                if hold:
                    self._offer(party, run, "held for you")
                    return
                self._give(party, party.those("waits"), run)
                break
        self.tell_of("booked", [party])

    def draws(self, child):
        self.drew.add(child)
        self.seen[child] += 1
        if any(s.child is child and s.stands == "waits" for p in self.parties for s in p.seats):
            self.offer_free()

    def accept(self, party):
        seats = party.those("offered")
        if not seats and party.stands == "has":
            return
        if not seats or self.today > party.answer_by:
            raise No
        self._give(party, seats, seats[0].run)
        self.tell_of("accepted", [party])

    def move_in_queue(self, party, before):
        if party.stands != "waits" or (before and (before is party or before.stands != "waits")):
            raise No
        behind = self._behind(party)
        if behind is before:
            return
        self._put(party, before)

    def _behind(self, party):
        later = self.queue[self.queue.index(party) + 1 :]
        return next((each for each in later if each.stands == "waits"), None)

    def _put(self, party, before):
        if self._behind(party) is before:
            return
        self.queue.remove(party)
        self.queue.insert(self.queue.index(before) if before else len(self.queue), party)

    def cannot_make(self, party, runs):
        if party.cannot == set(runs):
            return
        party.cannot = set(runs)
        self.offer_free()

    def book_apart(self, party):
        if party.stands != "waits":
            raise No
        _, *others = party.those("waits")
        if not others:
            return
        behind = self._behind(party)
        for seat in others:
            seat.stands, seat.handed_on = "left", True
        party.tidy()
        apart = [party]
        for seat in others:
            own = self._arrive(party.family, [seat.child])
            own.cannot, own.mail = set(party.cannot), party.mail
            self._put(own, behind)
            apart.append(own)
        for each in apart:
            self.tell_of("booked apart", [each])
        self.offer_free()

    def add(self, party, child):
        if any(seat.child is child for seat in party.those("waits")):
            return
        if party.stands != "waits" or child.family is not party.family or self.seat_of(child):
            raise No
        if sum(seat.stands in STANDS for seat in party.seats) >= MOST:
            raise No
        can = [run for run in self.to_come() if run not in party.cannot]
        if can and all(self.too_young(child, run) for run in can):
            raise No
        party.seats.append(self.new_seat(party, child))
        self.tell_of("one more waits", [party])

    # Leaving

    def kept(self, seat):
        """What the refund rule keeps of a fee today."""
        if seat.stands == "has" and seat.free_until and self.today <= seat.free_until:
            return 0
        days = (seat.run.first - self.today).days
        percent = next((percent for before, percent in BACK if days >= before), 0)
        return seat.fee.full - half_up(seat.fee.full, percent)

    def leave(self, party, children):
        seats = [s for s in party.seats if s.child in children and s.stands in STANDS]
        if not seats:
            return
        if any(seat.run and seat.run.last < self.today for seat in seats):
            raise No
        back = Back()
        for seat in seats:
            if seat.fee:
                back += self.give_back(seat.fee, self.kept(seat), "left")
            seat.stands = "left"
        party.tidy()
        self.happened.append(("left", party, seats[0].run))
        self.tell_of("left", [party], *said_of(back))
        self.offer_free()

    def come_back(self, seat):
        """A withdrawal is undone, as long as the place is nobody else's."""
        party, again = seat.party, self.seat_of(seat.child)
        if again and again.party is party:
            return
        if again or seat.stands != "left" or seat.handed_on:
            raise No
        if any(each.child is seat.child and each.made > seat.made for p in self.parties for each in p.seats):
            raise No
        if seat.run and (seat.run.cancelled or seat.run.last < self.today):
            raise No
        back = self.new_seat(party, seat.child)
        party.seats.append(back)
        if seat.run and seat.fee:
            self._seat_again(seat, back, party)
        else:
            party.tidy()
            self.tell_of("waits again", [party])
        self.offer_free()

    def _seat_again(self, seat, back, party):
        run, fee = seat.run, seat.fee
        if self.free(run) < 1:
            back.stands = "on the way"
            self._withdraw_an_offer(seat, run)
            back.stands = "waits"
        others = [(amount, why) for amount, why in fee.credits if why != "left"]
        self.call_off(fee, "left, undone")
        back.price = fee.price
        self._give(party, [back], run)
        for amount, why in others:
            self.credit(back.fee, amount, why)
        for old in [v for v in self.vouchers if v.fee is fee and v.stands == "let go" and v.why.startswith("left")]:
            amount = min(old.amount, self.creditable(back.fee))
            holds = old.lapses is None or self.today <= old.lapses
            if amount > 0 and holds and not self._is_used_up(old, old.child, back.fee):
                self.set_against(back.fee, old, amount)
        self.settle(party.family)
        self.tell_of("place again", [party])

    def _withdraw_an_offer(self, seat, run):
        """The last that was offered a place there since, and has not answered, waits again."""
        since = [i for i, (what, party, where) in enumerate(self.happened)
                 if what == "left" and party is seat.party and where is run]  # fmt: skip
        still = [
            party
            for what, party, where in self.happened[since[-1] :]
            if what == "offer" and where is run and any(s.run is run for s in party.those("offered"))
        ]
        if not still:
            raise No
        for each in still[-1].those("offered"):
            each.stands, each.run, each.price = "waits", None, None
        still[-1].tidy()
        self.tell_of("offer withdrawn", [still[-1]])

    def transfer(self, party, run, children):
        seats = [s for s in party.those("has") if s.child in children and s.run is not run]
        if not seats or any(seat.run.last < self.today for seat in seats):
            raise No
        if run.cancelled or run.last < self.today or self.free(run) < len(seats):
            raise No
        there = {s.child for p in self.parties for s in p.seats if s.run is run and s.stands in ("has", "offered")}
        if any(seat.child in there or self.too_young(seat.child, run) for seat in seats):
            raise No
        for seat in seats:
            if seat.fee.is_ahead:
                seat.fee.starts = max(run.first, seat.fee.charged + timedelta(days=1))
            else:
                seat.fee = self.charge_again(seat.fee, run.first)
            seat.fee.called = (run, seat.child.name)
            seat.run, seat.free_until = run, None
        party.pay_by, party.reminded = self.today + timedelta(days=PAY_DAYS), None
        self.tell_of("transferred", [party])
        self.offer_free()
