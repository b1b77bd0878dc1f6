"""Two that turn out to be one; told plainly."""

from tests.model.members import Members
from tests.model.things import No


class Club(Members):
    def one_family(self, stays, gone):
        if stays is gone or stays.gone or gone.gone:
            raise No
        if self.standing_parts(stays) or self.standing_parts(gone):
            raise No
        if balance := self.balance(gone):
            self.post(self.today, {("owed", gone): -balance, ("owed", stays): balance})
        for each in (*self.children, *self.fees, *self.receipts, *self.parties, *self.agreed, *self.paid_back):
            if each.family is gone:
                each.family = stays
        stays.mails = sorted([*stays.mails, *gone.mails])
        for member in self.members:
            if member.payer is gone:
                member.payer = stays
        gone.gone = True
        self.settle(stays)

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
        if gone in self.drew:
            self.drew.add(stays)
        for each in (*seats, *self.fees, *self.vouchers, *self.members):
            if each.child is gone:
                each.child = stays
        gone.gone = True
