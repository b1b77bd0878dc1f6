"""What a letter about bookings says: its amounts in cents, its days, and the turn in the queue; told plainly."""

from datetime import timedelta

from tests.model.claims import Claims
from tests.model.fees import PAY_WITHIN

STANDS = ("waits", "offered", "has")


def turn(number):
    return f"number {number}"


class Letters(Claims):
    def tell_of(self, word, parties, *says):
        """A letter about these bookings of one family: what is said, where each stands, and what is to pay."""
        asks = [asked for party in parties if (asked := self.asked_of(party))]
        lines = dict.fromkeys(line for party in parties for line in self._where(party, not asks))
        told = [each for _, line in lines for each in line]
        paying = [each for asked in asks for each in asked]
        self.tell(word, parties[0].family, *says, *told, *paying, to=parties[0].mail or parties[0].family.mail)

    def _where(self, party, asks):
        """Who is where, and what a letter says of it."""
        standing, lines = [seat for seat in party.seats if seat.stands in STANDS], []
        for stands, run in dict.fromkeys((seat.stands, seat.run) for seat in standing):
            group = [seat for seat in standing if (seat.stands, seat.run) == (stands, run)]
            if stands == "waits":
                before = self.queue[: self.queue.index(party) + 1]
                says = (turn(sum(each.stands == "waits" for each in before)),)
            elif stands == "offered":
                says = (run.first, sum(seat.price for seat in group), party.answer_by)
            else:
                says = self._of_places(party, run, group, asks)
            lines.append(((stands, tuple(seat.child for seat in group)), says))
        return lines

    def _of_places(self, party, run, group, asks):
        owed = sum(self.open(seat.fee) for seat in group)
        if run.last < self.today:
            return (owed,) if owed else ()
        says = [run.first]
        if owed:
            says.append(owed)
            if party.pay_by and asks and not self._in_parts(group):
                says.append(party.pay_by)
        free = [seat.free_until for seat in group if seat.free_until and self.today <= seat.free_until]
        return (*says, *free[:1])

    def _in_parts(self, seats):
        return any(self.is_paid_in_parts(seat.fee) for seat in seats)

    def asked_of(self, party):
        """What the family is asked to pay for its places, and by when."""
        held = party.those("has")
        if (owed := sum(self.open(seat.fee) for seat in held)) <= 0:
            return ()
        by = party.pay_by or min(seat.fee.charged for seat in held) + timedelta(days=PAY_WITHIN)
        return (owed,) if self._in_parts(held) or by < self.today else (owed, by)

    def not_paid(self, party):
        """Of places that are paid in part, what they cost and what is left."""
        held = party.those("has")
        owed, cost = sum(self.open(s.fee) for s in held), sum(s.fee.full - s.fee.credited for s in held)
        return (cost, owed) if owed < cost else ()


def said_of(back):
    """What a family reads of what it gets back."""
    if back.due <= 0:
        return ()
    if back.kept <= 0:
        return (back.due, *_free_again(back))
    asked, credited = min(back.asked, back.kept), back.credited
    return (back.kept, back.due, *_some(asked), *_some(credited), *_free_again(back))


def said_of_called_off(back):
    if back.due <= 0 or back.asked <= 0:
        return said_of(back)
    return (back.asked, *_some(back.credited), *_free_again(back))


def _free_again(back):
    return (*_some(back.to_credit), *(_some(back.by_voucher) if back.freed > 0 else ()))


def _some(cents):
    return (cents,) if cents > 0 else ()
