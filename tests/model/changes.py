"""What the club changes of a course, what nights do, and who comes in whose place; told plainly."""

from datetime import timedelta

from tests.model.course import OFFER_DAYS, PAY_DAYS, REMINDER_DAYS, Course
from tests.model.letters import said_of, said_of_called_off
from tests.model.things import Back, No


class Changes(Course):
    def change_days(self, run, first, last, seats):
        if run.cancelled:
            raise No
        inside = [s for p in self.parties for s in p.seats if s.run is run and s.stands in ("has", "offered")]
        if first != run.first:
            held = [seat.fee for seat in inside if seat.stands == "has"]
            if (first < self.today and inside) or any(not fee.is_ahead for fee in held):
                raise No
            for fee in held:
                fee.starts = max(first, fee.charged + timedelta(days=1))
            until = max(first, self.today)
            for party in {seat.party for seat in inside if seat.stands == "offered"}:
                party.answer_by = min(party.answer_by, until)
        moved = (first, last) != (run.first, run.last)
        run.first, run.last, run.seats = first, last, seats
        if moved:
            for seat in inside:
                if seat.stands == "has":
                    seat.free_until = self.today + timedelta(days=OFFER_DAYS)
            may_leave = self.today + timedelta(days=OFFER_DAYS)
            for parties in self._by_family({seat.party for seat in inside}):
                can = any(seat in inside and seat.stands == "has" for party in parties for seat in party.seats)
                self.tell_of("new days", parties, first, last, *([may_leave] if can else []))
        self.offer_free()

    def cancel(self, run):
        """All of it goes back, also what was kept of those who had left; who was in it waits in the old turn."""
        if run.cancelled:
            return
        if run.last < self.today:
            raise No
        parties = [p for p in self.queue if any(s.run is run and s.stands in ("has", "offered") for s in p.seats)]
        left = [p for p in self.queue if p not in parties and any(self._keeps_of(s, run) for s in p.seats)]
        back = {party: Back() for party in (*parties, *left)}
        for party in back:
            for seat in [s for s in party.seats if s.run is run]:
                if seat.fee:
                    back[party] += self.call_off(seat.fee, "cancelled")
                if seat.stands == "offered":
                    seat.stands, seat.run, seat.price = "waits", None, None
                elif seat.stands == "has":
                    seat.stands = "left"
                    party.seats.append(self.new_seat(party, seat.child))
            party.tidy()
        run.cancelled = True
        for own in self._by_family(back):
            says = said_of_called_off(sum((back[party] for party in own), Back()))
            bound = dict.fromkeys(self._bound_to_none(party) for party in own if party in parties)
            self.tell_of("cancelled", own, *says, *(day for days in bound for day in days))
        self.offer_free()

    def _by_family(self, parties):
        """The bookings of each family, in the order of the queue but those that are named in an order of their own."""
        found = {}
        for party in parties if isinstance(parties, dict) else sorted(parties, key=self.queue.index):
            found.setdefault(party.family, []).append(party)
        return list(found.values())

    def _bound_to_none(self, party):
        """The first days of all that is to come, where the party waits and could make none of it."""
        coming = self.to_come()
        is_bound = party.stands == "waits" and coming and all(run in party.cannot for run in coming)
        return tuple(run.first for run in coming) if is_bound else ()

    def _keeps_of(self, seat, run):
        fee = seat.fee
        return (
            seat.run is run
            and seat.stands in ("left", "lapsed")
            and fee
            and fee.full > fee.credited
            and not fee.waits_for_next
        )

    # What time changes

    def owes(self, seat):
        """Whether a place that has not begun is unpaid, and not paid in parts as was agreed."""
        ahead = seat.stands == "has" and seat.run.first > self.today
        return ahead and self.open(seat.fee) > 0 and not self.is_paid_in_parts(seat.fee)

    def _owing(self):
        return [p for p in self.parties if p.pay_by and any(self.owes(seat) for seat in p.seats)]

    def lapse(self):
        late = [p for p in self.queue if p.stands == "offered" and p.answer_by < self.today]
        for party in late:
            for seat in party.those("offered"):
                seat.stands = "lapsed"
            party.tidy()
            self.tell_of("offer lapsed", [party])
        if late:
            self.offer_free()
        over = [p for p in self._owing() if p.reminded and p.pay_by < self.today and self._had_its_days(p)]
        for party in over:
            if unpaid := [seat for seat in party.seats if self.owes(seat)]:
                self._lapse_unpaid(party, unpaid)

    def _had_its_days(self, party):
        if not party.reminded_by_letter:
            return True
        return bool(party.mail or party.family.mail) and party.reminded + timedelta(days=REMINDER_DAYS) < self.today

    def _lapse_unpaid(self, party, unpaid):
        back = Back()
        for seat in unpaid:
            back += self.give_back(seat.fee, 0, "lapsed")
            seat.stands = "lapsed"
        party.tidy()
        self.tell_of("place lapsed", [party], *said_of(back))
        self.offer_free()

    def remind(self):
        owing = self._owing()
        for party in self.parties:
            if party not in owing:
                party.reminded = None
        for party in owing:
            if party.reminded is None and self.today >= party.pay_by - timedelta(days=REMINDER_DAYS):
                self._note_reminder(party, True)
                self.tell_of("please pay", [party], *self.not_paid(party))

    def _note_reminder(self, party, by_letter):
        party.reminded, party.reminded_by_letter = self.today, by_letter
        party.pay_by = max(party.pay_by, self.today + timedelta(days=REMINDER_DAYS))

    def remind_by_phone(self, party):
        if party.pay_by is None:
            raise No
        if party.reminded != self.today:
            self._note_reminder(party, False)

    def more_time(self, party, day):
        if party.pay_by is None:
            raise No
        if party.pay_by == day:
            return
        if day < self.today:
            raise No
        party.pay_by, party.reminded = day, None
        self.tell_of("more time", [party], day)

    # Who comes instead

    def swap(self, seat, child):
        party = seat.party
        if seat.stands == "left" and seat.handed_on and seat.fee:
            there = [s for s in party.those("has") if s.child is child and s.run is seat.run]
            if there and any(why == "instead" for _, why in seat.fee.credits):
                return
        if seat.stands != "has" or seat.run.first <= self.today or self.is_paid_in_parts(seat.fee):
            raise No
        if child.family is not party.family or self.seat_of(child) or self.too_young(child, seat.run):
            raise No
        fee = self.charge_instead(seat.fee, party.family, child, seat.run.first)
        fee.called = (seat.run, child.name)
        seat.stands, seat.handed_on = "left", True
        new = self.new_seat(party, child)
        new.stands, new.run, new.fee, new.free_until = "has", seat.run, fee, seat.free_until
        party.seats.append(new)
        party.pay_by, party.reminded = self.today + timedelta(days=PAY_DAYS), None
        fees = [fee.full] if fee.full == seat.fee.full else [fee.full, seat.fee.full]
        self.tell_of("somebody else", [party], *fees)

    def belongs_to(self, child, family, takes_over):
        """A child of another family now: what is to come goes along, what is owed only where it is taken over."""
        before = child.family
        if family is before:
            return
        along = [s for p in self.parties for s in p.seats if s.child is child and p.family is before and self._comes(s)]
        waiting = self.waiting_for_next(before, child)
        child.family = family
        vouchers = self.take_along(waiting, family)
        for seat in along:
            owed = bool(seat.fee) and self.open(seat.fee) > 0
            if takes_over or not owed:
                self._goes_along(seat, child, takes_over and owed)
        self.tell_along(vouchers, before, family)

    def _comes(self, seat):
        return seat.stands in ("waits", "offered") or (seat.stands == "has" and seat.run.first > self.today)

    def _goes_along(self, seat, child, takes_over):
        party = seat.party
        if takes_over and self.is_paid_in_parts(seat.fee):
            raise No
        if seat.run and self.too_young(child, seat.run):
            raise No
        stands, fee, answer_by, pay_by = seat.stands, seat.fee, party.answer_by, party.pay_by
        behind = self._behind(party)
        seat.stands, seat.handed_on = "left", True
        if not takes_over:
            seat.fee = None
        party.tidy()
        own = self._arrive(child.family, [child])
        own.cannot, new = set(party.cannot), own.seats[0]
        if stands == "waits":
            self._put(own, behind)
        elif stands == "offered":
            new.run, new.price, new.stands, own.answer_by = seat.run, seat.price, "offered", answer_by
        else:
            new.fee = fee
            if takes_over:
                new.fee = self.charge_instead(fee, child.family, child, seat.run.first)
                new.fee.called = (seat.run, child.name)
            new.run, new.stands, new.free_until = seat.run, "has", seat.free_until
            own.pay_by = self.today + timedelta(days=PAY_DAYS) if takes_over else pay_by
        own.tidy()
        self.tell_of("goes along", [party])
        self.tell_of("comes along", [own])
        self.offer_free()
