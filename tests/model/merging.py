"""Two that turn out to be one, and two after all; told plainly."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from tests.model.members import Members
from tests.model.things import Child, Family, No


@dataclass(eq=False, repr=False)
class Merged:
    """What was the one's and is the other's now: things, and by which of their words they are; `so_far` of it then."""

    stays: Child | Family
    gone: Child | Family
    day: date
    moved: list
    balance: int = 0
    drew: bool = False
    so_far: tuple = field(default=())
    undone: bool = False


class Club(Members):
    def __init__(self, day, prices):
        super().__init__(day, prices)
        self.merges = []

    def one_family(self, stays, gone):
        if stays is gone or stays.gone or gone.gone:
            raise No
        if self.standing_parts(stays) or self.standing_parts(gone):
            raise No
        if balance := self.balance(gone):
            self.post(self.today, {("owed", gone): -balance, ("owed", stays): balance})
        own = (*self.children, *self.fees, *self.receipts, *self.parties, *self.agreed, *self.paid_back)
        moved = [(each, "family") for each in own if each.family is gone]
        moved += [(each, "payer") for each in self.members if each.payer is gone]
        stays.mails = sorted([*stays.mails, *gone.mails])
        self._move(Merged(stays, gone, self.today, moved, balance))
        self.settle(stays)

    def _move(self, merged):
        for each, word in merged.moved:
            setattr(each, word, merged.stays)
        merged.gone.gone, merged.so_far = True, self.written_of(merged.stays)
        self.merges.append(merged)

    def written_of(self, one):
        """How much was written down of a family or a child."""
        if isinstance(one, Family):
            own = (*self.fees, *self.receipts, *self.parties, *self.agreed, *self.paid_back)
            paying, back = [m for m in self.members if m.payer is one], [b for b in self.backs if b.fee.family is one]
            return sum(each.family is one for each in own), len(paying), len(back), self.posted[one]
        seats = [seat for party in self.parties for seat in party.seats]
        return sum(each.child is one for each in (*seats, *self.fees, *self.vouchers, *self.members)), self.seen[one]

    def two_after_all(self, merged):
        """Within a day, and as long as nothing was written down that could be of either."""
        if merged.undone:
            return
        stays, gone = merged.stays, merged.gone
        if self.today > merged.day + timedelta(days=1) or self.written_of(stays) != merged.so_far:
            raise No
        if any(getattr(each, word) is not stays for each, word in merged.moved):
            raise No
        theirs = {each for each, _ in merged.moved}
        if isinstance(gone, Family):
            self.pays = [p for p in self.pays if (p.receipt in theirs) == ((p.fee or p.repaid) in theirs)]
            stays.mails = [mail for mail in stays.mails if mail not in gone.mails]
        for each, word in merged.moved:
            setattr(each, word, gone)
        if merged.drew:
            self.drew.discard(stays)
        gone.gone, merged.undone = False, True
        if merged.balance:
            self.post(self.today, {("owed", gone): merged.balance, ("owed", stays): -merged.balance})

    def one_child(self, stays, gone):
        if stays is gone or stays.gone or gone.gone:
            raise No
        if self.seat_of(stays) and self.seat_of(gone):
            raise No
        runs = [{s.run for p in self.parties for s in p.seats if s.child is child and s.stands in ("has", "offered")}
                for child in (stays, gone)]  # fmt: skip
        if any(run.last < self.today for run in runs[0] & runs[1]):
            raise No
        both = [v for v in self.vouchers if v.child in (stays, gone) and v.pays]
        if any(sum(v.scheme == s.scheme and v.year == s.year for v in both) > s.scheme.per_year for s in both):
            raise No
        if any(a.first <= b.last and b.first <= a.last for a in self.of_child(stays) for b in self.of_child(gone)):
            raise No
        seats = [seat for party in self.parties for seat in party.seats]
        moved = [(each, "child") for each in (*seats, *self.fees, *self.vouchers, *self.members) if each.child is gone]
        drew = gone in self.drew and stays not in self.drew
        if drew:
            self.drew.add(stays)
        self._move(Merged(stays, gone, self.today, moved, drew=drew))
